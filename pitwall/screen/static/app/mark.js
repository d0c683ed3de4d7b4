/** Which call is shown large, and is meant by the keys: what is to be said now, but for what the person looks at instead. */

/** @typedef {import("./store.js").Store} Store */

export class Mark {
  constructor() {
    this.chosen = "";
    /** Calls that were to be said as that one was chosen. @type {Set<string>} */
    this.passedOver = new Set();
  }

  /** The person looks at this call. @param {string} call @param {Store} store @param {string} car */
  choose(call, store, car) {
    this.chosen = call;
    this.passedOver = new Set(store.toSay(car).map((p) => p.call));
  }

  /** Nobody looks at one call any more. */
  forget() {
    this.chosen = "";
  }

  /** The chosen one, until another is to be said; else the first. @param {Store} store @param {string} car */
  of(store, car) {
    const listed = store.listed(car), chosen = listed.find((p) => p.call === this.chosen);
    const news = store.toSay(car).some((p) => p.call !== this.chosen && !this.passedOver.has(p.call));
    return (news ? listed[0] : chosen ?? listed[0]) ?? null;
  }
}
