/**
 * What was given last from this page, and whether one key may take it back. The daemon takes back the last entry of a hand
 * that it can: after a command that it cannot take back, or that changed nothing, that would be an older one.
 */

/** For how long after its answer a command may be taken back with one key, real milliseconds. */
export const UNDO_FOR_MS = 5000;
/** What the daemon takes back, of what this page gives; everything else stands. */
const TAKEN_BACK = ["said", "skip", "quiet", "asked", "answered", "comment", "cross", "pit", "status"];
/** So the daemon answers where all was known: there is nothing to be taken back. */
const KNEW_IT = /\balready\b/;

/** @typedef {{id: string, car: string, words: string, wish: Record<string, unknown>, taken: boolean, until: number}} Given */

export class TakingBack {
  /** @param {() => number} [monotonic] milliseconds that never go back */
  constructor(monotonic = () => performance.now()) {
    this.monotonic = monotonic;
    /** @type {Given | null} */
    this.last = null;
  }

  /** @param {string} id @param {string} car @param {Record<string, unknown>} wish @param {string} words */
  given(id, car, wish, words) {
    this.last = { id, car, words, wish, taken: false, until: this.monotonic() + UNDO_FOR_MS };
  }

  /** What was meant last was not sent: what was given before it is not what the next key is about. */
  notGiven() {
    this.last = null;
  }

  /** @param {any} message any of the daemon's: the answer to the last command is one of them */
  hear(message) {
    if (this.last === null || message?.because !== this.last.id) return;
    if (message.type === "refused") this.last = null;
    if (this.last === null || message.type !== "answered") return;
    this.last.taken = !KNEW_IT.test(message.effect);
    this.last.until = this.monotonic() + UNDO_FOR_MS;
  }

  /** The last command, while it is told of. @returns {Given | null} */
  recent() {
    return this.last !== null && this.last.wish.command !== "undo" && this.monotonic() < this.last.until ? this.last : null;
  }

  /** The last command, while one key takes it back. @returns {Given | null} */
  open() {
    const last = this.recent();
    return last?.taken && TAKEN_BACK.includes(String(last.wish.command)) ? last : null;
  }

  /** What the key asks for: that very command taken back, on its own car. @returns {import("./commands.js").Meant} */
  meant() {
    const last = this.open(), recent = this.recent();
    if (last === null && recent && !recent.taken) return { hint: `not sent: “${recent.words}” is not known to be taken yet` };
    if (last === null) return { hint: recent ? `“${recent.words}” cannot be taken back` : "nothing of the last five seconds can be taken back" };
    const { command, call } = last.wish;
    // The daemon keeps what was said by its call, everything else without one.
    const wish = { command: "undo", ...(command === "said" && call ? { call } : {}) };
    return { wish, car: last.car, words: `taken back: ${last.words}` };
  }
}
