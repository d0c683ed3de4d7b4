/** For a phone in the garage: when the car leaves next, on what, with how much, and what the crew has to do before. */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { LastRunRows, lastRun, runWords } from "./last-run.js";
import { lapsText } from "./sheet-store.js";
import { boardWord, CAR_WORDS, changedBy, IN_THE_PITS, LATE_FROM_S, STATUS_WORDS } from "./words.js";

/** Calls that the garage hears: of the same kinds are calls to a driver on the track. */
const HEARD_IN_THE_GARAGE = ["release", "brief", "switch"];

/** @param {{desk: import("./desk.js").Desk}} props */
export function GaragePage({ desk }) {
  const car = desk.car();
  if (car === null) return html`<p class="empty">No car yet.</p>`;
  const { store } = desk, state = store.desks.get(car), plan = store.plans.get(car);
  const next = comesNext(plan?.runs ?? [], store.isOver()), release = calledNow(store.open(car));
  const leaving = leavingWords(store, car, next), told = lastRun(store, car);
  const work = workWords(plan?.runs ?? [], next), short = fuelLacks(store, car);
  const behind = Math.max(0, ...(plan?.seen ?? []).map((one) => unseenBy(plan?.changes ?? [], one).length));
  const changes = (plan?.changes ?? []).slice(-Math.max(4, behind)).reverse(), over = store.isOver();
  return html`<div class="garage">
    <p class="where"><b>car ${car}</b> · ${CAR_WORDS[state?.state ?? "garage"]}${state?.run ? ` · ${state.run}` : ""}${boardWord(state) && ` · ${boardWord(state)}`}</p>
    <section class="count" aria-label="next release">
      <h2>${leaving.head}</h2>
      ${leaving.figure && html`<b>${leaving.figure}</b>`}${leaving.below && html`<span>${leaving.below}</span>`}
      ${state?.kept_in ? html`<em>▲ kept in: nobody lets it go yet</em>` : ""}
    </section>
    ${next && html`<section aria-label="what it leaves with"><dl>
      <div><dt>laps</dt><dd>${lapsText(next.laps)}</dd></div>
      <div><dt>driver</dt><dd>${next.driver ?? state?.driver ?? "–"}${state?.driver_change ? ` (${state.driver_change} gets out)` : ""}</dd></div>
      <div><dt>tyres</dt><dd>${leavesWith(next, state).tyres}</dd></div>
      <div><dt>fuel</dt><dd>${leavesWith(next, state).fuel}</dd></div>
      ${work && html`<div><dt>work</dt><dd>${work}</dd></div>`}
    </dl>${short && html`<p class="caution">▲ ${short}</p>`}</section>`}
    <section aria-label="called now"><h2>called now</h2>
    ${release.length ? html`<ol>${release.map((p) => html`<li key=${p.call}>${p.text}</li>`)}</ol>` : html`<p class="empty">Nothing is called in the garage now.</p>`}</section>
    <section aria-label="changes of the plan"><h2>changes of the plan</h2>
    ${!over && plan?.seen.map((one) => html`<${Role} key=${one.role} desk=${desk} car=${car} plan=${plan} one=${one} />`)}
    ${changes.length ? html`<ol>${changes.map((one) => html`<li key=${one.revision}>${clockText(one.t)} ${one.what} <span>${changedBy(one)}</span></li>`)}</ol>`
      : html`<p class="empty">The plan is as it was.</p>`}</section>
    ${told && html`<section class="last-run" aria-label="last run"><h2>last run${told.run ? html`: <b>${told.run.run}</b>` : ""}</h2>
      <p>${runWords(told)}${told.run?.reason ? ` (${told.run.reason})` : ""}</p><${LastRunRows} told=${told} /></section>`}
  </div>`;
}

/** The run that leaves next; none once the session is over, whatever the plan has left. @param {import("./wire").RunProgress[]} runs @param {boolean} over */
export function comesNext(runs, over) {
  if (over) return undefined;
  return runs.find((run) => run.state === "next" || run.state === "cut") ?? runs.find((run) => run.state === "planned");
}

/** What is called in the garage, not what the driver is told on the track. @param {import("./wire").Prompt[]} open */
export function calledNow(open) {
  return open.filter((p) => HEARD_IN_THE_GARAGE.includes(p.kind) && p.place === "garage");
}

/**
 * Why no car may leave now, whatever is ready; empty where one may. Before the green light the countdown is what counts.
 * @param {import("./wire").ClockState | null} clock
 */
export function heldWords(clock) {
  if (clock === null || clock.status === "waiting") return "";
  const closed = clock.pit_exit === "closed" ? "the pit exit is closed" : "";
  return [clock.status === "red" ? STATUS_WORDS.red : "", closed].filter(Boolean).join(", ");
}

/**
 * When the next run leaves, in a heading, the largest letters of the page, and a line below.
 * @param {import("./store.js").Store} store @param {string} car @param {import("./wire").RunProgress | undefined} next
 * @returns {{head: string, figure?: string, below?: string}}
 */
