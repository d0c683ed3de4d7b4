/** The words for states and figures: the meaning always stands in a word, a colour only points to it. */
import { clockText, spanText } from "./clock.js";

/** @typedef {import("./wire").Prompt} Prompt */

export const CAR_WORDS = {
  garage: "in the garage", pit_lane: "in the pit lane", out: "out-lap", timed: "timed lap", cool: "cool-down lap",
  in: "in-lap", out_in: "installation lap", stopped: "STOPPED on track",
};
/** Where nobody drives. */
export const IN_THE_PITS = ["garage", "pit_lane"];
export const STATUS_WORDS = {
  waiting: "waiting", green: "green", yellow: "yellow", slow: "slow period", red: "red flag", finished: "chequered flag",
  closed: "closed",
};
/** Statuses that ask for something; the others stay calm. */
export const STATUS_ASKS = { yellow: "some", slow: "some", red: "much", finished: "some" };
export const CALL_WORDS = {
  shown: "coming", due: "say now", said: "said", unconfirmed: "not confirmed", late: "late", missed: "missed",
  skipped: "skipped", withdrawn: "withdrawn", done: "done", planned: "planned",
};
export const CALL_MARKS = {
  shown: "▷", due: "▶", said: "✓", unconfirmed: "?", late: "!", missed: "✕", skipped: "–", withdrawn: "–", done: "✓",
  planned: "·",
};
/** On a pit board nothing is said. @type {Record<string, string>} */
const BOARD_WORDS = { due: "show now", said: "shown" };

/**
 * What a call is at, in a word: one that is advised against is never told to be said, and one whose last moment is past
 * is not coming.
 * @param {Prompt} prompt @param {number} [now]
 */
export function callWord(prompt, now = -Infinity) {
  if (isAgainst(prompt)) return "better not";
  if (isPast(prompt, now)) return "overdue";
  return (prompt.medium === "board" && BOARD_WORDS[prompt.state]) || CALL_WORDS[prompt.state];
}

/** Guard: it waits to be said, and can no longer be acted on: the lap, or whoever presses the keys, is late. @param {Prompt} prompt @param {number} now */
function isPast(prompt, now) {
  return (prompt.state === "shown" || prompt.state === "due") && now - ofUseUntil(prompt) >= PAST_FROM_S;
}

/** Said after its best moment a call is of use as long as it ends before the driver acts. @param {Prompt} prompt */
function ofUseUntil(prompt) {
  return prompt.act_at_s == null ? prompt.say_by_s : Math.max(prompt.say_by_s, prompt.act_at_s - prompt.spoken_s);
}

/** @param {Prompt} prompt */
export function callMark(prompt) {
  return isAgainst(prompt) ? "▲" : CALL_MARKS[prompt.state];
}

/** Guard: it waits to be said, and there is no room for it. @param {Prompt} prompt */
export function isAgainst(prompt) {
  return Boolean(prompt.against) && (prompt.state === "shown" || prompt.state === "due");
}

/** The class of a call in the drawings: its state, and that it is advised against. @param {Prompt} prompt */
export function callClass(prompt) {
  return isAgainst(prompt) ? "is-against" : `is-${prompt.state}`;
}

/** How long after its planned moment a call to leave still stands: why nothing else comes. @param {Prompt} prompt @param {number} now */
export function lateWords(prompt, now) {
  const late = prompt.kind === "release" && prompt.state === "due" && prompt.act_at_s != null ? now - prompt.act_at_s : 0;
  return late >= LATE_FROM_S ? `${spanText(late)} late` : "";
}

export const ALERT_MARKS = { high: "▲▲", medium: "▲", low: "●" };
export const RUN_WORDS = {
  planned: "to come", next: "next", running: "running", done: "done", cut: "cut", skipped: "skipped",
  dropped: "dropped",
};
/** How a run ended: one that is over, with too little driven to count, was cut and is not done. @param {import("./wire").RunProgress} run */
export function endedAs(run) {
  return run.counts === false ? "cut" : run.state;
}
/** A run in a word; after the end of the session none is to come. @param {import("./wire").RunProgress} run @param {boolean} ended */
export function runWord(run, ended) {
  return ended && (run.state === "planned" || run.state === "next") ? "not driven" : RUN_WORDS[endedAs(run)];
}
export const CLASS_WORDS = {
  session: "session", safety: "safety", box: "box", stop: "stop the car", release: "release", brief: "brief",
  switch: "switch", procedure: "procedure", run: "run", pace: "pace", traffic: "traffic", care: "car care",
  question: "question", answer: "answer", ruling: "ruling",
};

