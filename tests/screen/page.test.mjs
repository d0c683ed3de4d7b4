// The page's own logic, run by Node's test runner: following the daemon's clock, what is known, what a key means.
import assert from "node:assert/strict";
import { test } from "node:test";

import { DaemonClock, clockText, lapText, OLD_AFTER_S } from "../../pitwall/screen/static/app/clock.js";
import { commandOf, meant } from "../../pitwall/screen/static/app/commands.js";
import { byRun } from "../../pitwall/screen/static/app/comment.js";
import { Draft, newestFirst } from "../../pitwall/screen/static/app/draft.js";
import { pieces, wrapped } from "../../pitwall/screen/static/app/fitting.js";
import { exampleTag, inWords, isTags, noSuchTurn, tagged, typedOf } from "../../pitwall/screen/static/app/shorthand.js";
import { workAhead } from "../../pitwall/screen/static/app/ladder.js";
import { afterFlag, barOf, isToLeave, planWords } from "../../pitwall/screen/static/app/plan-line.js";
import { isOverdue, labels, lapWords, onceEach } from "../../pitwall/screen/static/app/strip.js";
import { allWords } from "../../pitwall/screen/static/app/switches.js";
import { inWords as answerWords } from "../../pitwall/screen/static/app/app.js";
import { ask } from "../../pitwall/screen/static/app/asking.js";
import { feedAges, silentStreams, timeWords, trackWords, wellness } from "../../pitwall/screen/static/app/head.js";
import { feedWords, keysOf } from "../../pitwall/screen/static/app/help.js";
import { calledNow, comesNext, fuelLacks, heldWords, leavesWith, leavingWords, unseenBy, workWords } from "../../pitwall/screen/static/app/garage-page.js";
import { cameTo, dataWords, doubtWords, lacking, lastRun, runWords, unsaidWords } from "../../pitwall/screen/static/app/last-run.js";
import { Mark } from "../../pitwall/screen/static/app/mark.js";
import { Pad } from "../../pitwall/screen/static/app/pad.js";
import { Reader } from "../../pitwall/screen/static/app/reader.js";
import { Rights } from "../../pitwall/screen/static/app/rights.js";
import { leavesOn, leftOf } from "../../pitwall/screen/static/app/sheet-store.js";
import { boardWord, callClass, callMark, callWord, changedBy, endedAs, lateWords, partWords, runWord, timedWords, timeLeft } from "../../pitwall/screen/static/app/words.js";
import { Store } from "../../pitwall/screen/static/app/store.js";
import { TakingBack, UNDO_FOR_MS } from "../../pitwall/screen/static/app/taking-back.js";
import { carries, ofNoCar, runOf } from "../../pitwall/screen/static/app/team-page.js";

const spoke = (t, more = {}) => ({ type: "clock_state", id: "c", t, remaining_s: 3600 - t, running: true, rate: 1, status: "green",
  pit_exit: "open", yellow_sectors: [], window: null, ...more });

function at() {
  const time = { ms: 0 };
  return [time, () => time.ms];
}

test("the head counts down, and tells beside it the time in which everything else is told", () => {
  assert.equal(timeWords(null, NaN), "no clock yet");
  assert.equal(timeWords(spoke(308), 308.4), "left · now 5:08");
  assert.equal(timeWords(spoke(1740, { running: false, status: "red" }), 1750), "left, clock stopped · now 29:10");
  assert.equal(timeWords(spoke(-60, { running: false, status: "waiting" }), -60), "left");
});

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

test("an older revision changes nothing, and what is to be said now stands before what comes", () => {
  const store = new Store(() => 0);
  store.take("prompt/41", prompt("a", "due", 60, { revision: 3 }));
  store.take("prompt/41", prompt("a", "shown", 99, { revision: 2 }));
  store.take("prompt/41", prompt("b", "shown", 50));
  store.take("prompt/41", prompt("c", "said", 10));
  assert.deepEqual(store.open("41").map((p) => p.call), ["a", "b", "c"], "b must be over sooner, and its window is yet to open");
  store.take("prompt/41", prompt("d", "due", 55));
  assert.deepEqual(store.open("41").map((p) => p.call), ["d", "a", "b", "c"], "of what is to be said now the one that must be said first");
});

test("what the person looks at stays large until another call is to be said", () => {
  const store = new Store(() => 0), mark = new Mark();
  for (const one of [prompt("a", "due", 60), prompt("b", "shown", 50), prompt("c", "said", 10)]) store.take("prompt/41", one);
  assert.equal(mark.of(store, "41").call, "a");
  mark.choose("b", store, "41");
  assert.equal(mark.of(store, "41").call, "b", "chosen beside one that is to be said: it was seen");
  store.take("prompt/41", prompt("d", "due", 58));
  assert.equal(mark.of(store, "41").call, "d");
  mark.choose("c", store, "41");
  assert.equal(mark.of(store, "41").call, "c");
  mark.forget();
  assert.equal(mark.of(store, "41").call, "d");
  assert.equal(mark.of(new Store(() => 0), "41"), null);
});

test("a call that is better not said is never told to be said, and stands below those that are", () => {
  const store = new Store(() => 0), against = prompt("a", "due", 10, { against: "No room for it: 'b' takes the channel." });
  for (const one of [against, prompt("b", "shown", 50), prompt("c", "said", 5)]) store.take("prompt/41", one);
  assert.deepEqual(store.open("41").map((p) => p.call), ["b", "a", "c"]);
  assert.deepEqual([callWord(against), callMark(against), callClass(against)], ["better not", "▲", "is-against"]);
  const said = { ...against, state: "said" };
  assert.deepEqual([callWord(said), callMark(said), callClass(said)], ["said", "✓", "is-said"]);
});

test("a call whose last moment is past is overdue by so much: it is not coming, and no time is left for it", () => {
  const waits = prompt("a", "shown", 10, { say_by_s: 20, medium: "two_way" });
  assert.deepEqual([callWord(waits, 15), timeLeft(waits, 15)], ["coming", "0:05 left"]);
  assert.deepEqual([callWord(waits, 20.5), timeLeft(waits, 20.5)], ["coming", "0:00 left"]);
  assert.deepEqual([callWord(waits, 85), timeLeft(waits, 85)], ["overdue", "1:05 too late"]);
  assert.equal(callWord({ ...waits, state: "due" }, 85), "overdue");
  assert.equal(callWord({ ...waits, state: "said" }, 85), "said");
});

test("after its best moment a call is of use as long as it ends before the driver acts", () => {
  const due = prompt("a", "due", 10, { say_by_s: 20, act_at_s: 60, spoken_s: 2, medium: "two_way" });
  assert.deepEqual([callWord(due, 30), timeLeft(due, 30)], ["say now", "of use for 0:28"]);
  assert.deepEqual([callWord(due, 64), timeLeft(due, 64)], ["overdue", "0:06 too late"]);
});

test("what stands on a pit board is shown, not said", () => {
  const shows = prompt("a", "due", 10, { say_by_s: 20, medium: "board" });
  assert.deepEqual([callWord(shows, 12), callWord({ ...shows, state: "said" }, 12)], ["show now", "shown"]);
});

test("the grab sheet tells on what each run leaves, and its driver where another one sits in the car", () => {
  const run = /** @type {any} */ ({ tyres: "B1", fuel_kg: 20, driver: "ines" });
  assert.equal(leavesOn(run, "ines"), "B1, 20 kg");
  assert.equal(leavesOn(run, "maro"), "B1, 20 kg, ines");
  assert.equal(leavesOn({ ...run, tyres: null, fuel_kg: 0, driver: null }, "maro"), "0 kg");
});

