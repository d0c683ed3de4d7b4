/**
 * What came of a car's last run, told as it comes in: laps done of those wanted, items and why not, where the data are,
 * what the driver has not said yet. The words stand for the state; a sign before them only points.
 */
import { html } from "./html.js";
import { clockText, lapText } from "./clock.js";
import { timedWords } from "./words.js";

/** @typedef {import("./wire").RunDebrief} RunDebrief @typedef {import("./wire").RunRow} RunRow @typedef {import("./wire").ItemRow} ItemRow @typedef {import("./wire").LapRow} LapRow */

const IN_THE_PITS = ["garage", "pit_lane"];
/** As the debrief's pages have them. */
export const OUTCOME_WORDS = {
  done: "● done", probably_done: "◐ probably done", done_badly: "▲ done badly", not_done: "○ not done", to_come: "· to come",
};
/** @type {Record<string, string>} */
const RUN_CAME_TO = { done: "● done", cut: "▲ broken off", running: "◐ on track" };

/** What came of the last run, while the car is in the pits: on its way out nobody has a hand free for it. @param {import("./store.js").Store} store @param {string} car */
export function lastRun(store, car) {
  return IN_THE_PITS.includes(store.desks.get(car)?.state ?? "") ? store.debriefs.get(car) ?? null : null;
}

/** As the debrief's pages mark a lap, and where its row says what stood where. @type {Record<string, "switches_wrong" | "switches_unverified">} */
const DOUBTS = { "switch wrong": "switches_wrong", "switch unverified": "switches_unverified" };

/** How a run ended, in a word: driven, but something that it had to bring is lacking, is done in part. @param {RunRow} run */
export function cameTo(run) {
  if (run.state === "done" && run.counts && (run.musts_left > 0 || run.laps_left > 0)) return "◐ done in part";
  return run.counts ? RUN_CAME_TO[run.state] ?? "○ not driven" : RUN_CAME_TO.cut;
}

/** `3 of 5 items done, 1 probably`; nothing of a run without items. @param {RunRow} run */
export function itemsWords(run) {
  if (!run.items) return "";
  return `${run.items_done - run.items_probably} of ${run.items} items done${run.items_probably ? `, ${run.items_probably} probably` : ""}`;
}

/** What was not as it must be as a timed lap began: seen to be wrong, or not seen to be in place. @param {LapRow | undefined} lap */
function doubtsOf(lap) {
  return Object.keys(DOUBTS).filter((word) => lap?.kind === "timed" && (lap[DOUBTS[word]] ?? []).length);
}

/** How the run went, in one line; a lap that began with a switch out of place is no lap like the others. @param {RunDebrief} told */
export function runWords({ run, laps }) {
  if (!run) return `${laps.length} ${laps.length === 1 ? "lap" : "laps"}, of no run of the plan`;
  const all = laps.flatMap(doubtsOf), counted = Object.keys(DOUBTS).filter((word) => all.includes(word))
    .map((word) => `, ${all.filter((one) => one === word).length} with ${word}`).join("");
  const best = run.best_lap_s != null ? doubtsOf(laps.find((lap) => lap.lap_time_s === run.best_lap_s)).join(", ") : "";
  return [cameTo(run), run.timed_wanted || counted ? timedWords(run) + counted : "", itemsWords(run),
    run.best_lap_s != null ? `best ${lapText(run.best_lap_s)}${best ? ` (${best})` : ""}` : ""].filter(Boolean).join(" · ");
}

/** Which timed laps began so, and what stood where; laps with the same together. @param {RunDebrief} told @returns {[string, string][]} */
export function doubtWords({ laps }) {
  return Object.entries(DOUBTS).flatMap(([word, key]) => {
    /** @type {Map<string, number[]>} */
    const together = new Map();
    for (const lap of laps.filter((one) => doubtsOf(one).includes(word))) {
      const texts = (lap[key] ?? []).join("; ");
      together.set(texts, [...together.get(texts) ?? [], lap.number]);
    }
    const found = [...together].map(([texts, numbers]) => `${numbers.length === 1 ? "lap" : "laps"} ${numbers.join(", ")} (${texts})`);
    return found.length ? [/** @type {[string, string]} */ ([word, found.join("; ")])] : [];
  });
}