/** How many timed laps of a run were driven, in few letters: `2 of 3 timed`, and beyond the plan `5 timed, +2`. @param {{timed_done: number, timed_wanted: number}} run */
export function timedWords({ timed_done, timed_wanted }) {
  return timed_done <= timed_wanted ? `${timed_done} of ${timed_wanted} timed` : `${timed_done} timed, +${timed_done - timed_wanted}`;
}

/** So soon after a call's last moment a key may still be on its way. */
const PAST_FROM_S = 1;

/** A car that leaves so soon after its moment is not late. */
export const LATE_FROM_S = 10;

/** A must that fits in fewer futures than this is in danger. */
export const LEAST_CHANCE = 0.6;

/** Where a car is: which lap of its run, or where it stands. @param {import("./wire").DeskState | undefined} desk */
export function whereWords(desk) {
  if (!desk) return "not known yet";
  const word = CAR_WORDS[desk.state], lap = desk.lap_of_run;
  return !lap ? word : lap.startsWith(word) || word === "installation lap" ? lap : `${word} · ${lap}`;
}

/** How calls reach the driver, where that is no radio. @param {{medium?: string} | undefined} desk */
export function boardWord(desk) {
  return desk?.medium === "board" ? "pit board" : "";
}

/** The words to speak: in short where there is no room for all of it. @param {Prompt} prompt */
export function spoken(prompt) {
  return prompt.way === "short" || prompt.way === "outside_short" ? prompt.short : prompt.text;
}

/** Which part of a call in parts is to be said now; nothing for one that is said in one breath. @param {Prompt} prompt */
export function partWords(prompt) {
  const count = prompt.parts_said + Math.max(1, prompt.parts.length);
  return count > 1 ? `part ${prompt.parts_said + 1} of ${count}` : "";
}

/** The other form, shown small beneath. @param {Prompt} prompt */
export function otherForm(prompt) {
  const other = spoken(prompt) === prompt.text ? prompt.short : prompt.text;
  return other === spoken(prompt) ? "" : other;
}

/**
 * How long until it may be said, or how long it still may be.
 * @param {Prompt} prompt @param {number} now
 */
export function timeLeft(prompt, now) {
  if (prompt.state === "planned") return `in ${clockText(Math.max(0, prompt.say_from_s - now))}`;
  if (prompt.state === "shown" && prompt.say_from_s > now) return `in ${clockText(prompt.say_from_s - now)}`;
  if (isPast(prompt, now)) return `${clockText(now - ofUseUntil(prompt))} too late`;
  if (prompt.state !== "shown" && prompt.state !== "due") return actsIn(prompt, now);
  if (now - prompt.say_by_s >= PAST_FROM_S && ofUseUntil(prompt) > now) return `of use for ${clockText(ofUseUntil(prompt) - now)}`;
  return `${clockText(Math.max(Math.ceil(prompt.say_by_s - now), 0))} left`;
}

/** When the driver acts on what was said. @param {Prompt} prompt @param {number} now */
function actsIn(prompt, now) {
  const waits = (prompt.state === "said" || prompt.state === "late") && prompt.act_at_s != null && prompt.act_at_s > now;
  return waits ? `acts in ${clockText(/** @type {number} */ (prompt.act_at_s) - now)}` : "";
}

/**
 * The flag margin in words.
 * @param {import("./wire").DeskState} desk
 * @param {any} outlook what the forecast says of this car, or null
 */
export function flagWords(desk, outlook) {
  const margin = desk.flag_margin_s;
  if (margin === null || margin === undefined) return "";
  const next = outlook?.next_lap;
  const share = next ? `, ${percent(next.chance)}` : "";
  const after = next?.one_more_chance != null && next.one_more_margin_q50_s < 300 ? `; another after it: ${percent(next.one_more_chance)}` : "";
  return margin >= 0 ? `one more timed lap: yes, ${spanText(margin)} in hand${share}${after}`
    : `one more timed lap: no, ${spanText(-margin)} short${share}`;
}

/** A switch position as people write it. @param {unknown} value */
export function position(value) {
  if (value === null || value === undefined) return "–";
  if (value === true) return "on";
  if (value === false) return "off";
  return String(value);
}

/** @param {number | null | undefined} share */
export function percent(share) {
  return share === null || share === undefined ? "–" : `${Math.round(100 * share)} %`;
}

/** Who changed the plan, and why where a reason was given. @param {{ by: string, why: string }} change */
export function changedBy(change) {
  return change.why ? `(${change.by}: ${change.why})` : `(${change.by})`;
}