test("a call to leave tells how late it is; nothing else does, and nothing in the first seconds", () => {
  const leave = prompt("leave", "due", 340, { kind: "release", act_at_s: 100 });
  assert.equal(lateWords(leave, 105), "");
  assert.equal(lateWords(leave, 190), "90 s late");
  assert.equal(lateWords({ ...leave, kind: "box" }, 190), "");
});

test("a run that went on for longer than planned is not told as so many of fewer", () => {
  assert.deepEqual([[2, 4], [4, 4], [6, 4]].map(([timed_done, timed_wanted]) => timedWords({ timed_done, timed_wanted })),
    ["2 of 4 timed", "4 of 4 timed", "6 timed, +2"]);
});

test("work under a red flag is told once, for the first restart that is still ahead", () => {
  const rung = (minutes, work) => ({ restart_s: 60 * minutes, at_s: 1000 + 60 * minutes, work });
  const rungs = [rung(4, "Do now the floor: 90 %."), rung(8, "Do now the floor: 70 %."), rung(12, "Do now the tyres: 60 %."), rung(16, null)];
  assert.deepEqual(workAhead(rungs, 1000).map((one) => one.restart_s), [240, 720]);
  assert.deepEqual(workAhead(rungs, 1300).map((one) => one.restart_s), [480, 720]);
  assert.deepEqual(workAhead(rungs, 1800), []);
});

test("no chance stands after the end; between the windows of a test day it does", () => {
  const store = new Store(() => 0);
  assert.equal(store.isOver(), false);
  for (const [status, window, over] of [["green", null, false], ["finished", null, true], ["finished", "morning", false], ["closed", null, true]]) {
    store.take("clock", spoke(3600, { status, window }));
    assert.equal(store.isOver(), over, status);
  }
});

test("a call that the desk's state lists no more is over, also where the word that ended it was lost", () => {
  const store = new Store(() => 0), desk = (t, ...prompts) => ({ type: "desk_state", car: "41", t, prompts });
  store.take("prompt/41", prompt("a", "due", 60, { t: 50 }));
  store.take("desk/41/state", desk(51, prompt("a", "due", 60, { t: 51 }), prompt("b", "planned", 90, { t: 51 })));
  assert.deepEqual(store.open("41").map((p) => p.call), ["a"]);
  store.take("prompt/41", prompt("c", "due", 70, { t: 52 }));
  store.take("desk/41/state", desk(52, prompt("b", "planned", 90, { t: 52 })));
  assert.deepEqual(store.open("41").map((p) => p.call), ["c"]);
  store.take("prompt/41", prompt("said", "said", 40, { t: 45 }));  // it waits for the driver, and no list names it
  store.take("desk/41/state", desk(53, prompt("c", "due", 70, { t: 53 })));
  assert.deepEqual(store.open("41").map((p) => p.call), ["c", "said"]);
  store.take("desk/41/state", desk(644, prompt("c", "due", 70, { t: 644 })));
  assert.equal(store.open("41").length, 2);
  store.take("desk/41/state", desk(646, prompt("c", "due", 700, { t: 646 })));
  assert.deepEqual(store.open("41").map((p) => p.call), ["c"]);
  store.take("desk/58/state", { ...desk(660), car: "58" });
  assert.equal(store.open("41").length, 1);
  store.take("desk/41/state", desk(661, ...Array.from({ length: 16 }, (_, n) => prompt(`p${n}`, "planned", 999, { t: 661 }))));
  assert.equal(store.open("41").length, 1);
});

