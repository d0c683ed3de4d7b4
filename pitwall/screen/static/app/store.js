/**
 * What the page knows of one session: the last word on each thing the daemon publishes. No network, no clock of its own.
 *
 * @typedef {import("./wire").Prompt} Prompt
 * @typedef {import("./wire").DeskState} DeskState
 * @typedef {import("./wire").Alert} Alert
 * @typedef {import("./wire").Proposal} Proposal
 */
import { DaemonClock } from "./clock.js";
import { IN_THE_PITS } from "./words.js";

export const OPEN = ["shown", "due", "said"];
const TO_SAY = ["shown", "due"];
/** News that a driver must have: unsaid, it stays in sight. */
const MUST_BE_TOLD = ["session", "safety", "stop"];
/** What became of news that takes no older one's place. */
const NEVER_TOLD = ["planned", "withdrawn", "skipped", "missed"];
/** What still comes to a car on the track that is kept quiet. */
const DESPITE_QUIET = ["session", "safety", "stop", "box"];
/** Where a driver needs them. */
const ON_TRACK = ["out", "timed", "cool", "in", "out_in", "stopped"];
/** So long nobody may have said it before it is history. */
const UNSAID_SHOWN_FOR_S = 120;
/** Nobody waits so long for what a said call is to bring: its end was not heard. */
const SAID_FOR_S = 600;
export const ENDED_SHOWN_FOR_S = 20;
const ENDED_KEPT = 40;
/** So many calls the daemon lists at most. */
const STACK = 16;
const NOTES_KEPT = 6;
/** What a client beside the daemon may leave out. */
const NO_PARTS = { parts: [], parts_said: 0, board: [] };

export class Store {
  /** @param {() => number} [monotonic] */
  constructor(monotonic) {
    this.clock = new DaemonClock(monotonic);
    this.monotonic = this.clock.monotonic;
    /** @type {import("./wire").Health | null} */
    this.health = null;
    /** @type {Map<string, DeskState>} */
    this.desks = new Map();
    /** @type {Map<string, import("./wire").PlanState>} */
    this.plans = new Map();
    /** @type {Map<string, import("./wire").ForecastState>} */
    this.forecasts = new Map();
    /** What came of each car's last run. @type {Map<string, import("./wire").RunDebrief>} */
    this.debriefs = new Map();
    /** @type {Map<string, Alert>} */
    this.alerts = new Map();
    /** Changed plans from files. @type {Map<string, Proposal>} by car */
    this.proposals = new Map();
    /** @type {import("./wire").AdviceState | null} */
    this.advice = null;
    /** @type {import("./wire").LadderState | null} */
    this.ladder = null;
    /** @type {import("./wire").FieldState | null} */
    this.field = null;
    /** @type {Map<string, Prompt>} by call */
    this.prompts = new Map();
    /** @type {{text: string, car: string | null, t: number, bad: boolean, because: string}[]} */
    this.notes = [];
    /** @type {Map<string, any>} topics that newer daemons may send, by the rest of the topic */
    this.others = new Map();
    /** Real moment at which each kind of message last came, by its type. @type {Map<string, number>} */
    this.heard = new Map();
    this.changes = 0;
  }

  /**
   * One message.
   * @param {string} rest the topic below the session
   * @param {any} message the payload, or null where a retained topic was cleared
   * @param {boolean} retained
   */
  take(rest, message, retained = false) {
    this.changes += 1;
    const [head, second] = rest.split("/");
    if (message === null) {
      this.cleared(rest, head, second);
      return;
    }
    this.heard.set(message.type, this.monotonic());
    switch (message.type) {
      case "clock_state": this.clock.take(message, retained); break;
      case "health": this.health = message; break;
      case "desk_state": this.takeDesk(message); break;
      case "prompt": this.takePrompt(message); break;
      case "plan_state": this.plans.set(message.car, message); break;
      case "forecast_state": this.forecasts.set(message.car, message); break;
      case "run_debrief": this.debriefs.set(message.car, message); break;
      case "field_state": this.field = message; break;
      case "alert":
        if (message.active) this.alerts.set(message.id, message);
        else this.alerts.delete(message.id);
        break;
      case "proposal":
        if (message.active) this.proposals.set(message.car, message);
        else this.proposals.delete(message.car);
        break;
      case "advice_state": this.advice = message.active ? message : null; break;
      case "ladder_state": this.ladder = message.active ? message : null; break;
      case "answered": this.note(message.effect, message.car, message.t, false, message.because); break;
      case "refused": this.note(message.reason, message.car ?? null, message.t, true, message.because); break;
      case "corrected": this.note(message.text, message.car ?? null, message.t, false, ""); break;
      default: this.others.set(rest, message);
    }
  }

