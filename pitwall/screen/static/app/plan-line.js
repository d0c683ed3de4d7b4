/**
 * The plan as a line of time, a lane for each run: as planned (outline), as expected or driven (bar), when the forecast
 * sees its end (span with a mark in the middle), and when it must leave at the latest; against now and the end of the
 * session. The chance that the run fits stands in figures. A press on a lane tells why.
 */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { useWidth } from "./width.js";
import { LEAST_CHANCE, endedAs, percent, runWord, timedWords } from "./words.js";

/** Letters of the mark before a run's name, and the blanks. */
const MARK = 3;
const HEIGHT = 26, LEFT = 3, BAR = 9, THICK = 12;
/** With more runs than this, those that are long over are only counted. */
const MOST_LANES = 7;
export const TO_COME = ["planned", "next", "running", "cut"];

/** @typedef {import("./wire").RunProgress} Run @typedef {import("./wire").RunOutlook} Outlook */

/** `calm`: only to be looked at. @param {{desk: import("./desk.js").Desk, car: string, calm?: boolean}} props */
export function PlanLine({ desk, car, calm = false }) {
  const [drawing, WIDTH] = useWidth(HEIGHT);
  const plan = desk.store.plans.get(car), now = desk.store.clock.now();
  if (!plan) return html`<section class="plan" aria-label=${`plan of car ${car}`}><h2>plan</h2><p class="empty">No plan yet.</p></section>`;
  const outlook = desk.store.isOver() ? undefined : desk.store.forecasts.get(car)?.outlook;
  const runs = plan.runs.filter((run) => run.state !== "dropped"), over = longOver(runs);
  const told = new Map(outlook?.runs.filter((one) => !runs.some((run) => run.run === one.run && afterFlag(run))).map((one) => [one.run, one]));
  const leaves = new Map(outlook?.runs.map((one) => [one.run, one.last_release_s]));
  const shown = runs.filter((run) => !over.includes(run));
  const flag = desk.store.clock.flag(), ended = desk.store.isOver();
  const scale = scaleOf(shown, told, flag, over.length > 0, WIDTH);
  const { at } = scale, waiting = desk.store.waiting(car);
  const longest = Math.max(0, ...shown.map((run) => run.run.length + run.want.length + MARK));
  return html`<section class="plan" style=${{ "--longest": longest }} tabindex="0" aria-label=${`plan of car ${car}`}>
    <h2>plan <span>${planWords(runs, outlook, car)}${over.length ? `; over: ${over.map((run) => run.run).join(", ")}` : ""}</span>
      ${unseen(plan).length ? html`<em>◆ not seen by ${unseen(plan).join(", ")}</em>` : ""}
      ${waiting.length && !calm ? html`<button class="small ask" onClick=${() => desk.press("p")}><kbd>p</kbd> ${waiting.length} changed plan${waiting.length > 1 ? "s" : ""} wait${waiting.length > 1 ? "" : "s"}</button>` : ""}</h2>
    <p class="legend" aria-hidden="true"><i class="l-planned"></i> planned <i class="l-expected"></i> expected <i class="l-driven"></i> driven
      <b>├o┤</b> when it ends, eight of ten <b>▼</b> leave by</p>
    <div class="lane axis" aria-hidden="true"><span></span><svg ref=${drawing} viewBox=${`0 0 ${WIDTH} ${HEIGHT}`}>
      ${scale.ticks.map((t) => clear(at(t), at(flag), now >= scale.first ? at(now) : NaN) && html`<text key=${t} x=${at(t)} y="20" text-anchor=${at(t) < 30 ? "start" : at(t) > WIDTH - 30 ? "end" : "middle"}>${clockText(t)}</text>`)}
      <text class="mark" x=${at(flag)} y="20" text-anchor=${at(flag) > WIDTH - 30 ? "end" : "middle"}>flag</text>
      ${now >= scale.first && at(flag) - at(now) > 50 && html`<text class="mark" x=${at(now)} y="20" text-anchor=${at(now) < 30 ? "start" : "middle"}>now</text>`}
    </svg><span class="heads"><span>laps</span><span>fits</span><span>leave by</span></span></div>
    <ol class="lanes">${shown.map((run) => html`<li key=${run.run}><${Lane} desk=${desk} run=${run} told=${told.get(run.run)} leaves=${leaves.get(run.run)} scale=${scale}
      flag=${flag} now=${now} wide=${WIDTH} calm=${calm} ended=${ended} /></li>`)}</ol>
  </section>`;
}