export function leavingWords(store, car, next) {
  if (store.isOver()) return { head: "the session is over: no run leaves any more" };
  if (!next) return { head: "no run is left" };
  const now = store.clock.now(), leaves = next.expected_span_s?.[0];
  const called = store.open(car).find((p) => p.kind === "release" && p.place === "garage" && p.act_at_s != null);
  const forFlag = next.after_flag ? next.run : called?.run && called.run !== next.run ? called.run : "";
  if (forFlag) {
    const head = `${forFlag} after the flag needs the car on track as it falls`, goes = called?.act_at_s;
    return goes == null ? { head } : { head, figure: clockText(Math.max(0, goes - now)), below: `leaves at ${clockText(goes)} of the session` };
  }
  if (leaves == null) return { head: `${next.run} is next; when is not known yet` };
  const held = IN_THE_PITS.includes(store.desks.get(car)?.state ?? "garage") ? heldWords(store.clock.state) : "";
  if (held) return { head: `${next.run} is next`, figure: "held", below: `${held}; ${leaves - now >= LATE_FROM_S ? `ready in ${clockText(leaves - now)}, at ${clockText(leaves)} of the session` : "it would leave at once"}` };
  const since = store.open(car).find((p) => p.kind === "release" && p.state === "due")?.act_at_s;
  if (since != null && now - since >= LATE_FROM_S) return { head: `${next.run} was to leave`, figure: `${clockText(now - since)} ago`, below: `at ${clockText(since)} of the session` };
  return { head: `${next.run} leaves in`, figure: clockText(Math.max(0, leaves - now)), below: `at ${clockText(leaves)} of the session` };
}

/**
 * Tyres and fuel as it leaves; the engine says whether it goes on with what is on the car.
 * @param {import("./wire").RunProgress} next @param {import("./wire").DeskState | undefined} state
 */
export function leavesWith(next, state) {
  const inCar = state?.fuel_kg != null ? `${state.fuel_kg} kg in the car` : "–";
  const compound = next.compound && next.compound !== next.tyres ? ` ${next.compound}` : "";
  const own = next.tyres ? `${next.tyres}${compound}` : state?.tyres ?? "–";
  const kept = state?.tyres && state.tyres !== next.tyres ? state.tyres : own;
  return { tyres: next.goes_on ? `${kept}, stays on` : own, fuel: next.fuel_kg == null || next.goes_on ? inCar : `${next.fuel_kg} kg` };
}

/** That the fuel in the car is less than the run takes that it goes on with, in words; empty where it is enough. @param {import("./store.js").Store} store @param {string} car */
export function fuelLacks(store, car) {
  return store.standing().find((alert) => alert.kind === "fuel_to_go_on" && alert.car === car)?.text ?? "";
}

/**
 * What the crew does before the next run, and how long it takes: that of the run that is on, else of the one that ended
 * last. Nothing before the first run, nor before one that goes on with what is on the car.
 * @param {import("./wire").RunProgress[]} runs @param {import("./wire").RunProgress} [next]
 */
export function workWords(runs, next) {
  if (next?.goes_on) return "";
  const ended = runs.filter((run) => run.actual_span_s?.[1] != null).sort((a, b) => (b.actual_span_s?.[1] ?? 0) - (a.actual_span_s?.[1] ?? 0));
  const after = runs.find((run) => run.state === "running") ?? ended[0];
  if (!after?.work_s) return "";
  const [low, likely, high] = after.work_s.map(clockText);
  return `${after.crew.length ? `${after.crew.join(", ")}: ` : ""}${likely}${low === high ? "" : ` (${low} to ${high})`}`;
}

/**
 * The changes that a role of the crew has not seen. One that was taken back before the role saw it needs no look, nor does
 * its taking back. What was changed after it looked it has not seen, also where taking back gave a revision out anew.
 * @param {import("./wire").PlanChanged[]} changes @param {import("./wire").RoleSeen} one
 */
export function unseenBy(changes, one) {
  const unseen = changes.filter((change) => change.revision > (one.revision ?? -1) || change.t > (one.t ?? -Infinity));
  const back = new Set(unseen.map((change) => change.takes_back_t).filter((t) => t != null && unseen.some((other) => other.t === t)));
  return unseen.filter((change) => !back.has(change.t) && !back.has(change.takes_back_t ?? null));
}

/** One role of the crew: how many changes it has not seen yet, and the press that says it has. */
function Role({ desk, car, plan, one }) {
  const since = unseenBy(plan.changes, one).length;
  const press = () => desk.send(car, { command: "seen", role: one.role, revision: plan.revision }, `${one.role} has seen the plan`);
  return html`<p class=${`role${since ? " behind" : ""}`}><b>${since ? "◆ " : "✓ "}${one.role}</b>
    <span>${since ? `${since} change${since > 1 ? "s" : ""} not seen` : one.by ? `seen by ${one.by}` : "nothing changed"}</span>
    ${since && desk.may("seen") ? html`<button onClick=${press}>seen</button>` : ""}</p>`;
}
