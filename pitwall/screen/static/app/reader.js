/**
 * How a comment in shorthand reads while it is typed, and which words may come next: the daemon's own reading, asked of
 * the page's server. One question at a time; of those that were typed meanwhile only the last is asked.
 */
import { ask } from "./asking.js";

const WITHIN_MS = 1500;

/** @typedef {{word: string, meaning: string, at: number}} Offer */
/** @typedef {{text: string, reads: string, wrong: string, no_turn: boolean, offers: Offer[]}} Reading */

export class Reader {
  /** @param {() => void} told something is to be shown @param {typeof ask} [asking] */
  constructor(told, asking = ask) {
    this.told = told;
    this.asking = asking;
    /** @type {Reading | null} */
    this.last = null;
    /** @type {Promise<void> | null} */
    this.busy = null;
    this.wanted = "";
    /** Which of the offers is marked. */
    this.marked = 0;
  }

  /** The reading of exactly this text; null while there is none. @param {string} text @returns {Reading | null} */
  of(text) {
    return this.last?.text === text ? this.last : null;
  }

  /** @param {string} text @returns {Promise<void>} done when this text, or one that came after it, was answered */
  read(text) {
    this.wanted = text;
    this.marked = 0;
    this.busy ??= this.go().finally(() => { this.busy = null; });
    return this.busy;
  }

  async go() {
    for (let text = ""; text !== this.wanted;) {
      text = this.wanted;
      const told = await this.asking("shorthand", { text }, WITHIN_MS);
      if (told === null) return;  // no answer: what is typed is sent as it is, and the daemon reads it then
      this.last = { text, ...told };
      this.told();
    }
  }

  /** @param {string} text @param {number} by */
  mark(text, by) {
    const offers = this.of(text)?.offers ?? [];
    this.marked = offers.length ? (this.marked + by + offers.length) % offers.length : 0;
  }

  /** The text with the marked offer, or that one, in the place of what was begun. @param {string} text @param {number} [at] which offer */
  taken(text, at = this.marked) {
    const offer = this.of(text)?.offers[at];
    return offer ? `${text.slice(0, offer.at)}${offer.word} ` : text;
  }
}
