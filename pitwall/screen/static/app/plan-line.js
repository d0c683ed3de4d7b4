/**
 * The plan as a line of time: each run as planned (outline), as expected with its spread, as driven (filled), against the
 * end of the session; the moment now; last releases; the chance that each run fits, in figures.
 */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { useWidth } from "./width.js";
import { RUN_WORDS, percent } from "./words.js";

const HEIGHT = 116, LEFT = 4, PLANNED = 24, NAME = 52, BAR = 58, THICK = 22, FOOT = 100;

/** @param {{desk: import("./desk.js").Desk, car: string, roomy?: boolean}} props */
export function PlanLine({ desk, car }) {
  const [drawing, WIDTH] = useWidth(HEIGHT);
  const plan = desk.store.plans.get(car), now = desk.store.clock.now();
  if (!plan) return html`<section class="plan" aria-label="plan"><h2>plan</h2><p class="empty">No plan yet.</p></section>`;
  const outlook = desk.store.forecasts.get(car)?.outlook;
  const runs = plan.runs.filter((run) => run.state !== "dropped");
  const remaining = desk.store.clock.remaining() ?? 0;
  const flag = Number.isFinite(now) ? now + remaining : remaining;
  const latest = Math.max(flag, ...runs.map((run) => last(run, outlook)));
  const at = (/** @type {number} */ t) => LEFT + (WIDTH - 2 * LEFT) * Math.max(0, Math.min(1, t / (latest * 1.02 || 1)));
  const waiting = desk.store.waiting(car);
  const step = [300, 600, 900, 1800, 3600, 7200].find((s) => latest / s <= 14) ?? 14400;
  const ticks = Array.from({ length: Math.floor(latest / step) + 1 }, (_, n) => n * step);
  return html`<section class="plan" tabindex="0" aria-label="plan">
    <h2>plan <span>${planWords(runs, outlook)}</span>
      ${unseen(plan).length ? html`<em>◆ not seen by ${unseen(plan).join(", ")}</em>` : ""}
      ${waiting.length ? html`<button class="small ask" onClick=${() => desk.press("p")}><kbd>p</kbd> ${waiting.length} changed plan${waiting.length > 1 ? "s" : ""} wait${waiting.length > 1 ? "" : "s"}</button>` : ""}</h2>
    <svg ref=${drawing} viewBox=${`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label=${planWords(runs, outlook)}>
      ${ticks.map((t) => html`<g key=${t} class="tick"><line x1=${at(t)} x2=${at(t)} y1="18" y2=${FOOT - 12} />
        <text x=${at(t) + 3} y="14">${clockText(t)}</text></g>`)}
      ${runs.map((run) => html`<${RunShape} key=${run.run} run=${run} outlook=${outlook?.runs.find((one) => one.run === run.run)} at=${at} />`)}
      <g class="flag"><line x1=${at(flag)} x2=${at(flag)} y1="0" y2=${FOOT} />
        <text x=${at(flag) - 5} y=${HEIGHT - 3} text-anchor="end">flag</text></g>
      ${Number.isFinite(now) && html`<g class="now"><line x1=${at(now)} x2=${at(now)} y1="6" y2=${FOOT} />
        <text x=${at(now) + 5} y=${HEIGHT - 3}>now</text></g>`}
    </svg>
    <ul class="run-list">${runs.map((run) => html`<${RunLine} key=${run.run} run=${run} outlook=${outlook?.runs.find((one) => one.run === run.run)} />`)}</ul>
  </section>`;
}

/** Roles of the crew that have not seen the latest change. @param {import("./wire").PlanState} plan */
function unseen(plan) {
  const latest = plan.changes[plan.changes.length - 1]?.revision;
  return latest === undefined ? [] : plan.seen.filter((one) => (one.revision ?? -1) < latest).map((one) => one.role);
}

/** @param {import("./wire").RunProgress} run @param {any} outlook */
function last(run, outlook) {
  const told = outlook?.runs.find((/** @type {any} */ one) => one.run === run.run);
  return told?.end_q90_s ?? run.expected_span_s?.[1] ?? run.planned_span_s?.[1] ?? 0;
}

/** @param {import("./wire").RunProgress[]} runs @param {any} outlook */
export function planWords(runs, outlook) {
  const done = runs.filter((run) => run.state === "done").length;
  const musts = outlook ? `, musts fit: ${percent(outlook.musts_chance)}` : "";
  return `${done} of ${runs.length} runs done${musts}`;
}

/** Above, thin: as planned. Below: as expected, or as driven. */
function RunShape({ run, outlook, at }) {
  const planned = run.planned_span_s, driven = run.actual_span_s, expected = run.expected_span_s;
  const from = driven?.[0] ?? expected?.[0], to = driven?.[1] ?? expected?.[1];
  const wide = (/** @type {number} */ a, /** @type {number} */ b) => Math.max(3, at(b) - at(a));
  return html`<g class=${`run is-${run.state} want-${run.want}`}>
    ${planned && html`<rect class="planned" x=${at(planned[0])} y=${PLANNED} width=${wide(planned[0], planned[1])} height="9" rx="2" />`}
    ${from != null && to != null && html`<text class="name" x=${at(from)} y=${NAME}>${run.run}</text>
      <rect class=${driven?.[1] != null ? "driven" : "expected"} x=${at(from)} y=${BAR} width=${wide(from, to)} height=${THICK} rx="2" />`}
    ${outlook && driven?.[1] == null && html`<line class="spread" x1=${at(outlook.end_q10_s)} x2=${at(outlook.end_q90_s)} y1=${BAR + THICK + 5} y2=${BAR + THICK + 5} />`}
    ${outlook?.last_release_s != null && driven == null && html`<path class="release" d=${`M${at(outlook.last_release_s)} ${BAR - 3} v${THICK + 2} m-5 -5 l5 6 l5 -6`} />`}
  </g>`;
}

function RunLine({ run, outlook }) {
  const open = ["planned", "next", "running", "cut"].includes(run.state);
  const laps = run.timed_wanted ? `${run.timed_done} of ${run.timed_wanted} timed, ` : "";
  const risky = open && outlook && outlook.chance < 0.6 && run.want === "must";
  return html`<li class=${`is-${run.state}`}>
    <b>${run.run} <span>${run.want}</span></b>
    <span>${laps}${RUN_WORDS[run.state]}</span>
    ${open && outlook ? html`<span class=${risky ? "short" : ""}>${risky ? "▲ " : ""}fits ${percent(outlook.chance)}${outlook.last_release_s != null ? `, leave by ${clockText(outlook.last_release_s)}` : ""}</span>` : ""}
  </li>`;
}
