/**
 * What this page may give: what its user may, by the server's word, and of that what belongs on such a page. What it may
 * not is not shown, its keys do nothing but say why, and it is not sent; the broker refuses it all the same.
 */
import { ask } from "./asking.js";

/** Which commands a page gives: who looks at the garage on a phone does not speak for the engineer. */
const GIVES = { desk: null, team: ["acknowledge"], garage: ["seen"], sheet: [] };
const AGAIN_AFTER_MS = 2000;

/** @typedef {{known: boolean, role: string | null, reads: boolean, commands: string[]}} Told */

export class Rights {
  /** @param {(word: string, fields: Record<string, unknown>) => Promise<Told | null>} [asking] */
  constructor(asking = ask) {
    this.asking = asking;
    /** @type {Told | null} nothing may be given before it is known what may */
    this.told = null;
    this.name = "";
    this.round = 0;
  }

  /** Ask the server; again until it answers. @param {{name?: string, token?: string}} who */
  async learn(who) {
    const round = this.round += 1;
    this.name = who.name ?? "";
    const told = await this.asking("rights", { name: this.name, token: who.token ?? "" });
    if (round !== this.round) return;  // somebody else has come in meanwhile
    if (told !== null) this.told = told;
    else setTimeout(() => { if (round === this.round) this.learn(who); }, AGAIN_AFTER_MS);
  }

  /** Another user: what the one before could do counts no more. */
  forget() {
    this.round += 1;
    this.told = null;
  }

  /** @param {string} command @param {string} page */
  may(command, page) {
    return this.whyNot(command, page) === "";
  }

  /** Why a command is not given; nothing where it is. @param {string} command @param {string} page */
  whyNot(command, page) {
    if (this.told === null) return "it is not known yet what this user may do";
    if (this.onlyLooks()) return this.words();
    if (!this.told.commands.includes(command)) return `${this.who()}: gives no “${command}”`;
    const gives = page in GIVES ? GIVES[page] : [];
    return gives === null || gives.includes(command) ? "" : `the ${page} page gives no such command: that is the desk's`;
  }

  /** True where this user may only look, wherever he goes. */
  onlyLooks() {
    return this.told !== null && this.told.commands.length === 0;
  }

  /** Why the session is not to be seen; nothing where it is. */
  whyBlind() {
    return this.told === null || this.told.reads ? "" : `${this.who()}: such a user may not read the session`;
  }

  who() {
    return `${this.name || "this user"}${this.told?.role ? ` is ${article(this.told.role)}` : ""}`;
  }

  /** Who is here and what that means, for the foot of the page; nothing where there is nothing to say. */
  words() {
    if (this.told === null) return "asking what this user may do";
    if (!this.told.known) return "the broker decides who may give commands: this page cannot know, and offers all";
    if (this.told.commands.length === 0) return `${this.who()}: ${this.told.reads ? "looks on and gives no commands" : "sees nothing and gives no commands"}`;
    return this.name ? `${this.name}, ${this.told.role}` : "";
  }
}

/** @param {string} role */
function article(role) {
  return `${/^[aeiou]/.test(role) ? "an" : "a"} ${role}`;
}
