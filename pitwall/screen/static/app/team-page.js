/** Two to four cars side by side: the call of each, its clock, its plan. */
import { html } from "./html.js";
import { clockText, lapText } from "./clock.js";
import { PlanLine } from "./plan-line.js";
import { LapStrip } from "./strip.js";
import { allWords, differs } from "./switches.js";
import { ALERT_MARKS, IN_THE_PITS, boardWord, callClass, callMark, callWord, flagWords, spoken, timeLeft, whereWords } from "./words.js";

/** @param {{desk: import("./desk.js").Desk}} props */
export function TeamPage({ desk }) {
  const { store } = desk, cars = store.cars();
  const others = ofNoCar(store).map((alert) => html`<${Standing} key=${alert.id} alert=${alert} />`);
  if (!cars.length) return html`${others}<p class="empty">No car yet.</p>`;
  return html`${others}<div class="team">${cars.map((car) => html`<${CarColumn} key=${car} desk=${desk} car=${car} />`)}</div>`;
}

/** Alerts of the session, or of a car that has no column here: the key acknowledges them too. @param {import("./store.js").Store} store */
export function ofNoCar(store) {
  return store.standing().filter((alert) => !alert.acknowledged && !store.desks.has(alert.car ?? ""));
}

/** @param {{alert: import("./wire").Alert}} props */
function Standing({ alert }) {
  return html`<p class=${`team-alert is-${alert.priority}`}><i aria-hidden="true">${ALERT_MARKS[alert.priority]}</i> ${alert.priority}: ${alert.text}</p>`;
}

/** What is on the car, and in the garage what it will leave with, where that is something else: the crew may not have
 * changed it yet. Once the session is over it leaves with nothing any more.
 * @param {import("./wire").DeskState | undefined} state @param {import("./wire").PlanState | undefined} plan @param {boolean} [over] */
export function carries(state, plan, over = false) {
  const inside = !over && IN_THE_PITS.includes(state?.state ?? "");
  const next = inside ? plan?.runs.find((run) => run.state === "next" && !run.goes_on) : undefined;
  const laps = state?.tyre_laps != null ? `, ${state.tyre_laps} ${state.tyre_laps === 1 ? "lap" : "laps"}` : "";
  const tyres = `${state?.tyres ?? "–"}${laps}`, fuel = state?.fuel_kg != null ? `${state.fuel_kg} kg` : "–";
  const set = next?.tyres ?? state?.tyres, load = next?.fuel_kg ?? state?.fuel_kg;
  return { tyres: set !== state?.tyres ? `${tyres} → ${set}` : tyres, fuel: load !== state?.fuel_kg ? `${fuel} → ${load} kg` : fuel };
}

/** The run that it is on, or leaves for next; after the end a car in the pits is on none. @param {import("./wire").DeskState | undefined} state @param {boolean} over */
export function runOf(state, over) {
  return over && IN_THE_PITS.includes(state?.state ?? "garage") ? "–" : state?.run ?? "–";
}

function CarColumn({ desk, car }) {
  const { store } = desk, state = store.desks.get(car), now = store.clock.now();
  const prompt = store.open(car)[0], outlook = store.forecasts.get(car)?.outlook;
  const next = store.toCome(car)[0], wrong = (state?.switches ?? []).filter(differs);
  const carried = carries(state, store.plans.get(car), store.isOver());
  const alerts = store.standing().filter((alert) => alert.car === car && !alert.acknowledged);
  return html`<section aria-label=${`car ${car}`}>
    <h2><a href=${`#/desk/${car}`}>${car}</a> ${state?.driver ?? ""} <span>${boardWord(state) && `${boardWord(state)} · `}${whereWords(state)}</span></h2>
    ${prompt ? html`<div class=${`slip ${callClass(prompt)}`}><b>${callMark(prompt)} ${callWord(prompt, now)} <span>${timeLeft(prompt, now) && `· ${timeLeft(prompt, now)}`}</span></b>
      <p>${spoken(prompt)}</p></div>` : html`<div class="slip is-silent"><b>· nothing to say</b>
      <p>${next ? `next in ${clockText(Math.max(0, next.say_from_s - now))}: ${next.short}` : ""}</p></div>`}
    <dl>
      <div><dt>run</dt><dd>${runOf(state, store.isOver())}</dd></div>
      <div><dt>last · best</dt><dd>${lapText(state?.last_lap_s)} · ${lapText(state?.best_lap_s)}</dd></div>
      <div><dt>tyres</dt><dd>${carried.tyres}</dd></div>
      <div><dt>fuel</dt><dd>${carried.fuel}</dd></div>
      <div class="wide"><dt>flag</dt><dd>${state ? flagWords(state, outlook) || "–" : "–"}</dd></div>
      <div class="wide"><dt>switches</dt><dd>${wrong.length ? `◆ ${wrong.map((card) => card.word).join(", ")}` : allWords(state?.switches ?? [])}</dd></div>
    </dl>
    ${state?.running_lap ? html`<${LapStrip} desk=${desk} car=${car} prompt=${prompt ?? null} />` : ""}
    <${PlanLine} desk=${desk} car=${car} calm />
    ${alerts.map((alert) => html`<${Standing} key=${alert.id} alert=${alert} />`)}
  </section>`;
}