  /** The link was lost and is back: what is retained comes again, and what does not come again is over. */
  forget() {
    this.alerts.clear();
    this.proposals.clear();
    this.advice = null;
    this.ladder = null;
    this.others.clear();
    this.changes += 1;
  }

  /** @param {string} rest @param {string} head @param {string} second */
  cleared(rest, head, second) {
    this.others.delete(rest);
    if (head === "debrief") this.debriefs.delete(second);
    if (head === "alert") this.alerts.delete(decodeURIComponent(second));
    if (head === "plan" && rest.endsWith("/proposal")) this.proposals.delete(second);
    if (head === "advice") this.advice = null;
    if (head === "ladder") this.ladder = null;
  }

  /** @param {DeskState} desk */
  takeDesk(desk) {
    this.desks.set(desk.car, desk);
    this.endUnlisted(desk);
    for (const prompt of desk.prompts) this.takePrompt(prompt);
  }

  /**
   * A word that ends a call may be lost on the way. The desk's state, which comes anew all the time, lists every call that
   * is still to be said: one that it does not list any more was said or is over. A list as long as it may be says nothing of the rest.
   * @param {DeskState} desk
   */
  endUnlisted(desk) {
    if (desk.prompts.length >= STACK) return;
    const listed = new Set(desk.prompts.map((p) => p.call));
    const over = (/** @type {Prompt} */ p) => (TO_SAY.includes(p.state) ? p.t < desk.t : p.state === "said" && p.t < desk.t - SAID_FOR_S);
    for (const [call, p] of this.prompts) if (p.car === desk.car && over(p) && !listed.has(call)) this.prompts.delete(call);
  }

  /** An older revision than the one known changes nothing. @param {Prompt} prompt */
  takePrompt(prompt) {
    const known = this.prompts.get(prompt.call);
    if (known !== undefined && prompt.revision < known.revision) return;
    this.prompts.set(prompt.call, { ...NO_PARTS, ...prompt });
    this.dropOld();
  }

  dropOld() {
    const over = [...this.prompts.values()].filter((p) => !OPEN.includes(p.state) && p.state !== "planned");
    if (over.length <= 2 * ENDED_KEPT) return;
    over.sort((a, b) => a.t - b.t);
    for (const prompt of over.slice(0, over.length - ENDED_KEPT)) this.prompts.delete(prompt.call);
  }

  /** @param {string} text @param {string | null} car @param {number} t @param {boolean} bad @param {string} because */
  note(text, car, t, bad, because) {
    this.notes = [...this.notes.slice(-(NOTES_KEPT - 1)), { text, car, t, bad, because }];
  }

  /** The team's cars, in order. @returns {string[]} */
  cars() {
    return [...this.desks.keys()].sort((a, b) => a.length - b.length || (a < b ? -1 : 1));
  }

  /**
   * Prompts of one car: what is to be said now, then what comes, each by the moment it must be said; below them what is
   * better not said, then the news of which nobody knows that it was told, last what was said.
   * @param {string} car @returns {Prompt[]}
   */
  open(car) {
    const unsaid = this.unsaidNews(car);
    const mine = [...this.prompts.values()].filter((p) => p.car === car && (OPEN.includes(p.state) || p === unsaid));
    const rank = (/** @type {Prompt} */ p) => (p === unsaid ? 3 : p.state === "said" ? 4 : p.against ? 2 : p.state === "due" ? 0 : 1);
    return mine.sort((a, b) => rank(a) - rank(b) || a.say_by_s - b.say_by_s || b.priority - a.priority
      || (a.call < b.call ? -1 : 1));
  }

