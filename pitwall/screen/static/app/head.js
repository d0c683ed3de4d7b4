/** The top of every page: time left, status, pit exit, flag margin in words, and in one glance whether all is well. */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { LEAST_CHANCE, STATUS_ASKS, STATUS_WORDS, flagWords, percent, whereWords } from "./words.js";

const FEED_OLD_S = 10;
/** Feeds that never rest while a car runs; of the others silence may mean that nothing changed. */
const STREAMS = ["positions", "tyres"], STREAM_OLD_S = 20;

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
        <span>${clock === null ? "no clock yet" : clock.running || status === "waiting" ? "left" : "left, clock stopped"}
          ${clock?.window ? ` · ${clock.window}` : ""}</span>
      </div>
      <div class=${`status asks-${STATUS_ASKS[status] ?? "nothing"}`} role="status">
        <b>${STATUS_WORDS[status]}</b>
        <span>${clock?.yellow_sectors?.length ? `yellow in ${clock.yellow_sectors.join(", ")}` : ""}
          ${clock ? `pit exit ${clock.pit_exit}` : ""}</span>
      </div>
      <div class="flag">${state ? flagWords(state, store.forecasts.get(state.car)?.outlook) : ""}</div>
      <${CarTabs} desk=${desk} />
      <${Wellness} desk=${desk} />
    </header>`;
}

/**
 * How old each feed is that ever spoke, in real seconds, by its name: as the daemon told, and what has gone by since.
 * @param {import("./store.js").Store} store @returns {[string, number][]}
 */
export function feedAges(store) {
  const { health, clock } = store, rate = clock.state?.rate || 1;
  const since = health === null ? 0 : Math.max(0, clock.now() - health.t) || 0;
  return Object.entries(health?.feed_ages_s ?? {}).map(([name, age]) => [name, (age + since) / rate]);
}

/** Which streams have fallen silent although a car of ours is on the track. @param {import("./store.js").Store} store */
export function silentStreams(store) {
  if (![...store.desks.values()].some((desk) => desk.running_lap)) return [];
  return feedAges(store).filter(([name, age]) => STREAMS.includes(name) && age > STREAM_OLD_S).map(([name, age]) => `${name} silent ${clockText(age)}`);
}

/** One glance: all well, or what is not. */
function Wellness({ desk }) {
  const { store } = desk, health = store.health;
  const rate = store.clock.state?.rate || 1;
  const waiting = store.standing().filter((alert) => !alert.acknowledged);
  const open = waiting.filter((alert) => alert.priority !== "low").length, low = waiting.length - open;
  const feed = health?.feed_age_s == null ? health?.feed_age_s ?? null : health.feed_age_s / rate, lag = (health?.lag_s ?? 0) / rate;
  const wrong = [];
  if (health?.store_fails) wrong.push("journal fails");
  if (health && feed === null) wrong.push("no timing yet");
  if (typeof feed === "number" && feed > FEED_OLD_S) wrong.push(`timing silent ${clockText(feed)}`);
  wrong.push(...silentStreams(store));
  if (lag > 3) wrong.push(`daemon ${Math.round(lag)} s behind`);
  if (open) wrong.push(`${open} alert${open > 1 ? "s" : ""}`);
  for (const [car, { outlook }] of store.forecasts) {
    if (outlook.musts_chance < LEAST_CHANCE) wrong.push(`${car}: musts ${percent(outlook.musts_chance)}`);
  }
  const word = desk.linkState !== "up" || health === null ? "connecting" : wrong.length ? wrong.join(" · ") : "all well";
  const well = word === "all well";
  return html`<div class=${`wellness${well ? " well" : ""}`} role="status">
    <b>${well ? "○" : "◆"} ${word}</b>
    <span>${[low ? `${low} to acknowledge` : "", typeof feed === "number" ? `timing ${feed < 1 ? "now" : `${Math.round(feed)} s ago`}` : "",
      desk.about.session].filter(Boolean).join(" · ")}</span>
  </div>`;
}

/** One button for each car of the team, with where it is in words. */
function CarTabs({ desk }) {
  const cars = desk.store.cars();
  return html`<nav class="cars" aria-label="cars">
    ${cars.map((car, at) => {
      const state = desk.store.desks.get(car);
      const calls = desk.store.open(car).filter((p) => p.state === "due").length;
      return html`<button key=${car} aria-pressed=${car === desk.car()} onClick=${() => desk.showCar(at + 1)}>
        <kbd>${at + 1}</kbd><b>${car}</b> ${state?.driver ?? ""}
        <span>${whereWords(state)}</span>
        ${calls > 0 && car !== desk.car() ? html`<em>▶ ${calls} to say</em>` : ""}
      </button>`;
    })}
    ${cars.length === 0 ? html`<p class="empty">No car yet: waiting for the daemon${desk.about.session
      ? ` of ${desk.about.session}` : ""}.</p>` : ""}
  </nav>`;
}
