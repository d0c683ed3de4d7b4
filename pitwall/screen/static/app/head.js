/** The top of every page: time left, status, pit exit, flag margin in words, and in one glance whether all is well. */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { isOld } from "./old.js";
import { LEAST_CHANCE, STATUS_ASKS, STATUS_WORDS, boardWord, flagWords, isAgainst, percent, whereWords } from "./words.js";

/** @typedef {import("./desk.js").Desk} Desk */
/** @typedef {import("./store.js").Store} Store */

const FEED_OLD_S = 10;
/** Feeds that never rest while a car runs; of the others silence may mean that nothing changed, or that they come each minute. */
const STREAMS = ["positions"], STREAM_OLD_S = 20;

/** @param {{desk: import("./desk.js").Desk}} props */
export function Head({ desk }) {
  const { store } = desk, clock = store.clock.state, car = desk.car();
  const state = car === null ? undefined : store.desks.get(car);
  const status = clock?.status ?? "waiting";
  const remaining = store.clock.remaining();
  return html`
    <header>
      <h1 class="unseen">pitwall${car === null ? "" : `, car ${car}`}</h1>
      <div class="time" role="timer" aria-label="time left in the session">
        <b>${clockText(remaining)}</b>
        <span>${timeWords(clock, store.clock.now())}
          ${clock?.window ? ` · ${clock.window}` : ""}</span>
      </div>
      <div class=${`status asks-${STATUS_ASKS[status] ?? "nothing"}`} role="status">
        <b>${STATUS_WORDS[status]}</b>
        <span>${trackWords(clock, state?.wet ?? false)}</span>
      </div>
      <div class="flag">${state ? flagWords(state, store.forecasts.get(state.car)?.outlook) : ""}</div>
      <${CarTabs} desk=${desk} />
      <${Wellness} desk=${desk} />
    </header>`;
}

/** Beside the status: sectors under yellow, the pit exit, the wet. @param {import("./wire").ClockState | null} clock @param {boolean} wet */
export function trackWords(clock, wet) {
  const yellow = clock?.yellow_sectors?.length ? `yellow in ${clock.yellow_sectors.join(", ")}` : "";
  return [yellow, clock ? `pit exit ${clock.pit_exit}` : "", wet ? "wet" : ""].filter(Boolean).join(" · ");
}

/**
 * What the time in the head is, and the session's own time beside it: calls, alerts and releases are told in that.
 * @param {import("./wire").ClockState | null} clock @param {number} now session seconds
 */
export function timeWords(clock, now) {
  if (clock === null) return "no clock yet";
  const left = clock.running || clock.status === "waiting" ? "left" : "left, clock stopped";
  return clock.status !== "waiting" && now >= 0 ? `${left} · now ${clockText(now)}` : left;
}

/**
 * How old each feed is that ever spoke, in real seconds, by its name: as the daemon told, and what has gone by since.
 * @param {import("./store.js").Store} store @returns {[string, number][]}
 */
export function feedAges(store) {
  const { health, clock } = store, rate = clock.state?.rate || 1;
  // The daemon's clock may stand still: then the page's own tells how long ago that was.
  const heard = Math.max(0, store.age("health")) * rate;
  const since = health === null ? 0 : Math.max(0, clock.now() - health.t || 0, Number.isFinite(heard) ? heard : 0);
  return Object.entries(health?.feed_ages_s ?? {}).map(([name, age]) => [name, (age + since) / rate]);
}

/** Which streams have fallen silent although a car of ours is on the track. @param {import("./store.js").Store} store */
export function silentStreams(store) {
  if (![...store.desks.values()].some((desk) => desk.running_lap)) return [];
  return feedAges(store).filter(([name, age]) => STREAMS.includes(name) && age > STREAM_OLD_S).map(([name, age]) => `${name} silent ${clockText(age)}`);
}

/**
 * What is not well, each with its kind: the kind stays while the figures in its words go on.
 * @param {Desk} desk @returns {[string, string][]} kind and words
 */