test("news of which nobody says that it was told stays in sight as long as the car is on the track", () => {
  const red = (t, state) => prompt("red", state, 30, { t, kind: "session" });
  const store = new Store(() => 0), desk = (t, state) => ({ type: "desk_state", car: "41", t, state, prompts: [] });
  store.take("clock", spoke(35, { status: "red" }));
  store.take("desk/41/state", desk(20, "out"));
  store.take("prompt/41", red(30, "unconfirmed"));
  store.take("prompt/41", prompt("box", "due", 60, { t: 31, kind: "box" }));
  assert.deepEqual(store.open("41").map((p) => p.call), ["box", "red"], "below what is still to be said");
  assert.equal(store.unsaidNews("41")?.call, "red");
  store.take("prompt/41", prompt("yellow", "withdrawn", 60, { t: 32, kind: "session" }));
  store.take("prompt/41", prompt("line", "said", 60, { t: 32, kind: "procedure" }));
  assert.deepEqual(store.open("41").map((p) => p.call), ["box", "red", "line"], "above what was said; another that was taken back hides it not");
  assert.deepEqual(store.ended("41").map((p) => p.call), ["yellow"], "and not a second time below");
  store.take("desk/41/state", desk(32, "pit_lane"));
  assert.equal(store.unsaidNews("41"), null, "in the pits the driver has seen it");
  store.take("desk/41/state", desk(33, "out"));
  store.take("prompt/41", prompt("green", "due", 80, { t: 40, kind: "session" }));
  assert.equal(store.unsaidNews("41"), null, "there is newer news");
  store.take("prompt/41", prompt("radio", "unconfirmed", 30, { t: 41, kind: "procedure" }));
  assert.equal(store.unsaidNews("41"), null, "what is no news may pass");
  store.take("prompt/41", prompt("green", "unconfirmed", 80, { t: 42, kind: "session" }));
  assert.equal(store.unsaidNews("41")?.call, "green");
  store.take("clock", spoke(200, { status: "green" }));
  assert.equal(store.unsaidNews("41"), null, "two minutes later it is history");
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
  store.take("ladder", { type: "ladder_state", active: true, rungs: [] });
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

test("a tag is turn, phase, finding, severity and trend, a letter or a number each", () => {
  const [one] = tagged("14eu3").remarks;
  assert.deepEqual(one, { turn: 14, phase: "entry", about: "balance", what: "understeer", severity: 3 });
  assert.equal(inWords(one), "turn 14 entry: understeer, severity 3");
  assert.deepEqual(tagged("4mo, 7f-").remarks.map(inWords), ["turn 4 mid: oversteer", "turn 7: front locking, worse"]);
  assert.deepEqual(tagged("").remarks, []);
});

test("a tag that cannot be read, or says nothing, is told and not sent", () => {
  assert.match(tagged("14eq").wrong, /14eq/);
  assert.match(tagged("99u").wrong, /99u/);
  assert.match(tagged("14e").wrong, /what was it there/);
});

test("remarks are opened again as the letters they were typed in; what letters cannot say is left alone", () => {
  for (const typed of ["14eu3", "4mo, 7f-", "k2", "9=", "3xw5+"]) assert.equal(typedOf(tagged(typed).remarks), typed);
  assert.equal(typedOf([{ about: "engine", what: "misfire" }]), "");
});

test("words are taken for tags only where each has a number and a finding", () => {
  assert.ok(isTags("14eu3"));
  assert.ok(isTags(" 4mo 7xw2 "));
  for (const words of ["us", "so", "4 to 5 bar", "push 3", "box", "", "14", "3 words"]) assert.ok(!isTags(words), words);
});

const written = (text, tags = "") => Object.assign(new Draft(5), { text, tags });

test("a comment says its words and its tags; tags that are no letters go to the daemon as shorthand", () => {
  assert.equal(written("").given(), null);
  assert.deepEqual(written("it turns too much").given(), { text: "it turns too much", shorthand: "it turns too much" });
  assert.deepEqual(written("7f").given(), { remarks: tagged("7f").remarks });
  assert.deepEqual(written("too much", "9xo4").given(), { text: "too much", remarks: tagged("9xo4").remarks });
  assert.deepEqual(written("", "t4 mid us 3").given(), { shorthand: "t4 mid us 3" });
});

test("a comment that stands gets what is new, by its number", () => {
  const one = { comment: 6, t: 5, by: "ann", text: "floats", remarks: tagged("4mu").remarks };
  assert.equal(Draft.of(one).given(), null);
  assert.deepEqual(Object.assign(Draft.of(one), { tags: "4mu2" }).given(), { comment: 6, remarks: tagged("4mu2").remarks });
  assert.deepEqual(Object.assign(Draft.of(one), { text: "floats a lot" }).given(), { comment: 6, text: "floats a lot" });
  assert.deepEqual(Object.assign(Draft.of(one), { tags: "t4 mid us 2" }).given(), { comment: 6, text: "floats", shorthand: "t4 mid us 2" });
  assert.deepEqual(Object.assign(Draft.of(one), { text: "", tags: "t4 mid us 2" }).given(), { comment: 6, shorthand: "t4 mid us 2" });
});

test("the text is read as shorthand too, unless tags stand beside it or it was counted already", () => {
  const typed = "t4 mid us 3, exit os 2: on the second lap";
  assert.deepEqual(written(typed).given(), { text: typed, shorthand: typed });
  assert.deepEqual(written("us t4 3", "7f").given(), { text: "us t4 3", remarks: tagged("7f").remarks });
  const words = Draft.of({ comment: 2, t: 5, by: "ann", text: "t4 uss", remarks: [] });
  assert.deepEqual(Object.assign(words, { text: "t4 us" }).given(), { comment: 2, text: "t4 us", shorthand: "t4 us" });
});

test("a turn that the circuit does not have is told; the example is of one that it has", () => {
  const turns = Array.from({ length: 13 }, (_, at) => at + 1);
  assert.equal(noSuchTurn(tagged("4eu3, 14eu3").remarks, turns), "there is no turn 14 at this circuit: its turns are 1 to 13");
  assert.equal(noSuchTurn(tagged("13u, k2").remarks, turns), "");
  assert.equal(noSuchTurn(tagged("14u").remarks, []), "");
  for (const known of [turns, [1, 2, 3], []]) assert.equal(noSuchTurn(tagged(exampleTag(known)).remarks, known), "");
});

test("comments stand by when they were said, the newest first, whenever somebody noted them", () => {
  const said = [[1, 492], [2, 588], [3, 374], [4, 638], [5, 638]].map(([comment, t]) => ({ comment, t, by: "ann" }));
  assert.deepEqual(newestFirst(said).map((one) => one.comment), [5, 4, 2, 1, 3]);
});

test("a run to come is drawn to when the forecast sees its end, in the middle of its span", () => {
  const run = { run: "qualifying", state: "next", expected_span_s: [2400, 2680] };
  assert.deepEqual(barOf(run, { end_q10_s: 2734, end_q50_s: 3040, end_q90_s: 3621 }, 2300), [2400, 3040]);
  assert.deepEqual(barOf(run, undefined, 2300), [2400, 2680]);
  assert.deepEqual(barOf({ ...run, state: "running", actual_span_s: [2450, null] }, { end_q50_s: 3040 }, 2500), [2450, 3040]);
  assert.deepEqual(barOf({ ...run, state: "done", actual_span_s: [2450, 2900] }, { end_q50_s: 3040 }, 3000), [2450, 2900]);
  assert.equal(barOf({ run: "x", state: "planned" }, undefined, 2300), null);
});

test("a run that fits in no future is not drawn past the flag", () => {
  const run = { run: "qualifying", state: "next", expected_span_s: [3300, 3900] };
  const told = { chance: 0.002, end_q10_s: 3800, end_q50_s: 3950, end_q90_s: 4100 };
  assert.deepEqual(barOf(run, told, 3200, 3600), [3300, 3600]);
  assert.equal(barOf(run, told, 3650, 3600), null);
  assert.deepEqual(barOf(run, { ...told, chance: 0.02 }, 3200, 3600), [3300, 3950]);
  assert.deepEqual(barOf({ ...run, state: "running", actual_span_s: [3310, null] }, told, 3400, 3600), [3310, 3950]);
});

test("a run that the car has not left for begins no sooner than now, whatever the plan said before", () => {
  const run = { run: "qualifying", state: "next", expected_span_s: [2400, 2680] };
  assert.deepEqual(barOf(run, { end_q50_s: 3040 }, 2500), [2500, 3040]);
  assert.deepEqual(barOf(run, undefined, 2700), [2700, 2700]);
  assert.deepEqual(barOf({ ...run, state: "running", actual_span_s: [2450, null] }, { end_q50_s: 3040 }, 2500), [2450, 3040]);
  assert.deepEqual(barOf({ ...run, state: "skipped" }, undefined, 2700), [2400, 2680]);
});

test("a run that is over without the laps that count was cut, and is not among those done", () => {
  const low = { run: "low", state: "done", timed_wanted: 2, timed_done: 0, counts: false };
  const full = { ...low, run: "full", timed_done: 2, counts: true };
  assert.deepEqual([low, full, { ...full, state: "next" }].map(endedAs), ["cut", "done", "next"]);
  assert.equal(planWords([low, full], { musts_chance: 0 }, "41"), "1 of 2 runs done, 1 cut, musts of car 41 fit: 0 %");
  assert.equal(planWords([full], undefined, "41"), "1 of 1 runs done");
  const lost = { ...low, want: "must" };
  assert.equal(planWords([lost, full], { musts_chance: 1, runs: [{ want: "could" }] }, "41"), "1 of 2 runs done, 1 cut, must lost: low");
  assert.equal(planWords([lost, full], { musts_chance: 0.5, runs: [{ want: "must" }] }, "41"),
    "1 of 2 runs done, 1 cut, must lost: low, other musts of car 41 fit: 50 %");
});

test("once a must is lost the chance of all cars is told of the others", () => {
  const store = new Store(at()[1]);
  assert.equal(store.mustsOfAll(), "musts of all cars");
  store.take("forecast/41", { type: "forecast_state", car: "41", musts_lost: [] });
  assert.equal(store.mustsOfAll(), "musts of all cars");
  store.take("forecast/58", { type: "forecast_state", car: "58", musts_lost: ["main"] });
  assert.equal(store.mustsOfAll(), "other musts of all cars");
});

const letters = (text) => text.length;

test("words that have no room are cut where a speaker pauses, in order, and nothing is lost", () => {
  const text = "Next run holds: three timed laps, one cool-down lap. Items: hold, comment.";
  const cut = pieces(text, 2, (one) => wrapped(one, 20, letters));
  assert.equal(cut.join(" "), text);
  assert.ok(cut.length > 1);
  for (const piece of cut) assert.ok(wrapped(piece, 20, letters) <= 2, piece);
  assert.ok(cut[0].endsWith(":") || cut[0].endsWith(","));
});

test("a clause that alone has no room is cut between its words", () => {
  const cut = pieces("one two three four five six", 1, (one) => wrapped(one, 9, letters));
  assert.deepEqual(cut, ["one two", "three", "four five", "six"]);
});

test("labels of the lap stand where there is room, and a loop gives way to a place that is acted on", () => {
  const laid = labels([{ name: "loop 2", x: 395, t: 1 }, { name: "last place for the pit entry", x: 380, t: 2 },
    { name: "pit entry", x: 400, t: 3 }, { name: "line", x: 440, t: 4 }], 450);
  const row = Object.fromEntries(laid.map((one) => [one.name, one.row]));
  assert.ok(row["pit entry"] >= 0 && row.line >= 0 && row["last place for the pit entry"] >= 0);
  assert.equal(row["loop 2"], -1);
});

test("no mark of a place is drawn through the label of another", () => {
  for (const line of [405, 412, 420, 430, 440]) {
    const laid = labels([{ name: "pit entry", x: 400, t: 1 }, { name: "line", x: line, t: 2 }], 450);
    const upper = laid.filter((one) => one.row === 0).map((one) => [one.left, one.left + 20]);
    for (const one of laid.filter((place) => place.leads)) assert.ok(upper.every(([from, to]) => one.x < from || one.x > to), `line at ${line}`);
  }
  assert.ok(labels([{ name: "pit entry", x: 300, t: 1 }, { name: "loop 2", x: 340, t: 2 }, { name: "line", x: 440, t: 3 }], 450).every((one) => !one.leads || one.row === 1));
});

test("of a call in parts it is told which part is to be said now", () => {
  const parts = [{ text: "one", say_from_s: 1, spoken_s: 1 }, { text: "two", say_from_s: 9, spoken_s: 1 }];
  assert.equal(partWords({ parts, parts_said: 0 }), "part 1 of 2");
  assert.equal(partWords({ parts: parts.slice(1), parts_said: 1 }), "part 2 of 2");
  assert.equal(partWords({ parts: [], parts_said: 0 }), "");
});

const noted = (comment, run) => ({ comment, t: comment, by: "ann", text: `${comment}`, run, remarks: [] });

test("beside this run's comments stand those of the run before", () => {
  const all = [noted(3, "two"), noted(2, "one"), noted(1, "zero")];
  assert.deepEqual(byRun(all, "two").map(([run, , said]) => [run, said.length]), [["two", 1], ["one", 1]]);
  assert.deepEqual(byRun(all.slice(1), null).map(([run]) => run), ["one", "zero"]);
  assert.deepEqual(byRun(all.slice(1), "two").map(([run]) => run), ["one", "zero"]);
});

test("each feed is as old as the daemon said and what has gone by since; a stream that is silent while a car runs is told", () => {
  const [time, now] = at(), store = new Store(now);
  store.take("health", { type: "health", state: "online", t: 100, feed_age_s: 2, feed_ages_s: { positions: 40, switches: 400, timing: 2 } });
  store.take("clock", spoke(100, { rate: 5 }));
  assert.deepEqual(feedAges(store), [["positions", 8], ["switches", 80], ["timing", 0.4]]);
  time.ms = 2000;
  assert.deepEqual(feedAges(store).map(([, age]) => Math.round(10 * age)), [100, 820, 24]);
  store.take("health", { type: "health", state: "online", t: 110, feed_age_s: 2, feed_ages_s: { positions: 140, switches: 400, timing: 2 } });
  assert.deepEqual(silentStreams(store), []);
  store.take("desk/41/state", { type: "desk_state", car: "41", prompts: [], running_lap: { kind: "timed" } });
  assert.deepEqual(silentStreams(store), ["positions silent 0:28"]);
});

const ROLES = { desk: ["said", "quiet", "acknowledge", "seen", "comment", "adopt"], viewer: [] };
const told = (role, known = true) => ({ known, role, reads: true, commands: ROLES[role] ?? ROLES.desk });
const answering = (...answers) => async () => answers.shift() ?? null;

test("nothing may be given before the server has said what may, and then what the role and the page both give", async () => {
  const rights = new Rights(answering(told("desk")));
  assert.match(rights.whyNot("said", "desk"), /not known yet/);
  await rights.learn({ name: "ann", token: "x" });
  assert.deepEqual(["desk", "team", "garage", "sheet"].map((page) => rights.may("said", page)), [true, false, false, false]);
  assert.deepEqual(["acknowledge", "seen"].map((one) => [rights.may(one, "team"), rights.may(one, "garage")]), [[true, false], [false, true]]);
  assert.match(rights.whyNot("said", "garage"), /that is the desk's/);
  assert.equal(rights.may("cross", "desk"), false);
  assert.equal(rights.words(), "ann, desk");
});

test("an onlooker may give nothing anywhere, and reads why; of a broker elsewhere all is offered and the doubt told", async () => {
  const rights = new Rights(answering(told("viewer"), told(null, false), { known: true, role: "feed", reads: false, commands: [] }));
  await rights.learn({ name: "flo", token: "x" });
  assert.ok(rights.onlyLooks() && !rights.may("said", "desk"));
  assert.match(rights.words(), /flo is a viewer: looks on/);
  await rights.learn({});
  assert.ok(rights.may("said", "desk"));
  assert.match(rights.words(), /the broker decides/);
  await rights.learn({ name: "gus", token: "x" });
  assert.match(rights.whyNot("said", "desk"), /gus is a feed: sees nothing/);
  assert.match(rights.whyBlind(), /may not read/);
});

test("an answer that comes after another user came in is not for him", async () => {
  let give = (/** @type {any} */ answer) => assert.fail(String(answer));
  const rights = new Rights((word, { name }) => name === "ann" ? new Promise((given) => { give = given; }) : Promise.resolve(told("viewer")));
  const first = rights.learn({ name: "ann", token: "x" });
  await rights.learn({ name: "flo", token: "y" });
  give(told("desk"));
  await first;
  assert.ok(rights.onlyLooks());
  rights.forget();
  assert.ok(!rights.may("seen", "garage"));
});

test("every key of the help that gives a command is hidden from who may not give it; keys that only look stay", () => {
  const shown = (may) => keysOf({ may }).flatMap(([, keys]) => keys.map(([key]) => key));
  assert.deepEqual(shown(() => false), ["↓ ↑", "→ ←", "p", "1–9", "t", "?", "Esc"]);
  assert.deepEqual(shown(() => true).filter((key) => commandOf(key)).sort().join(""), "abcdefgiklmnorsuvwxy");
  assert.ok(shown((command) => command === "comment").includes("b"));
});

test("a key means the command by whose name it is allowed", () => {
  const store = new Store(() => 0);
  store.take("prompt/41", prompt("a", "due", 60));
  store.take("prompt/41", prompt("b", "said", 50));
  store.take("alert/x", { type: "alert", id: "x", active: true, acknowledged: false, priority: "low", since_s: 1 });
  store.take("desk/41/state", { type: "desk_state", car: "41", prompts: [], questions: [{ question: 1 }] });
  for (const key of "sxdrcliofegmkwva") assert.equal(meant(key, store, "41", "").wish.command, commandOf(key), key);
});

const offer = (word, at) => ({ word, meaning: word, at });

test("what is typed is read one question at a time, the last word first; a marked offer takes its place", async () => {
  const asked = [];
  const reader = new Reader(() => {}, async (word, { text }) => {
    asked.push(text);
    return { reads: text, wrong: "", no_turn: false, offers: [offer("mid", 3), offer("medium", 3)] };
  });
  reader.read("t");
  reader.read("t4");
  await reader.read("t4 m");
  assert.deepEqual(asked, ["t", "t4 m"]);
  assert.equal(reader.of("t"), null);
  assert.equal(reader.taken("t4 m"), "t4 mid ");
  reader.mark("t4 m", -1);
  assert.equal(reader.taken("t4 m"), "t4 medium ");
  assert.equal(reader.taken("t4 m", 0), "t4 mid ");
  assert.equal(reader.taken("something else"), "something else");
});

test("without an answer nothing is offered and nothing waits for ever", async () => {
  const reader = new Reader(() => assert.fail("told"), async () => null);
  await reader.read("t4 us");
  assert.equal(reader.of("t4 us"), null);
});

test("what is read as shorthand is tags that are no letters, or words without any", () => {
  assert.equal(written("t4 mid u").toRead(), "t4 mid u");
  assert.equal(written("4eu3").toRead(), "");
  assert.equal(written("too much", "t4 us").toRead(), "t4 us");
  assert.equal(written("too much", "4u").toRead(), "");
});

test("the lap tells how sure the line and the car's place are, or that nobody can say", () => {
  const lap = { kind: "timed", begun_s: 0, line_s: 90, listen: [], others: [] };
  assert.equal(lapWords({ ...lap, here: 0.5, here_within_s: 0.84, line_within_s: 12.4 }, [], 50), "line expected in 0:40 ± 12 s; where it is: ± 0.8 s");
  assert.match(lapWords({ ...lap, here: 0.5 }, [[60, 64]], 50), /listen again in 10 s; where it is: nobody can say/);
});

const answer = (because, effect = "noted", type = "answered") => ({ type, because, effect });
const exit = { command: "pit", where: "exit" };

test("only the last command is taken back, on its own car, once the daemon has taken it, and for five seconds", () => {
  const [time, now] = at(), back = new TakingBack(now);
  assert.match(back.meant().hint, /nothing of the last five seconds/);
  back.given("p-1", "58", exit, "car 58: left the pits");
  assert.match(back.meant().hint, /not known to be taken/);
  back.hear(answer("p-0"));
  assert.equal(back.open(), null);
  back.hear(answer("p-1"));
  assert.deepEqual(back.meant(), { wish: { command: "undo" }, car: "58", words: "taken back: car 58: left the pits" });
  time.ms = UNDO_FOR_MS;
  assert.ok("hint" in back.meant());
});

test("after a command that nobody can take back an older one is not taken back in its place", () => {
  for (const command of ["confirm", "repeat", "defer", "acknowledge", "shelve", "seen", "adopt", "decline", "advise", "undo"]) {
    const back = new TakingBack(() => 0);
    back.given("p-1", "41", exit, "left the pits");
    back.hear(answer("p-1"));
    back.given("p-2", "41", { command, call: "a" }, command);
    back.hear(answer("p-2"));
    assert.ok(back.open() === null && "hint" in back.meant(), command);
  }
});

test("what was refused, not sent, or known before leaves nothing to take back; what was said is named by its call", () => {
  const back = new TakingBack(() => 0);
  const given = (...answers) => {
    back.given("p-1", "41", { command: "cross" }, "passed the line");
    answers.forEach((one) => back.hear(one));
    return back.open();
  };
  assert.ok(given(answer("p-1")));
  assert.equal(given(answer("p-1", "the feed has the line already at 0:12.0")), null);
  assert.equal(given(answer("p-1", "", "refused")), null);
  given(answer("p-1"));
  back.notGiven();
  assert.equal(back.open(), null);
  for (const [command, wish] of [["said", { command: "undo", call: "a" }], ["skip", { command: "undo" }]]) {
    back.given("p-2", "41", { command, call: "a" }, command);
    back.hear(answer("p-2"));
    assert.deepEqual(back.meant().wish, wish);
  }
});

test("a page that gives no undo does not offer it, and a command that no list names is not given", async () => {
  const rights = new Rights(answering({ known: true, role: null, reads: true, commands: ["undo"] }));
  await rights.learn({});
  assert.deepEqual(["desk", "team", "garage", "sheet"].map((page) => rights.may("undo", page)), [true, false, false, false]);
  assert.match(rights.whyNot("said", "desk"), /gives no “said”/);
});

const seat = (store, more = {}) => ({ linkState: "up", store, rights: { whyBlind: () => "" }, about: { session: "s" }, ...more });
const online = (more = {}) => ({ type: "health", state: "online", t: 100, feed_age_s: 0.2, feed_ages_s: { timing: 0.2 }, ...more });

test("of what is old nothing is called well and no feed fresh; the ages of the feeds go on", () => {
  const [time, now] = at(), store = new Store(now);
  assert.match(feedWords(store), /not told/);
  store.take("health", online());
  store.take("clock", spoke(100));
  assert.deepEqual(wellness(seat(store)), { word: "all well", spoken: "all well", timing: "timing now" });
  assert.deepEqual(wellness(seat(store, { linkState: "down" })), { word: "connecting", spoken: "connecting", timing: "" });
  time.ms = 60_000;
  assert.deepEqual(wellness(seat(store)), { word: "not live", spoken: "not live", timing: "" });
  assert.equal(feedWords(store), "timing 60 s ago");
  store.take("health", online({ state: "offline", feed_ages_s: {} }));
  assert.equal(feedWords(store), "The daemon is offline: nobody hears them.");
});

test("what is wrong is spoken once, not with every second of its figures", () => {
  const [, now] = at(), store = new Store(now);
  store.take("clock", spoke(100));
  const told = [12, 13].map((age) => {
    store.take("health", online({ feed_age_s: age }));
    return wellness(seat(store));
  });
  assert.deepEqual(told.map((one) => one.word), ["timing silent 0:12", "timing silent 0:13"]);
  assert.deepEqual(told.map((one) => one.spoken), ["timing silent", "timing silent"]);
});

test("tyre telemetry may come once a minute: its silence is not told", () => {
  const store = new Store(() => 0);
  store.take("clock", spoke(100));
  store.take("health", online({ feed_ages_s: { tyres: 59, positions: 21 } }));
  store.take("desk/41/state", { type: "desk_state", car: "41", prompts: [], running_lap: { kind: "timed" } });
  assert.deepEqual(silentStreams(store), ["positions silent 0:21"]);
});

function padAt(sends) {
  const said = [], given = [];
  const desk = { store: { clock: { now: () => 5 }, desks: new Map() }, about: { turns: [1, 2] }, may: () => true, say: (text) => said.push(text),
    close: () => { pad.draft = null; }, send: (car, wish) => { given.push({ car, ...wish }); return sends(); }, urgent: false };
  const pad = new Pad(/** @type {any} */ (desk));
  pad.reader.asking = async () => null;
  return { pad, said, given };
}

test("a comment leaves its field at the key, and comes back with its words where it is refused", async () => {
  const { pad, said, given } = padAt(() => "p-1");
  pad.begin();
  pad.write("text", "floats a lot");
  const kept = pad.finish("41");
  assert.equal(pad.draft, null);
  await kept;
  assert.equal(given[0].text, "floats a lot");
  pad.hear({ type: "refused", because: "p-1", reason: "no" });
  assert.equal(pad.draft.text, "floats a lot");
  assert.equal(pad.opened, 2);
  await pad.finish("58");
  assert.deepEqual(given.map((one) => one.car), ["41", "41"]);
  assert.deepEqual(said, ["no"]);
});

test("a comment that was not sent is not lost, also where the next one is being written", async () => {
  const { pad, said } = padAt(() => null);
  pad.begin();
  pad.write("text", "9u");
  await pad.finish("41");
  assert.match(said[0], /no turn 9/);
  assert.equal(pad.draft.text, "9u");
  pad.write("text", "floats");
  const kept = pad.finish("41");
  pad.begin();
  await kept;
  assert.equal(pad.draft.text, "");
  pad.draft = null;
  pad.openLast("41");
  assert.equal(pad.draft.text, "floats");
});

test("the team's page tells in the garage what the car will leave with beside what is on it", () => {
  const state = { state: "garage", tyres: "A1", tyre_laps: 15, fuel_kg: 10.3 };
  const plan = { runs: [{ run: "checks", state: "done", tyres: "A1", fuel_kg: 12 }, { run: "holds", state: "next", tyres: "B1", fuel_kg: 20 }] };
  assert.deepEqual(carries(state, plan), { tyres: "A1, 15 laps → B1", fuel: "10.3 kg → 20 kg" });
  assert.deepEqual(carries({ ...state, state: "timed" }, plan), { tyres: "A1, 15 laps", fuel: "10.3 kg" });
  assert.deepEqual(carries({ ...state, tyres: "B1", tyre_laps: 0, fuel_kg: 20 }, plan), { tyres: "B1, 0 laps", fuel: "20 kg" });
  const cut = (state) => ({ runs: [{ run: "holds", state, tyres: "B1", fuel_kg: 30, actual_span_s: [100, 400], goes_on: true }, { run: "long", state: "planned", fuel_kg: 40 }] });
  const left = { ...state, tyres: "B1", tyre_laps: 3, fuel_kg: 20 };
  for (const word of ["cut", "next"]) assert.deepEqual(carries(left, cut(word)), { tyres: "B1, 3 laps", fuel: "20 kg" }, "a run that was broken off is resumed with what is left");
  const resumed = { runs: [{ run: "holds", state: "next", tyres: "B1", fuel_kg: 30, actual_span_s: [100, 400], goes_on: false }] };
  assert.deepEqual(carries(state, resumed), { tyres: "A1, 15 laps → B1", fuel: "10.3 kg → 30 kg" }, "behind another run its own set and fuel are prepared anew");
  assert.deepEqual(carries(undefined, undefined), { tyres: "–", fuel: "–" });
});

test("the garage reads the compound, and the work before the car leaves with who does it", () => {
  const run = (more) => ({ run: "long", state: "next", tyres: "B1", compound: "medium", fuel_kg: 40, crew: [], work_s: null, ...more });
  assert.deepEqual(leavesWith(run(), { tyres: "A1", fuel_kg: 8 }), { tyres: "B1 medium", fuel: "40 kg" });
  const cut = { state: "cut", actual_span_s: [1, 2] };
  assert.deepEqual(leavesWith(run({ ...cut, goes_on: true }), { tyres: "B1", fuel_kg: 8 }), { tyres: "B1 medium, stays on", fuel: "8 kg in the car" });
  assert.deepEqual(leavesWith(run({ ...cut, goes_on: true }), { tyres: "A1", fuel_kg: 8 }), { tyres: "A1, stays on", fuel: "8 kg in the car" }, "somebody said what is on it");
  assert.deepEqual(leavesWith(run({ ...cut, goes_on: false }), { tyres: "A1", fuel_kg: 8 }), { tyres: "B1 medium", fuel: "40 kg" }, "another run was between");
  assert.deepEqual(leavesWith(run({ tyres: null, compound: null, fuel_kg: null }), undefined), { tyres: "–", fuel: "–" });
  const done = (more) => run({ state: "done", crew: ["floor", "tyres"], work_s: [300, 540, 960], actual_span_s: [100, 400], ...more });
  assert.equal(workWords([done(), run()]), "floor, tyres: 9:00 (5:00 to 16:00)");
  assert.equal(workWords([done(), done({ crew: [], work_s: [60, 60, 60], actual_span_s: [500, 900] }), run()]), "1:00", "of the run that ended last");
  assert.equal(workWords([run()]), "");
});

test("the team's page shows alerts of no car too, for its key acknowledges them", () => {
  const store = new Store(() => 0);
  store.take("desk/41/state", { type: "desk_state", car: "41", prompts: [] });
  const alert = (id, more) => store.take(`alert/${id}`, { type: "alert", id, active: true, acknowledged: false, priority: "low", since_s: 1, ...more });
  alert("a", { car: "41" });
  alert("b", { car: null });
  alert("c", { car: "99" });
  alert("d", { acknowledged: true });
  assert.deepEqual(ofNoCar(store).map((one) => one.id), ["b", "c"]);
});

test("a browser without AbortSignal.timeout asks all the same, and a question without an answer ends", async (context) => {
  context.mock.method(AbortSignal, "timeout", () => assert.fail("old phones have none"));
  const asked = context.mock.method(globalThis, "fetch", async () => ({ ok: true, json: async () => ({ reads: "x" }) }));
  assert.deepEqual(await ask("rights", {}), { reads: "x" });
  asked.mock.mockImplementation((_word, { signal }) => new Promise((_given, failed) => signal.addEventListener("abort", () => failed(signal.reason))));
  assert.equal(await ask("rights", {}, 1), null);
});

test("a change of the plan without a reason says who made it, and no empty reason", () => {
  assert.equal(changedBy({ by: "ann", why: "" }), "(ann)");
  assert.equal(changedBy({ by: "ann", why: "rain" }), "(ann: rain)");
});

test("no place is known to less than a tenth of a second", () => {
  const lap = { kind: "timed", begun_s: 0, line_s: 90, listen: [], others: [], here: 0.5, here_within_s: 0.01, line_within_s: 0 };
  assert.equal(lapWords(lap, [], 50), "line expected in 0:40 ± 0.1 s; where it is: ± 0.1 s");
});

test("before a session its flag stands the session's length after the green light, however long that is still away", () => {
  const [time, now] = at(), clock = new DaemonClock(now);
  clock.take(spoke(-9960, { status: "waiting", running: false, remaining_s: 1800 }), false);
  assert.equal(clock.flag(), 1800);
  clock.take(spoke(-1200, { remaining_s: 1800 }), false);  // the green light came early
  time.ms = 2000;
  assert.equal(clock.flag(), 600);
  clock.take(spoke(90, { status: "waiting", running: false, remaining_s: 1800 }), false);  // and late
  assert.equal(clock.flag(), 1890);
  clock.take(spoke(1000, { status: "finished", running: false, remaining_s: 55 }), false);
  assert.equal(clock.flag(), 1000);
});

test("a lap that should have ended is told as overdue, and nobody says where the car is", () => {
  const lap = { kind: "timed", line_s: 447, line_within_s: 0.8, here: 0.9, here_within_s: 0.8, others: [] };
  assert.match(lapWords(lap, [], 446), /^line expected in 0:01 ± 0.8 s/);
  assert.match(lapWords(lap, [], 448.5), /^line expected in 0:00 ± 1.5 s; where it is: ± 1.5 s$/);
  assert.equal(lapWords(lap, [], 497), "line overdue 0:50; where it is: nobody can say");
  assert.equal(lapWords({ ...lap, kind: "in", line_within_s: null }, [], 497), "pit lane overdue 0:50; where it is: nobody can say");
  assert.ok(!isOverdue({ ...lap, line_within_s: 6 }, 452));
});

test("a car that is close on both sides stands once on the map, on the nearer one", () => {
  const near = (car, gap_s) => ({ car, gap_s, kind: "timed" });
  assert.deepEqual(onceEach([near("7", 40), near("9", 3), near("7", -20)]), [near("9", 3), near("7", -20)]);
  assert.deepEqual(onceEach([near("7", 20), near("7", -20)]), [near("7", 20)]);
});

test("after the flag nothing is next of a car that drives no more, and a run that was not driven is not to come", () => {
  const [, now] = at(), store = new Store(now);
  const planned = { call: "q", car: "41", state: "planned", kind: "question", say_from_s: 90, say_by_s: 99, act_at_s: null, revision: 1, t: 50, priority: 1 };
  const desk = (state) => ({ type: "desk_state", id: "d", t: 50, car: "41", state, prompts: [planned], switches: [], comments: [] });
  store.take("desk/41/state", desk("garage"));
  store.take("clock", spoke(50));
  assert.equal(store.toCome("41").length, 1);
  store.take("clock", spoke(51, { status: "finished", running: false }));
  assert.equal(store.toCome("41").length, 0);
  store.take("desk/41/state", desk("in"));
  assert.equal(store.toCome("41").length, 1);  // the lap after the flag is still driven
  assert.equal(runWord({ state: "next" }, store.isOver()), "not driven");
  assert.equal(runWord({ state: "next" }, false), "next");
  assert.equal(runWord({ state: "done", counts: true }, true), "done");
});

test("of a car that is kept quiet the list tells what comes all the same: the garage's calls, session, safety, box", () => {
  const [, now] = at(), store = new Store(now);
  const call = (name, kind, place) => ({ call: name, car: "41", state: "planned", kind, place, text: name, say_from_s: 90, say_by_s: 99, act_at_s: null, revision: 1, t: 50, priority: 1 });
  const prompts = [call("leave", "release", "garage"), call("check", "switch", "garage"), call("coast", "procedure", "turn 4"), call("torque", "switch", "line"), call("box", "box", null), call("red", "safety", null)];
  const desk = (quiet) => ({ type: "desk_state", id: "d", t: 50, car: "41", state: "garage", quiet, prompts, switches: [], comments: [] });
  store.take("clock", spoke(50));
  store.take("desk/41/state", desk(true));
  assert.deepEqual(store.toCome("41").map((p) => p.call).sort(), ["box", "check", "leave", "red"]);
  assert.equal(store.toCome("41", true).length, 6, "the paper sheet is for the day on which nobody is there to mute them");
  store.take("desk/41/state", desk(false));
  assert.equal(store.toCome("41").length, 6);
});

test("switches that nobody has confirmed are not called as wanted without a word", () => {
  const card = (verified) => ({ switch: "s", word: "s", wanted: 1, believed: 1, measured: null, verified });
  assert.equal(allWords([card(false), card(false)]), "as wanted, none verified");
  assert.equal(allWords([card(true), card(false)]), "as wanted, 1 not verified");
  assert.equal(allWords([card(true)]), "all as wanted");
});

const runRow = (more = {}) => ({ run: "holds", state: "done", counts: true, musts_left: 0, laps_left: 0, timed_done: 3, timed_wanted: 3,
  items: 5, items_done: 4, items_probably: 1, best_lap_s: 92.614, unsaid: [], ...more });
const debrief = (run, more = {}) => ({ type: "run_debrief", id: "d", t: 900, car: "41", run, items: [], data_windows: [], laps: [], comments: [], switches: [], ...more });

test("what came of a run is told in words: done in part where something is lacking, broken off where too little was driven", () => {
  assert.equal(runWords(debrief(runRow())), "● done · 3 of 3 timed · 3 of 5 items done, 1 probably · best 1:32.614");
  assert.equal(cameTo(runRow({ musts_left: 1 })), "◐ done in part");
  assert.equal(cameTo(runRow({ laps_left: 2 })), "◐ done in part");
  assert.equal(cameTo(runRow({ counts: false })), "▲ broken off");
  assert.equal(cameTo(runRow({ state: "cut" })), "▲ broken off");
  assert.equal(runWords(debrief(runRow({ timed_wanted: 0, timed_done: 0, items: 0, best_lap_s: null }))), "● done");
  assert.equal(runWords(debrief(null, { laps: [{}] })), "1 lap, of no run of the plan");
});

test("of the data of a run its moment and lap are told, and what speaks against them", () => {
  const at = (outcome, spoilt = "") => ({ do: "constant_speed_hold", lap_number: 3, from_s: { value: 633, low: 632, high: 634 }, outcome, spoilt });
  assert.deepEqual(dataWords(debrief(runRow(), { data_windows: [at("done"), at("done_badly", "traffic"), at("done", "traffic")] })),
    ["constant speed hold 10:33 (lap 3)", "constant speed hold 10:33 (lap 3, done badly)", "constant speed hold 10:33 (lap 3, spoilt)"]);
});

test("timed laps that began with a switch out of place are told with the run, beside the best lap and beside data", () => {
  const off = "engine stands at 4, this timed lap needs 2", lap = (number, lap_time_s, more = {}) => ({ number, kind: "timed", lap_time_s, switches_wrong: [], switches_unverified: [], ...more });
  const told = debrief(runRow(), { laps: [lap(2, 92.614, { switches_wrong: [off] }), lap(3, 93.1, { switches_wrong: [off] }), lap(4, 93.2, { switches_unverified: ["flap was never confirmed"] }), lap(5, 92.9)],
    data_windows: [2, 5].map((lap_number) => ({ do: "coast_down", lap_number, from_s: { value: 633, low: 632, high: 634 }, outcome: "done", spoilt: "" })) });
  assert.equal(runWords(told), "● done · 3 of 3 timed, 2 with switch wrong, 1 with switch unverified · 3 of 5 items done, 1 probably · best 1:32.614 (switch wrong)");
  assert.deepEqual(doubtWords(told), [["switch wrong", `laps 2, 3 (${off})`], ["switch unverified", "lap 4 (flap was never confirmed)"]]);
  assert.deepEqual(dataWords(told), ["coast down 10:33 (lap 2, switch wrong)", "coast down 10:33 (lap 5)"]);
  assert.deepEqual(doubtWords(debrief(runRow())), []);
});

test("the last run is told while its car is in the pits, until the daemon takes the word back", () => {
  const store = new Store(() => 0), desk = (state) => ({ type: "desk_state", id: "d", t: 900, car: "41", state, prompts: [], switches: [], comments: [] });
  store.take("debrief/41", debrief(runRow({ unsaid: ["tyres", "balance"] })));
  store.take("desk/41/state", desk("in"));
  assert.equal(lastRun(store, "41"), null);
  for (const state of ["pit_lane", "garage"]) {
    store.take("desk/41/state", desk(state));
    assert.equal(unsaidWords(lastRun(store, "41")), "tyres, balance");
  }
  store.take("debrief/41", null);
  assert.equal(lastRun(store, "41"), null);
});

test("only what was not done or was spoilt is to be thought of again", () => {
  const items = ["done", "probably_done", "done_badly", "not_done", "to_come"].map((outcome) => ({ outcome }));
  assert.deepEqual(lacking(debrief(runRow(), { items })).map((item) => item.outcome), ["done_badly", "not_done"]);
});

test("once the session is over no run leaves any more, on the garage's page and on the sheet", () => {
  const runs = [{ run: "holds", state: "done" }, { run: "low-fuel", state: "running" }, { run: "coast", state: "next" }, { run: "long", state: "planned" }];
  assert.equal(comesNext(runs, false)?.run, "coast");
  assert.equal(comesNext(runs, true), undefined);
  assert.deepEqual(leftOf(runs, false).map((run) => run.run), ["low-fuel", "coast", "long"]);
  assert.deepEqual(leftOf(runs, true).map((run) => run.run), ["low-fuel"], "what is on track comes home");
});

test("under red with the pit exit closed the garage reads that the run is held and why, not that it leaves in no time", () => {
  const store = new Store(() => 0), next = { run: "baseline", state: "cut", laps: ["timed"], expected_span_s: [100, 400] };
  const stands = (state, clock) => {
    store.take("desk/41/state", { type: "desk_state", id: "d", t: 140, car: "41", state, prompts: [], switches: [], comments: [] });
    store.take("clock", spoke(140, clock));
    return leavingWords(store, "41", next);
  };
  assert.deepEqual(stands("garage", { status: "red", pit_exit: "closed" }), { head: "baseline is next", figure: "held", below: "red flag, the pit exit is closed; it would leave at once" });
  next.expected_span_s = [260, 560];
  assert.deepEqual(stands("pit_lane", { status: "green", pit_exit: "closed" }), { head: "baseline is next", figure: "held", below: "the pit exit is closed; ready in 2:00, at 4:20 of the session" });
  assert.equal(stands("garage", { status: "waiting", pit_exit: "closed" }).figure, "2:00", "before the green light one counts down");
  assert.equal(stands("in", { status: "red", pit_exit: "closed" }).head, "baseline leaves in", "the car is on the track");
  assert.deepEqual(stands("garage", { status: "green", pit_exit: "open" }), { head: "baseline leaves in", figure: "2:00", below: "at 4:20 of the session" });
  assert.equal(heldWords(null), "");
  assert.equal(leavingWords(store, "41", { ...next, expected_span_s: null }).head, "baseline is next; when is not known yet", "no heading without its figure");
  const block = { ...next, run: "starts", after_flag: true, expected_span_s: null }, head = "starts after the flag needs the car on track as it falls";
  assert.deepEqual(leavingWords(store, "41", block), { head }, "it is called out for that, in its time");
  store.take("prompt/41/go", { type: "prompt", call: "go", car: "41", run: "starts", state: "shown", kind: "release", place: "garage", short: "Leave when clear", revision: 1, t: 140, say_from_s: 300, say_by_s: 330, act_at_s: 300, priority: 80 });
  for (const following of [block, next]) assert.deepEqual(leavingWords(store, "41", following), { head, figure: "2:40", below: "leaves at 5:00 of the session" }, "also where the next run waits for a later window");
});

test("the garage reads what is called there, not what the driver is told on the track, and no work before a run that goes on", () => {
  const call = (kind, place) => ({ kind, place });
  assert.deepEqual(calledNow([call("switch", "garage"), call("switch", "turn 4"), call("release", "garage"), call("brief", "garage"), call("box", "garage")]).map((p) => p.kind), ["switch", "release", "brief"]);
  const runs = [{ run: "baseline", state: "cut", crew: ["tyres"], work_s: [180, 240, 420], actual_span_s: [1, 2] }];
  assert.equal(workWords(runs, { ...runs[0], goes_on: true }), "", "it is the work after the run");
  assert.equal(workWords(runs, { run: "long", state: "next" }), "tyres: 4:00 (3:00 to 7:00)");
});

test("a run that was broken off has to be left for by a moment as any other, the one on track has not", () => {
  const states = ["planned", "next", "cut", "running", "done", "skipped"], span = [100, 400];
  assert.deepEqual(states.filter((state) => isToLeave({ state, actual_span_s: span })), ["planned", "next", "cut"]);
});

test("the garage reads that a run that goes on lacks fuel, as long as the alert stands, acknowledged at the desk or not", () => {
  const store = new Store(() => 0);
  const alert = { type: "alert", id: "fuel-to-go-on-41", t: 140, car: "41", kind: "fuel_to_go_on", priority: "medium", active: true, acknowledged: true, text: "its 5 laps take 10.8 kg", help: "Fill it.", since_s: 140 };
  store.take("alert/fuel-to-go-on-41", alert);
  assert.equal(fuelLacks(store, "41"), "its 5 laps take 10.8 kg");
  assert.equal(fuelLacks(store, "58"), "", "the other car has enough");
  store.take("alert/fuel-to-go-on-41", { ...alert, active: false });
  assert.equal(fuelLacks(store, "41"), "");
});

test("no note has the id of a call, also once the call is over and gone from the list", () => {
  const store = new Store(() => 0), call = (name, short, t) => ({ type: "prompt", call: name, car: "58", state: "due", kind: "procedure", short, revision: 1, t, say_from_s: 1, say_by_s: 2, act_at_s: null, priority: 1 });
  store.take("prompt/58", call("58-coast-2-symmetry-3-0", "Weave", 10));
  store.take("prompt/58", call("58-coast-2-symmetry-3-0~2", "Weave once more", 20));
  store.take("desk/58/state", { type: "desk_state", id: "d", t: 90, car: "58", state: "timed", prompts: [], switches: [], comments: [] });
  assert.equal(store.prompts.size, 0);
  assert.equal(answerWords("noted; 58-coast-2-symmetry-3-0~2 was withdrawn", { store }), "noted; “Weave once more” was withdrawn");
  assert.equal(answerWords("'58-coast-2-symmetry-3-0': part 1 said", { store }), "“Weave”: part 1 said");
  assert.equal(answerWords("58-coast-2-symmetry-3-0~3 is over", { store }), "58-coast-2-symmetry-3-0~3 is over", "of another call nothing is known");
});

test("after the end the team's page names no run that a car leaves for, nor what it would leave with", () => {
  const state = { state: "garage", run: "long", tyres: "C1", tyre_laps: 4, fuel_kg: 20.3 };
  const plan = { runs: [{ run: "long", state: "next", tyres: "B2", fuel_kg: 26 }] };
  assert.deepEqual([runOf(state, false), carries(state, plan, false).tyres], ["long", "C1, 4 laps → B2"]);
  assert.deepEqual([runOf(state, true), carries(state, plan, true).tyres, carries(state, plan, true).fuel], ["–", "C1, 4 laps", "20.3 kg"]);
  assert.equal(runOf({ ...state, state: "in" }, true), "long", "what is on track comes home");
});

test("a change that was taken back before a role saw it is no change that it has not seen", () => {
  const change = (revision, t, more = {}) => ({ revision, t, by: "ann", what: "x", why: "", takes_back_t: null, ...more });
  const changes = [change(2, 100), change(1, 108, { takes_back_t: 100 }), change(2, 200)];
  assert.deepEqual(unseenBy(changes, { role: "floor" }).map((one) => one.t), [200]);
  assert.deepEqual(unseenBy(changes, { role: "floor", revision: 2, t: 104 }).map((one) => one.t), [108, 200], "it saw what does not hold any more");
  assert.deepEqual(unseenBy(changes, { role: "floor", revision: 1, t: 50 }).map((one) => one.t), [200]);
});

test("what stands beside the status is a list, not one word", () => {
  assert.equal(trackWords(spoke(1, { yellow_sectors: ["4", "5"], pit_exit: "open" }), true), "yellow in 4, 5 · pit exit open · wet");
  assert.equal(trackWords(spoke(1, { yellow_sectors: [], pit_exit: "closed" }), false), "pit exit closed");
  assert.equal(trackWords(null, false), "");
});

test("what is done after the flag is drawn behind it", () => {
  const run = { run: "starts", state: "planned", laps: [], after_flag: true, expected_span_s: [3000, 3400] };
  assert.deepEqual(barOf(run, { end_q50_s: 3500 }, 2000, 3600), [3600, 4000]);
  assert.deepEqual(barOf({ ...run, expected_span_s: [3700, 4100] }, undefined, 3650, 3600), [3700, 4100]);
  assert.equal(afterFlag({ ...run, state: "done" }), false);
  assert.deepEqual(barOf({ ...run, after_flag: false }, { end_q50_s: 3500 }, 2000, 3600), [3000, 3500]);
});

test("a car that is shown boards is named so", () => {
  assert.equal(boardWord({ medium: "board" }), "pit board");
  assert.equal(boardWord({ medium: "two_way" }), "");
  assert.equal(boardWord(undefined), "");
});
