/** The top of every page: time left, status, pit exit, flag margin in words, and in one glance whether all is well. */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { LEAST_CHANCE, STATUS_ASKS, STATUS_WORDS, flagWords, percent, whereWords } from "./words.js";

const FEED_OLD_S = 10;

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

/** One glance: all well, or what is not. */
function Wellness({ desk }) {
  const { store } = desk, health = store.health;
  const waiting = store.standing().filter((alert) => !alert.acknowledged);
  const open = waiting.filter((alert) => alert.priority !== "low").length, low = waiting.length - open;
  const feed = health?.feed_age_s, lag = health?.lag_s ?? 0;
  const wrong = [];
  if (health?.store_fails) wrong.push("journal fails");
  if (health && feed === null) wrong.push("no timing yet");
  if (typeof feed === "number" && feed > FEED_OLD_S) wrong.push(`timing silent ${clockText(feed)}`);
  if (lag > 3) wrong.push(`daemon ${Math.round(lag)} s behind`);
  if (open) wrong.push(`${open} alert${open > 1 ? "s" : ""}`);
  for (const [car, { outlook }] of store.forecasts) {
    if (outlook.musts_chance < LEAST_CHANCE) wrong.push(`${car}: musts ${percent(outlook.musts_chance)}`);
  }
  const word = desk.linkState !== "up" || health === null ? "connecting" : wrong.length ? wrong.join(" · ") : "all well";
  const well = word === "all well";
  return html`<div class=${`wellness${well ? " well" : ""}`} role="status">
    <b>${well ? "○" : "◆"} ${word}</b>
    <span>${low ? `${low} to note · ` : ""}${typeof feed === "number" ? `timing ${feed < 1 ? "now" : `${Math.round(feed)} s ago`}` : ""}
      ${desk.about.session ? ` · ${desk.about.session}` : ""}</span>
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
