// The page's own logic, run by Node's test runner: following the daemon's clock, what is known, what a key means.
import assert from "node:assert/strict";
import { test } from "node:test";

import { DaemonClock, clockText, lapText, OLD_AFTER_S } from "../../pitwall/screen/static/app/clock.js";
import { meant } from "../../pitwall/screen/static/app/commands.js";
import { written } from "../../pitwall/screen/static/app/shorthand.js";
import { Store } from "../../pitwall/screen/static/app/store.js";

const spoke = (t, more = {}) => ({ type: "clock_state", id: "c", t, remaining_s: 3600 - t, running: true, rate: 1, status: "green",
  pit_exit: "open", yellow_sectors: [], window: null, ...more });

function at() {
  const time = { ms: 0 };
  return [time, () => time.ms];
}

test("between two words of the daemon its clock goes on at its rate", () => {
  const [time, now] = at(), clock = new DaemonClock(now);
  clock.take(spoke(100, { rate: 20 }), false);
  time.ms = 500;
  assert.equal(clock.now(), 110);
  assert.equal(clock.remaining(), 3490);
});

test("a daemon that says nothing any more has a clock that stands, and is old", () => {
  const [time, now] = at(), clock = new DaemonClock(now);
  clock.take(spoke(100), false);
  time.ms = 60_000;
  assert.equal(clock.now(), 100 + OLD_AFTER_S);
  assert.ok(clock.old());
});

test("a retained word may be from yesterday: only a live one makes the clock live", () => {
  const [, now] = at(), clock = new DaemonClock(now);
  clock.take(spoke(100), true);
  assert.ok(clock.old());
  clock.take(spoke(101), false);
  assert.ok(!clock.old());
});

test("a word that was held up does not turn time back, a true step does", () => {
  const [time, now] = at(), clock = new DaemonClock(now);
  clock.take(spoke(100), false);
  time.ms = 1500;
  assert.equal(clock.now(), 101.5);
  clock.take(spoke(101), false);
  assert.ok(clock.now() >= 101.5);
  clock.take(spoke(10), false);
  assert.equal(clock.now(), 10);
});

test("times as a stopwatch shows them", () => {
  assert.deepEqual([0, 59.9, 60, 3599, 3600, -5, NaN, null].map(clockText), ["0:00", "0:59", "1:00", "59:59", "1:00:00", "-0:05", "–", "–"]);
  assert.deepEqual([89.345, 60, 59.9996, null].map(lapText), ["1:29.345", "1:00.000", "1:00.000", "–"]);
});

const prompt = (call, state, say_by_s, more = {}) => ({ type: "prompt", id: `${call}+1`, t: 0, car: "41", call, revision: 1, kind: "box",
  text: `${call} in full`, short: call, say_from_s: say_by_s - 5, say_by_s, spoken_s: 2, priority: 50, state, ...more });

test("an older revision changes nothing, and the call that must be said first stands first", () => {
  const store = new Store(() => 0);
  store.take("prompt/41", prompt("a", "due", 60, { revision: 3 }));
  store.take("prompt/41", prompt("a", "shown", 99, { revision: 2 }));
  store.take("prompt/41", prompt("b", "shown", 50));
  store.take("prompt/41", prompt("c", "said", 10));
  assert.deepEqual(store.open("41").map((p) => p.call), ["b", "a", "c"]);
});

test("a cleared alert is over, whatever its id holds", () => {
  const store = new Store(() => 0);
  store.take("alert/41%2Fswitch", { type: "alert", id: "41/switch", active: true, acknowledged: false, priority: "high", since_s: 1 });
  assert.equal(store.standing().length, 1);
  store.take("alert/41%2Fswitch", null);
  assert.equal(store.standing().length, 0);
});

test("after a lost link only what comes again still stands", () => {
  const store = new Store(() => 0);
  store.take("ladder", { type: "ladder_state", active: true, rungs: [], work: [] });
  store.take("alert/x", { type: "alert", id: "x", active: true, acknowledged: false, priority: "low", since_s: 1 });
  store.forget();
  assert.equal(store.ladder, null);
  assert.equal(store.standing().length, 0);
});

test("a key means the call that is marked; said goes to none that was dealt with", () => {
  const store = new Store(() => 0);
  store.take("prompt/41", prompt("a", "due", 60));
  store.take("prompt/41", prompt("b", "said", 50));
  assert.deepEqual(meant("s", store, "41", "a").wish, { command: "said", call: "a" });
  assert.ok("hint" in meant("s", store, "41", "b"));
  assert.deepEqual(meant("c", store, "41", "").wish, { command: "confirm", call: "b" });
  assert.equal(meant("q", store, "41", ""), null);
});

test("digits stand for the usual words, with a severity after a dot; everything else is what was typed", () => {
  assert.equal(written("1"), "understeer entry");
  assert.equal(written("26.4"), "understeer mid, oversteer exit, severity 4");
  assert.equal(written(" 4 to 5 bar "), "4 to 5 bar");
  assert.equal(written("10"), "10");
});