/** The axis: from the green light, or from the first run that is shown, to the last moment that anything may take. */
function scaleOf(shown, told, flag, cut, wide) {
  const ends = shown.map((/** @type {Run} */ run) => (neverFits(told.get(run.run)) ? flag : told.get(run.run)?.end_q90_s) ?? run.expected_span_s?.[1] ?? run.planned_span_s?.[1] ?? 0);
  const latest = Math.max(flag, ...ends) * 1.01 || 1;
  const first = cut ? Math.max(0, Math.min(...shown.map((/** @type {Run} */ run) => startOf(run) ?? Infinity)) - 60) : 0;
  const at = (/** @type {number} */ t) => LEFT + (wide - 2 * LEFT) * Math.max(0, Math.min(1, (t - first) / (latest - first)));
  const step = [300, 600, 900, 1800, 3600, 7200].find((s) => ((latest - first) / s) * 100 <= wide) ?? 14400;
  const begin = Math.ceil(first / step);
  return { at, first, ticks: Array.from({ length: Math.max(0, Math.floor(latest / step) - begin + 1) }, (_, n) => (begin + n) * step) };
}

/** No label of the axis stands under another. @param {number} x @param {number[]} others */
function clear(x, ...others) {
  return others.every((other) => !(Math.abs(x - other) < 64));
}

/** @param {Run[]} runs */
function longOver(runs) {
  const over = runs.filter((run) => ["done", "skipped"].includes(run.state));
  return over.slice(0, Math.max(0, Math.min(over.length - 1, runs.length - MOST_LANES)));
}

/** What has no laps and is done once the flag has fallen: it fits in no time before it. @param {Run} run */
export function afterFlag(run) {
  return Boolean(run.after_flag) && TO_COME.includes(run.state) && !run.actual_span_s;
}

/** @param {Run} run */
function startOf(run) {
  return run.actual_span_s?.[0] ?? run.expected_span_s?.[0] ?? run.planned_span_s?.[0];
}

/** Roles of the crew that have not seen the latest change. @param {import("./wire").PlanState} plan */
function unseen(plan) {
  const latest = plan.changes[plan.changes.length - 1]?.revision;
  return latest === undefined ? [] : plan.seen.filter((one) => (one.revision ?? -1) < latest).map((one) => one.role);
}

/** @param {Run[]} runs @param {any} outlook @param {string} car */
export function planWords(runs, outlook, car) {
  const done = runs.filter((run) => endedAs(run) === "done").length;
  const cut = runs.filter((run) => run.counts === false).length;
  const lost = runs.filter((run) => run.counts === false && run.want === "must").map((run) => run.run);
  const left = !lost.length || outlook?.runs.some((/** @type {{want: string}} */ run) => run.want === "must");
  const musts = outlook && left ? `, ${lost.length ? "other " : ""}musts of car ${car} fit: ${percent(outlook.musts_chance)}` : "";
  return `${done} of ${runs.length} runs done${cut ? `, ${cut} cut` : ""}${lost.length ? `, must lost: ${lost.join(", ")}` : ""}${musts}`;
}

/** Guard: it fits in next to no future, and figures so. Where it would end then is past the session. @param {Outlook | undefined} told */
export function neverFits(told) {
  return told !== undefined && Math.round(100 * told.chance) === 0;
}

/** What is told of a run as far as its end is one of this session. @param {Outlook | undefined} told */
function sure(told) {
  return neverFits(told) ? undefined : told;
}

/** True for a run that a car has still to leave for, also once more after it was broken off. @param {Run} run */
export function isToLeave(run) {
  return TO_COME.includes(run.state) && run.state !== "running";
}

/**
 * From when to when a run is drawn: as it was driven; one that is still to come, from now on at the earliest, to when the
 * forecast sees its end; what is done after the flag, not before that. The plan was told a while ago, and a car that stands in its garage has left no sooner since.
 * @param {Run} run @param {Outlook | undefined} told @param {number} now @param {number} [flag] @returns {[number, number] | null}
 */