/** Items that somebody has to think of again: what was not done, or was spoilt. @param {RunDebrief} told */
export function lacking(told) {
  return told.items.filter((item) => item.outcome === "not_done" || item.outcome === "done_badly");
}

/** @param {ItemRow} item */
function itemWords(item) {
  return `${item.do.replaceAll("_", " ")}, ${item.lap}`;
}

/** When the data of each window begin, on which lap, and what speaks against them. @param {RunDebrief} told */
export function dataWords(told) {
  return told.data_windows.map((one) => {
    const doubt = one.outcome === "done" ? one.spoilt && "spoilt" : OUTCOME_WORDS[one.outcome].slice(2);
    const off = doubtsOf(told.laps.find((lap) => lap.number === one.lap_number));
    return `${one.do.replaceAll("_", " ")} ${clockText(one.from_s.value)} (lap ${[one.lap_number, doubt, ...off].filter(Boolean).join(", ")})`;
  });
}

/** What the driver has not commented on, in words; nothing where he has. @param {RunDebrief} told */
export function unsaidWords(told) {
  return (told.run?.unsaid ?? []).join(", ");
}

/**
 * A few lines for the engineer's page, while the car stands in the pits; `short`: one, for a call needs the room.
 * @param {{desk: import("./desk.js").Desk, car: string, told: RunDebrief, short: boolean}} props
 */
export function LastRunCard({ desk, car, told, short }) {
  const { run } = told, bad = lacking(told), data = dataWords(told), unsaid = unsaidWords(told);
  return html`<section class="last-run" tabindex="0" aria-label=${`last run of car ${car}`}>
    <h2>last run ${run ? html`<b>${run.run}</b>` : ""} <span>${runWords(told)}</span>
      ${run && html`<button class="small" onClick=${() => { desk.why = run.run; }}>all of it</button>`}</h2>
    ${short ? "" : html`
    ${run?.reason ? html`<p>${run.reason}</p>` : ""}
    ${doubtWords(told).map(([word, laps]) => html`<p key=${word}><b>▲ ${word}</b> ${laps}</p>`)}
    ${bad.map((item) => html`<p key=${item.item + item.lap}><b>${OUTCOME_WORDS[item.outcome]}</b> ${itemWords(item)}${item.reason ? `: ${item.reason}` : ""}</p>`)}
    <p><b>data</b> ${data.length ? data.join("; ") : "no item left any"}</p>
    ${unsaid ? html`<p class="owed">◆ to ask the driver: ${unsaid}</p>` : ""}`}
  </section>`;
}

/** All of it, as rows: for the garage, and for whoever looks at the run. @param {{told: RunDebrief}} props */
export function LastRunRows({ told }) {
  const data = dataWords(told), unsaid = unsaidWords(told);
  return html`
    ${doubtWords(told).map(([word, laps]) => html`<p key=${word}><b>▲ ${word}:</b> ${laps}</p>`)}
    ${told.items.length ? html`<h3>items</h3><ul class="items">${told.items.map((item) => html`<li key=${item.item + item.lap}>
      <b>${OUTCOME_WORDS[item.outcome]}</b> ${itemWords(item)}, ${item.want} <span>${item.reason}</span></li>`)}</ul>` : ""}
    <h3>where the data are</h3>
    ${data.length ? html`<ul class="items">${data.map((words) => html`<li key=${words}>${words}</li>`)}</ul>` : html`<p>No item left any.</p>`}
    <h3>the driver</h3>
    <p>${told.comments.length ? `${told.comments.length} ${told.comments.length === 1 ? "comment" : "comments"} noted` : "no comment noted"}${unsaid ? html`; <b>◆ to ask: ${unsaid}</b>` : ""}</p>`;
}