export function whatIsWrong({ store }) {
  const { health } = store, rate = store.clock.state?.rate || 1;
  const open = unseen(store).filter((alert) => alert.priority !== "low").length;
  const feed = feedAge(store), lag = (health?.lag_s ?? 0) / rate;
  /** @type {[string, string][]} */
  const wrong = [];
  if (health?.store_fails) wrong.push(["journal fails", "journal fails"]);
  if (health && feed === null) wrong.push(["no timing yet", "no timing yet"]);
  if (feed !== null && feed > FEED_OLD_S) wrong.push(["timing silent", `timing silent ${clockText(feed)}`]);
  for (const words of silentStreams(store)) wrong.push([words.replace(/ [\d:]+$/, ""), words]);
  if (lag > 3) wrong.push(["daemon behind", `daemon ${Math.round(lag)} s behind`]);
  const alerts = `${open} alert${open > 1 ? "s" : ""}`;
  if (open) wrong.push([alerts, alerts]);
  for (const [car, { outlook }] of store.forecasts) {
    if (!store.isOver() && outlook.musts_chance < LEAST_CHANCE) wrong.push([`${car}: musts in doubt`, `${car}: musts ${percent(outlook.musts_chance)}`]);
  }
  return wrong;
}

/**
 * One glance, in words: all well, or what is not; what of it is spoken; and how old the timing is. Of what is old no feed
 * is called fresh.
 * @param {Desk} desk
 */
export function wellness(desk) {
  const { store } = desk, wrong = whatIsWrong(desk), feed = feedAge(store);
  if (desk.linkState !== "up" || store.health === null) return { word: "connecting", spoken: "connecting", timing: "" };
  if (isOld(desk)) return { word: "not live", spoken: "not live", timing: "" };
  const timing = feed === null ? "" : `timing ${feed < 1 ? "now" : `${Math.round(feed)} s ago`}`;
  if (!wrong.length) return { word: "all well", spoken: "all well", timing };
  return { word: wrong.map(([, words]) => words).join(" · "), spoken: wrong.map(([kind]) => kind).join(", "), timing };
}

/** How old the timing was when the daemon told, in real seconds; null where there was none yet. @param {Store} store */
function feedAge({ health, clock }) {
  return health?.feed_age_s == null ? null : health.feed_age_s / (clock.state?.rate || 1);
}

/** Alerts that nobody has acknowledged. @param {Store} store */
function unseen(store) {
  return store.standing().filter((alert) => !alert.acknowledged);
}

/** Shown with its figures as they go on; spoken only where it becomes another thing (WAI-ARIA 1.2, status). */
function Wellness({ desk }) {
  const { word, spoken, timing } = wellness(desk), well = word === "all well";
  const low = unseen(desk.store).filter((alert) => alert.priority === "low").length;
  return html`<div class=${`wellness${well ? " well" : ""}`}>
    <b>${well ? "○" : "◆"} ${word}</b>
    <i class="unseen" role="status">${spoken}</i>
    <span>${[low ? `${low} to acknowledge` : "", timing, desk.about.session].filter(Boolean).join(" · ")}</span>
  </div>`;
}

/** One button for each car of the team, with where it is in words. */
function CarTabs({ desk }) {
  const cars = desk.store.cars();
  return html`<nav class="cars" aria-label="cars">
    ${cars.map((car, at) => {
      const state = desk.store.desks.get(car);
      const calls = desk.store.open(car).filter((p) => p.state === "due" && !isAgainst(p)).length;
      return html`<button key=${car} aria-pressed=${car === desk.car()} onClick=${() => desk.showCar(at + 1)}>
        <kbd>${at + 1}</kbd><b>${car}</b> ${state?.driver ?? ""}
        <span>${boardWord(state) && `${boardWord(state)} · `}${whereWords(state)}</span>
        ${calls > 0 && car !== desk.car() ? html`<em>▶ ${calls} to say</em>` : ""}
      </button>`;
    })}
    ${cars.length === 0 ? html`<p class="empty">No car yet: waiting for the daemon${desk.about.session
      ? ` of ${desk.about.session}` : ""}.</p>` : ""}
  </nav>`;
}
