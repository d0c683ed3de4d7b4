/**
 * What this page is about: the store, the link, and what the person at it has chosen. Keys come in, commands go out.
 */
import { commandOf, meant } from "./commands.js";
import { newestFirst } from "./draft.js";
import { Link } from "./link.js";
import { Mark } from "./mark.js";
import { Rights } from "./rights.js";
import { Pad } from "./pad.js";
import { keepSheet } from "./sheet-store.js";
import { Sounds } from "./sounds.js";
import { Store } from "./store.js";
import { TakingBack } from "./taking-back.js";

const HINT_FOR_MS = 6000;
const ANSWER_WITHIN_MS = 5000;
export const PAGES = ["desk", "team", "garage", "sheet"];
const THEMES = ["light", "dark", "sunlight"];

export class Desk {
  /** @param {import("./link.js").Told} about */
  constructor(about) {
    this.about = about;
    this.store = new Store();
    this.link = new Link(about, {
      take: (rest, message, retained) => this.take(rest, message, retained),
      link: (state, why) => this.linked(state, why),
      again: (who) => this.joined(who),
    });
    this.linkState = "none";
    this.linkWhy = "";
    this.rights = new Rights();
    this.pad = new Pad(this);
    this.page = "desk";
    /** @type {string | null} */
    this.wantedCar = null;
    this.mark = new Mark();
    /** Which piece is shown of a call that has no room in whole, and of which call. */
    this.paged = { of: "", at: 0, count: 1 };
    this.helping = false;
    /** @type {string | null} the proposal that is looked at */
    this.looking = null;
    /** @type {string | null} the run of the plan about which more is told */
    this.why = null;
    /** @type {{text: string, until: number, bad: boolean} | null} */
    this.hint = null;
    this.takingBack = new TakingBack();
    /** Commands without an answer yet. @type {Map<string, {words: string, by: number}>} */
    this.unanswered = new Map();
    this.sounds = new Sounds();
    this.theme = localStorage.getItem("pitwall.theme") ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
    this.hand = localStorage.getItem("pitwall.hand") ?? "screen";
    /** Something changed that must be seen with the next frame. */
    this.urgent = false;
  }

  begin() {
    this.setTheme(this.theme);
    this.route();
    addEventListener("hashchange", () => this.route());
    addEventListener("keydown", (event) => this.pressed(event));
    const kept = sessionStorage.getItem("pitwall.who");
    if (this.about.session) this.joinAs(kept ? JSON.parse(kept) : {});
  }

  /** Who comes in with a name gives commands under it, unless somebody wrote who sits here. @param {{name?: string, token?: string}} who */
  joinAs(who) {
    this.hand = localStorage.getItem("pitwall.hand") ?? (who.name || "screen");
    this.link.start(who);
  }

  drawn() {
    this.urgent = false;
  }

  tick() {
    this.sounds.follow(this.store);
    this.chase();
    keepSheet(this.store, this.about);
  }

  /** @param {string} rest @param {any} message @param {boolean} retained */
  take(rest, message, retained) {
    this.urgent ||= message?.type === "prompt" || message?.type === "alert";
    if (message?.because) this.unanswered.delete(message.because);
    this.takingBack.hear(message);
    this.pad.hear(message);
    this.store.take(rest, message, retained);
  }

  /** Every command has one answer: where none came, nothing may be taken for done. */
  chase() {
    for (const [id, { words, by }] of this.unanswered) {
      if (performance.now() < by) continue;
      this.unanswered.delete(id);
      this.say(`no answer to “${words}”: it may not have been taken. May this user give commands?`, true);
    }
  }

  /** The bus let us in, for the first time or again: what stands comes anew, and the users may be others. */
  joined(/** @type {{name?: string, token?: string}} */ who) {
    this.store.forget();
    this.rights.learn(who);
  }

  /** May this be given here and now, by whoever is at this page? @param {string} command */
  may(command) {
    return this.rights.may(command, this.page);
  }

