/**
 * The lap unrolled as a line of time: where the driver can listen, the places, the car on its way, the call's window.
 * From the beginning of the lap at the left to the line at the right; what is past stays, but faint.
 */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { useWidth } from "./width.js";

const HEIGHT = 118, LINE = 62, EDGE = 14;
const LEAST_GAP = 84;

/** @param {{desk: import("./desk.js").Desk, car: string, prompt: import("./wire").Prompt | null}} props */
export function LapStrip({ desk, car, prompt }) {
  const [drawing, WIDTH] = useWidth(HEIGHT);
  const state = desk.store.desks.get(car), now = desk.store.clock.now();
  const lap = state?.running_lap;
  if (!state || !lap) {
    return html`<section class="strip" aria-label="lap"><h2>lap</h2>
      <p class="empty">${state?.state === "garage" || state?.state === "pit_lane" ? "The car is not on track." : "Where the car is on its lap is not known."}</p></section>`;
  }
  const begin = lap.begun_s, end = Math.max(lap.line_s, begin + 1);
  const at = (/** @type {number} */ t) => EDGE + (WIDTH - 2 * EDGE) * Math.min(1, Math.max(0, (t - begin) / (end - begin)));
  const places = spread(state.arrivals.map((one) => ({ name: one.place, x: at(one.at_s), t: one.at_s })));
  const listen = lap.listen.filter(([from, to]) => to > begin && from < end);
  const mark = prompt && ["shown", "due"].includes(prompt.state) ? prompt : null;
  const next = listen.find(([, to]) => to > now);
  const words = `car ${car}, line expected in ${clockText(end - now)}`
    + (next ? next[0] <= now ? `, the driver can listen for ${Math.max(0, Math.round(next[1] - now))} s`
      : `, the driver can listen again in ${Math.round(next[0] - now)} s` : "");
  return html`<section class="strip" aria-label="lap"><h2>lap <span>${words}</span></h2>
    <svg ref=${drawing} viewBox=${`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label=${words}>
      <line class="base" x1=${EDGE} x2=${WIDTH - EDGE} y1=${LINE} y2=${LINE} />
      ${listen.map(([from, to]) => html`<rect key=${from} class=${`listen${to < now ? " past" : ""}`} x=${at(from)} y=${LINE - 9}
        width=${Math.max(2, at(to) - at(from))} height="18" rx="3" />`)}
      ${mark && html`<g class="window"><path d=${bracket(at(mark.say_from_s), Math.max(at(mark.say_from_s) + 4, at(mark.say_by_s)))} />
        <text x=${at(mark.say_from_s)} y="26">say</text></g>`}
      ${places.map((one) => html`<g key=${one.name} class=${`place${one.t < now ? " past" : ""}`}>
        <line x1=${one.x} x2=${one.x} y1=${LINE - 14} y2=${LINE + 14} />
        <text x=${one.x} y=${LINE + (one.low ? 50 : 30)} text-anchor=${one.x > WIDTH - 90 ? "end" : one.x < 60 ? "start" : "middle"}>${one.name}</text></g>`)}
      ${lap.others.map((one) => html`<g key=${one.car} class="other"><path d=${`M${at(now + one.gap_s)} ${LINE - 16} l-6 -11 h12 z`} />
        <text x=${at(now + one.gap_s)} y=${LINE - 32} text-anchor="middle">${one.car}</text></g>`)}
      <g class="car"><path d=${`M${at(now)} ${LINE + 12} l-11 -24 h22 z`} /></g>
    </svg></section>`;
}

/** Labels that would run into each other go to a second row. @param {{name: string, x: number, t: number}[]} places */
function spread(places) {
  let last = -Infinity, low = true;
  return places.map((one) => {
    low = one.x - last < LEAST_GAP ? !low : false;
    last = one.x;
    return { ...one, low };
  });
}

/** @param {number} from @param {number} to */
function bracket(from, to) {
  return `M${from} ${LINE - 12} V34 H${to} V${LINE - 12}`;
}
