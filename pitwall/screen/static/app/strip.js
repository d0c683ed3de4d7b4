/**
 * The lap unrolled as a line of time: where the driver can listen, the places, the car on its way, the call's window.
 * From the beginning of the lap at the left to the line at the right; what is past stays, but faint.
 */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { labelWidth } from "./fitting.js";
import { useWidth } from "./width.js";

const HEIGHT = 110, LINE = 60, EDGE = 14, FOOT = LINE + 12;
/** Where the labels stand: clear of the car's foot, in two rows. */
const ROWS = [LINE + 32, LINE + 47];
/** The letters of the labels, as in the style, and the least room between two of them, and between one and the mark of a place, in the drawing's units. */
const LETTERS = 16, GAP = 12, CLEAR = 3;
/** An end of a lap that is noted so soon after its moment was not overdue. */
const OVERDUE_S = 2;

/** @param {{desk: import("./desk.js").Desk, car: string, prompt: import("./wire").Prompt | null}} props */
export function LapStrip({ desk, car, prompt }) {
  const [drawing, WIDTH] = useWidth(HEIGHT);
  const state = desk.store.desks.get(car), now = desk.store.clock.now();
  const lap = state?.running_lap;
  if (!state || !lap) {
    return html`<section class="strip" aria-label=${`lap of car ${car}`}><h2>lap</h2><p class="empty">Where the car is on its lap is not known.</p></section>`;
  }
  const begin = lap.begun_s, end = Math.max(lap.line_s, begin + 1);
  const at = (/** @type {number} */ t) => EDGE + (WIDTH - 2 * EDGE) * Math.min(1, Math.max(0, (t - begin) / (end - begin)));
  const places = labels(state.arrivals.map((one) => ({ name: one.place, x: at(one.at_s), t: one.at_s })), WIDTH);
  // Whoever reads the pit board does not listen.
  const board = [...desk.store.open(car), ...desk.store.toCome(car)].some((one) => one.medium === "board");
  const listen = (board ? [] : lap.listen).filter(([from, to]) => to > begin && from < end);
  const mark = prompt && ["shown", "due"].includes(prompt.state) && prompt.say_by_s > begin && prompt.say_from_s < end ? prompt : null;
  const acts = mark?.act_at_s != null && mark.act_at_s > now && mark.act_at_s < end ? at(mark.act_at_s) : null;
  const words = lapWords(lap, listen, now), overdue = isOverdue(lap, now);
  return html`<section class="strip" aria-label=${`lap of car ${car}`}><h2>lap <span>${words}</span></h2>
    <svg ref=${drawing} viewBox=${`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label=${`car ${car}: ${words}`}>
      <line class="base" x1=${EDGE} x2=${WIDTH - EDGE} y1=${LINE} y2=${LINE} />
      ${listen.map(([from, to]) => html`<rect key=${from} class=${`listen${to < now ? " past" : ""}`} x=${at(from)} y=${LINE - 9}
        width=${Math.max(2, at(to) - at(from))} height="18" rx="3" />`)}
      ${mark && html`<${CallWindow} from=${at(mark.say_from_s)} to=${at(mark.say_by_s)} acts=${acts} width=${WIDTH}
        word=${mark.medium === "board" ? "show" : "say"} />`}
      ${places.map((one) => html`<g key=${one.name} class=${`place${one.t < now ? " past" : ""}`}>
        <line x1=${one.x} x2=${one.x} y1=${LINE - 12} y2=${one.leads ? ROWS[1] - 14 : LINE + 13} />
        ${one.row >= 0 ? html`<text x=${one.left} y=${ROWS[one.row]}>${one.name}</text>` : ""}</g>`)}
      ${(overdue ? [] : onceEach(lap.others)).map((one) => html`<g key=${one.car} class="other"><path d=${`M${at(now + one.gap_s)} ${LINE - 12} l-6 -11 h12 z`} />
        <text x=${at(now + one.gap_s)} y=${LINE - 26} text-anchor="middle">${one.car}</text></g>`)}
      <${Car} x=${at(now)} from=${lap.here_within_s == null || overdue ? null : at(now - lap.here_within_s)} to=${at(now + (lap.here_within_s ?? 0))} />
    </svg></section>`;
}

/** The car, and from where to where it may be in four cases of five: a bar through its foot; while nobody can say, it is hollow. */
function Car({ x, from, to }) {
  const reach = from === null ? "" : `M${from} ${FOOT - 6} v12 m0 -6 H${to} m0 -6 v12`;
  return html`<g class=${`car${from === null ? " unsure" : ""}`}>${reach && html`<path class="halo" d=${reach} /><path class="within" d=${reach} />`}
    <path d=${`M${x} ${FOOT} l-11 -24 h22 z`} /></g>`;
}

/** From when to when the call may be said, above everything else; and where the driver acts on it. */
function CallWindow({ from, to, acts, width, word }) {
  const end = Math.max(from + 6, to), late = end > width - 60;
  return html`<g class="window"><rect x=${from} y="13" width=${end - from} height="7" rx="2" />
    <text x=${late ? end : from} y="9" text-anchor=${late ? "end" : "start"}>${word}</text>
    ${acts !== null && html`<path d=${`M${acts} 13 V${LINE + 12}`} />
      ${acts - from > 90 ? html`<text x=${acts} y="9" text-anchor=${acts > width - 60 ? "end" : "middle"}>acts</text>` : ""}`}</g>`;
}

/** Nothing is known to less than a tenth. @param {number} within */
function seconds(within) {
  return `${within < 9.95 ? Math.max(0.1, within).toFixed(1) : Math.round(within)} s`;
}

/** A lap that ends in the pit lane and not at the line. @param {import("./wire").RunningLap} lap */
function isComing(lap) {
  return lap.kind === "in" || lap.kind === "installation";
}

/**
 * The lap should have ended, by more than what was given or taken: nobody noted its end, or the car is slow or stands.
 * What was believed of its place holds no more.
 * @param {import("./wire").RunningLap} lap @param {number} now
 */
export function isOverdue(lap, now) {
  return now - lap.line_s > Math.max(OVERDUE_S, lap.line_within_s ?? 0);
}

/** Of a car that is both close ahead and close behind only the nearer side: nobody is twice on the map. @param {import("./wire").CarNear[]} others */
export function onceEach(others) {
  return others.filter((one, at) => others.every((two, there) => two.car !== one.car || there === at
    || Math.abs(one.gap_s) < Math.abs(two.gap_s) || (Math.abs(one.gap_s) === Math.abs(two.gap_s) && at < there)));
}

/** @param {import("./wire").RunningLap} lap @param {[number, number][]} listen @param {number} now */
export function lapWords(lap, listen, now) {
  if (isOverdue(lap, now)) return `${isComing(lap) ? "pit lane" : "line"} overdue ${clockText(now - lap.line_s)}; where it is: nobody can say`;
  const next = listen.find(([, to]) => to > now);
  const hears = next === undefined ? "" : next[0] <= now ? `, the driver can listen for ${Math.max(0, Math.round(next[1] - now))} s`
    : `, the driver can listen again in ${Math.round(next[0] - now)} s`;
  // Past its moment the line may come at any time: what was given or taken is at least what has gone by.
  const by = now - lap.line_s, wider = (/** @type {number} */ within) => seconds(Math.max(within, by));
  const give = lap.line_within_s == null ? "" : ` ± ${wider(lap.line_within_s)}`;
  const here = lap.here == null ? "" : lap.here_within_s == null ? "; where it is: nobody can say" : `; where it is: ± ${wider(lap.here_within_s)}`;
  return `line expected in ${clockText(Math.max(0, lap.line_s - now))}${give}${hears}${here}`;
}

/**
 * Labels that would run into each other stand to a side of their mark or in a second row; where all is full the place keeps
 * its mark alone. Places that somebody acts on come before timing loops. A mark leads down to the second row where no label of the first is in its way.
 * @param {{name: string, x: number, t: number}[]} places @param {number} width
 */
export function labels(places, width) {
  /** @type {[number, number][][]} */
  const rows = [[], []];
  const laid = places.map((one) => ({ ...one, left: 0, row: -1, leads: false }));
  for (const one of [...laid].sort((a, b) => Number(isLoop(a.name)) - Number(isLoop(b.name)) || b.x - a.x)) {
    const wide = labelWidth(one.name, LETTERS);
    for (const [row, begin] of [one.x - wide / 2, one.x - wide + 4, one.x - 4].flatMap((x) => [[0, x], [1, x]])) {
      const left = Math.max(0, Math.min(begin, width - wide));
      if (left > one.x || left + wide < one.x) continue;
      if (!rows[row].every(([from, to]) => left > to + GAP || left + wide + GAP < from)) continue;
      one.row = row;
      one.left = left;
      rows[row].push([left, left + wide]);
      break;
    }
  }
  for (const one of laid) one.leads = one.row === 1 && rows[0].every(([from, to]) => one.x < from - CLEAR || one.x > to + CLEAR);
  return laid;
}

/** @param {string} name */
function isLoop(name) {
  return name.startsWith("loop ");
}