  /** Those, and below them what ended a moment ago. @param {string} car @returns {Prompt[]} */
  listed(car) {
    return [...this.open(car), ...this.ended(car)];
  }

  /** What is to be said now. @param {string} car @returns {Prompt[]} */
  toSay(car) {
    return this.open(car).filter((p) => p.state === "due" && !p.against);
  }

  /**
   * The last news for the driver, such as a red flag, while its moment went by and nobody says that it was told: as long
   * as the car is on the track.
   * @param {string} car @returns {Prompt | null}
   */
  unsaidNews(car) {
    if (!ON_TRACK.includes(this.desks.get(car)?.state ?? "")) return null;
    const news = [...this.prompts.values()].filter((p) => p.car === car && MUST_BE_TOLD.includes(p.kind) && !NEVER_TOLD.includes(p.state));
    const last = news.sort((a, b) => b.t - a.t)[0];
    return last?.state === "unconfirmed" && this.clock.now() - last.t <= UNSAID_SHOWN_FOR_S ? last : null;
  }

  /** What ended a moment ago, the latest first. @param {string} car @returns {Prompt[]} */
  ended(car) {
    const now = this.clock.now(), unsaid = this.unsaidNews(car);
    return [...this.prompts.values()]
      .filter((p) => p.car === car && p !== unsaid && !OPEN.includes(p.state) && p.state !== "planned" && now - p.t <= ENDED_SHOWN_FOR_S)
      .sort((a, b) => b.t - a.t);
  }

  /**
   * What the plan holds next, and comes: of a car that is kept quiet not what is muted on the track; nothing of a car that
   * drives no more, for no run can be begun.
   * @param {string} car @param {boolean} [muted] the muted ones too @returns {Prompt[]}
   */
  toCome(car, muted = false) {
    const now = this.clock.now(), desk = this.desks.get(car);
    if (this.isOver() && (desk === undefined || IN_THE_PITS.includes(desk.state))) return [];
    return (desk?.prompts ?? [])
      .filter((p) => p.state === "planned" && p.say_by_s > now && (muted || !desk?.quiet || p.place === "garage" || DESPITE_QUIET.includes(p.kind)))
      .sort((a, b) => a.say_from_s - b.say_from_s || b.priority - a.priority);
  }

  /** Changed plans that wait for this car. @param {string} car @returns {Proposal[]} */
  waiting(car) {
    const fromFile = this.proposals.get(car), advised = this.advice?.proposals ?? [];
    return [...(fromFile ? [fromFile] : []), ...advised.filter((one) => one.car === car || one.cars.includes(car))];
  }

  /** Whose chance is told: once a must of any car is over, it is that of the others. */
  mustsOfAll() {
    return `${[...this.forecasts.values()].some((one) => one.musts_lost.length) ? "other " : ""}musts of all cars`;
  }

  /** Alerts that stand, those that ask most first. @returns {Alert[]} */
  standing() {
    const rank = { high: 0, medium: 1, low: 2 };
    return [...this.alerts.values()].sort((a, b) => Number(a.acknowledged) - Number(b.acknowledged)
      || rank[a.priority] - rank[b.priority] || a.since_s - b.since_s || (a.id < b.id ? -1 : 1));
  }

  /** Guard: no run can be begun or ended any more, so no chance means anything. */
  isOver() {
    const clock = this.clock.state;
    return clock !== null && (clock.status === "closed" || (clock.status === "finished" && !clock.window));
  }

  /** Real seconds since any message of this type; infinite when none came. @param {string} type */
  age(type) {
    return (this.monotonic() - (this.heard.get(type) ?? -Infinity)) / 1000;
  }
}