export function barOf(run, told, now, flag = 0) {
  if (afterFlag(run)) return run.expected_span_s ? [Math.max(flag, run.expected_span_s[0]), Math.max(flag, run.expected_span_s[0]) + run.expected_span_s[1] - run.expected_span_s[0]] : null;
  const driven = run.actual_span_s, expected = run.expected_span_s, waits = TO_COME.includes(run.state);
  const from = driven?.[0] ?? (expected ? Math.max(expected[0], waits ? now : -Infinity) : null);
  const to = driven?.[1] ?? (waits ? told?.end_q50_s : null) ?? expected?.[1];
  if (from == null || to == null) return null;
  if (!waits || driven || !flag || !neverFits(told)) return [from, Math.max(from, to)];
  return from < flag ? [from, Math.min(Math.max(from, to), flag)] : null;
}

function Lane({ desk, run, told, leaves, scale, flag, now, wide, calm, ended }) {
  const open = TO_COME.includes(run.state), risky = open && told && run.want === "must" && told.chance < LEAST_CHANCE;
  const laps = run.timed_wanted ? timedWords(run) : open && !ended ? runWord(run, ended) : "";
  const leave = leaves != null && isToLeave(run) ? clockText(leaves) : "";
  const inside = html`
    <span class="name"><b>${run.state === "running" ? "▶ " : endedAs(run) === "done" ? "✓ " : ""}${run.run}</b> ${run.want}</span>
    <svg viewBox=${`0 0 ${wide} ${HEIGHT}`} aria-hidden="true"><${Shapes} run=${run} told=${told} leaves=${leaves} open=${open} ended=${ended} scale=${scale} flag=${flag} now=${now} wide=${wide} /></svg>
    <span class="figures"><span>${laps}</span>
      <b class=${risky ? "short" : ""}>${open && told ? html`${risky ? "▲ " : ""}<i class="unseen said-small">fits</i> ${percent(told.chance)}` : afterFlag(run) && !ended ? "after flag" : runWord(run, ended)}</b>
      <span>${open && leave ? html`<i class="unseen said-small">leave by</i> ${leave}` : ""}</span>
      ${open && sure(told) ? html`<i class="unseen">ends between ${clockText(told.end_q10_s)} and ${clockText(told.end_q90_s)}${calm ? "" : "; why"}</i>` : ""}</span>`;
  return calm ? html`<div class=${`lane is-${endedAs(run)}`}>${inside}</div>`
    : html`<button class=${`lane is-${endedAs(run)}`} onClick=${() => { desk.why = run.run; }}>${inside}</button>`;
}

function Shapes({ run, told, leaves, open, ended, scale, flag, now, wide }) {
  const { at, ticks } = scale, planned = run.planned_span_s, driven = run.actual_span_s, bar = ended && !driven ? null : barOf(run, told, now, flag);
  const width = (/** @type {number} */ a, /** @type {number} */ b) => Math.max(3, at(b) - at(a));
  const middle = BAR + THICK / 2;
  const spread = open && sure(told) ? `M${at(told.end_q10_s)} ${BAR} v${THICK} m0 ${-THICK / 2} H${at(told.end_q90_s)} m0 ${-THICK / 2} v${THICK}` : "";
  return html`
    <rect class="after" x=${at(flag)} y="0" width=${Math.max(0, wide - at(flag))} height=${HEIGHT} />
    ${ticks.map((/** @type {number} */ t) => html`<line key=${t} class="tick" x1=${at(t)} x2=${at(t)} y1="0" y2=${HEIGHT} />`)}
    ${planned && html`<rect class="planned" x=${at(planned[0])} y="3" width=${width(planned[0], planned[1])} height="4" />`}
    ${bar && html`<rect class=${driven?.[1] != null ? "driven" : "expected"} x=${at(bar[0])} y=${BAR} width=${width(bar[0], bar[1])} height=${THICK} rx="2" />`}
    ${open && sure(told) && html`<path class="under" d=${spread} /><path class="spread" d=${spread} />
      <circle class="likely" cx=${at(told.end_q50_s)} cy=${middle} r="5" />`}
    ${open && leaves != null && isToLeave(run) && html`<path class="release" d=${`M${at(leaves)} ${BAR + 2} l-6 -9 h12 z`} />`}
    <line class="flag" x1=${at(flag)} x2=${at(flag)} y1="0" y2=${HEIGHT} />
    ${now >= scale.first && html`<line class="now" x1=${at(now)} x2=${at(now)} y1="0" y2=${HEIGHT} />`}`;
}