  /** @param {string} state @param {string} why */
  linked(state, why) {
    this.linkState = state;
    this.linkWhy = why;
  }

  /** @param {string} name @param {string} token */
  logIn(name, token) {
    const who = { name, token };
    sessionStorage.setItem("pitwall.who", JSON.stringify(who));
    this.linkState = "none";
    this.rights.forget();
    this.joinAs(who);
  }

  // -- where we are ---------------------------------------------------------------------------------------------------

  route() {
    const [page, car] = location.hash.replace(/^#\/?/, "").split("/");
    this.page = PAGES.includes(page) ? page : "desk";
    if (car) this.wantedCar = decodeURIComponent(car);
  }

  /** @param {string} page @param {string | null} [car] */
  go(page, car = this.car()) {
    location.hash = car ? `/${page}/${encodeURIComponent(car)}` : `/${page}`;
  }

  /** The car that is shown. @returns {string | null} */
  car() {
    const cars = this.store.cars();
    if (this.wantedCar !== null && cars.includes(this.wantedCar)) return this.wantedCar;
    return cars[0] ?? this.about.cars[0] ?? null;
  }

  /** @param {string} theme */
  setTheme(theme) {
    this.theme = THEMES.includes(theme) ? theme : "light";
    document.documentElement.dataset.theme = this.theme;
    localStorage.setItem("pitwall.theme", this.theme);
  }

  nextTheme() {
    this.setTheme(THEMES[(THEMES.indexOf(this.theme) + 1) % THEMES.length]);
  }

  /** @param {string} hand who sits here, for the record */
  setHand(hand) {
    this.hand = hand.trim().slice(0, 40) || "screen";
    localStorage.setItem("pitwall.hand", this.hand);
  }

  // -- keys -----------------------------------------------------------------------------------------------------------

  /** @param {KeyboardEvent} event */
  pressed(event) {
    this.urgent = true;
    const target = /** @type {HTMLElement} */ (event.target);
    const writing = target.matches?.("input, textarea, select");
    if (event.key === "Escape") {
      this.close();
      return;
    }
    if (event.ctrlKey || event.metaKey || event.altKey || writing) return;
    if (this.pad.draft !== null) {
      this.pad.typed(event, this.car());
      return;
    }
    if (event.repeat) return;
    if (event.key === "Enter" || event.key === " " || event.key === "Tab") return;
    if (this.press(event.key.length === 1 ? event.key.toLowerCase() : event.key)) event.preventDefault();
  }

  close() {
    this.helping = false;
    this.looking = null;
    this.why = null;
    this.pad.draft = null;
    /** @type {HTMLElement | null} */ (document.activeElement)?.blur?.();
  }

  /** One key. @param {string} key @returns {boolean} true when it was ours */
  press(key) {
    const car = this.car(), command = commandOf(key);
    if (command && car !== null && !this.may(command)) return this.refuse(command);
    if (this.looking !== null && (key === "y" || key === "j")) return this.decide("adopt");
    if (this.looking !== null && key === "n") return this.decide("decline");
    if (key === "?") {
      this.helping = !this.helping;
      return true;
    }
    if (key === "t") {
      this.nextTheme();
      return true;
    }
    if (/^[1-9]$/.test(key)) return this.showCar(Number(key));
    if (car === null) return false;
    if (key === "ArrowDown" || key === "ArrowUp") return this.move(key === "ArrowDown" ? 1 : -1);
    if (key === "ArrowRight" || key === "ArrowLeft") return this.turn(key === "ArrowRight" ? 1 : -1);
    if (key === "p") return this.lookAtNext(car);
    if (key === "n") return this.pad.begin();
    if (key === "b") return this.pad.openLast(car);
    const asked = key === "u" ? this.takingBack.meant() : meant(key, this.store, car, this.mark.of(this.store, car)?.call ?? "");
    if (asked === null) return false;
    if ("hint" in asked) this.say(asked.hint, key === "u");  // a key with nothing to act on is no failure; what stays as it was is
    else this.send(asked.car, asked.wish, asked.words);
    return true;
  }

  /** A command that this page may not send: nothing but why not. @param {string} command */
  refuse(command) {
    this.takingBack.notGiven();
    this.say(`not sent: ${this.rights.whyNot(command, this.page)}`, true);
    return true;
  }

  /** @param {number} number */
  showCar(number) {
    const car = this.store.cars()[number - 1];
    if (car === undefined) this.say(`there is no car ${number} in the list`);
    else {
      this.wantedCar = car;
      this.mark.forget();
      if (location.hash) this.go(this.page, car);
    }
    return true;
  }

  /** @param {number} by */
  move(by) {
    const car = this.car();
    const listed = car === null ? [] : this.store.listed(car);
    const at = Math.max(0, listed.findIndex((p) => p.call === (car === null ? "" : this.mark.of(this.store, car)?.call)));
    const next = listed[at + by];
    if (next && car !== null) this.mark.choose(next.call, this.store, car);
    return true;
  }

  /**
   * Which piece of the call's words is shown; another call, or other words, begin with the first.
   * @param {string} of the call and its words @param {number} count of pieces
   */
  piece(of, count) {
    if (this.paged.of !== of) this.paged = { of, at: 0, count };
    this.paged.count = count;
    return this.paged.at;
  }

  /** @param {number} by */
  turn(by) {
    this.paged.at = Math.max(0, Math.min(this.paged.count - 1, this.paged.at + by));
    return true;
  }

  /** @param {string} car */
  lookAtNext(car) {
    const waiting = this.store.waiting(car);
    const at = waiting.findIndex((p) => p.id === this.looking);
    const next = waiting[at + 1];
    this.looking = next?.id ?? null;
    this.why = null;
    if (!waiting.length) this.say(`no changed plan waits for car ${car}`);
    return true;
  }

  /** @param {string} command adopt or decline */
  decide(command) {
    if (this.looking === null) return false;
    this.answer(command, this.looking);
    this.looking = null;
    return true;
  }

  /** Take or refuse a changed plan as it is shown. @param {string} command adopt or decline @param {string} proposal */
  answer(command, proposal) {
    const car = this.car();
    if (car === null) return;
    this.send(car, { command, proposal }, command === "adopt" ? "changed plan adopted" : "changed plan declined");
    this.why = null;
  }

  // -- commands -------------------------------------------------------------------------------------------------------

  /**
   * Give a command now; where it cannot be given, say so.
   * @param {string} car @param {Record<string, unknown>} wish @param {string} words
   * @param {number} [t] session seconds when it happened; now when left out
   */
  send(car, wish, words, t = this.store.clock.now()) {
    if (!this.may(String(wish.command))) {
      this.refuse(String(wish.command));
      return null;
    }
    const id = this.store.clock.old() ? null : this.link.command(car, t, { ...wish, by: this.hand });
    if (id === null) {
      this.takingBack.notGiven();
      this.say("not sent: the daemon does not answer. Say it, and note it when it is back.", true);
      return null;
    }
    this.hint = null;  // an older complaint would be taken for one about this key
    this.unanswered.set(id, { words, by: performance.now() + ANSWER_WITHIN_MS });
    this.takingBack.given(id, car, wish, words);
    if (["said", "skip", "defer"].includes(String(wish.command))) this.mark.forget();
    return id;
  }

  /** The latest comments on a car, whoever noted them, by when they were said, the newest first. @param {string} car */
  comments(car) {
    return newestFirst(this.store.desks.get(car)?.comments ?? []);
  }

  /** What was done a moment ago and may be taken back with one key, here. */
  undoable() {
    return this.may("undo") ? this.takingBack.open() : null;
  }

  /** @param {string} text @param {boolean} [bad] */
  say(text, bad = false) {
    this.hint = { text, bad, until: performance.now() + HINT_FOR_MS };
  }

  /** The line for the person at this page: why nothing was done, or the latest answer of the daemon. */
  line() {
    if (this.hint !== null && performance.now() < this.hint.until) return this.hint;
    return null;
  }
}
