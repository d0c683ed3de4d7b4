/**
 * From a key or a press to a command. Each names the call that the person saw, so a late key never hits another one.
 *
 * @typedef {import("./store.js").Store} Store
 * @typedef {{command: string, [argument: string]: unknown}} Wish
 * @typedef {{wish: Wish, car: string, words: string} | {hint: string}} Meant
 */

const ON_OPEN = { s: "said", x: "skip", d: "defer" };
const ON_SAID = { r: "repeat", c: "confirm" };
const DEALT_WITH = ["late", "said", "done", "withdrawn", "skipped", "missed"];
const WAS_SAID = ["said", "late", "unconfirmed"];
const TRUTH = {
  l: [{ command: "cross" }, "passed the line"],
  i: [{ command: "pit", where: "entry" }, "entered the pits"],
  o: [{ command: "pit", where: "exit" }, "left the pits"],
  f: [{ command: "cross", forgotten: true }, "forgotten line put in"],
  e: [{ command: "status", status: "red" }, "red flag"],
  g: [{ command: "status", status: "green" }, "green"],
};
const WORDS = { said: "said", skip: "skipped", defer: "deferred", repeat: "repeated", confirm: "confirmed" };

/** The command behind each key that is not of a call or a truth. */
const OTHERS = { u: "undo", m: "quiet", k: "asked", w: "answered", v: "advise", a: "acknowledge", n: "comment", b: "comment", y: "adopt" };

/** Which command a key gives; nothing for one that gives none. @param {string} key @returns {string} */
export function commandOf(key) {
  return ON_OPEN[key] ?? ON_SAID[key] ?? TRUTH[key]?.[0].command ?? OTHERS[key] ?? "";
}

/**
 * What a key asks for.
 * @param {string} key @param {Store} store @param {string} car @param {string} chosen the call that is marked
 * @returns {Meant | null} null for a key that is no command
 */
export function meant(key, store, car, chosen) {
  if (key in ON_OPEN || key in ON_SAID) return onCall(key, store, car, chosen);
  if (key in TRUTH) return { wish: TRUTH[key][0], car, words: `car ${car}: ${TRUTH[key][1]}` };
  if (key === "m") {
    const quiet = store.desks.get(car)?.quiet;
    return { wish: { command: "quiet" }, car, words: quiet ? `car ${car}: calls again` : `car ${car}: quiet` };
  }
  if (key === "k") return { wish: { command: "asked" }, car, words: "the driver asked: an answer is owed" };
  if (key === "w") {
    const first = store.desks.get(car)?.questions?.[0];
    return first ? { wish: { command: "answered", question: first.question }, car, words: "answered" }
      : { hint: `car ${car}: no answer is owed to the driver` };
  }
  if (key === "v") return { wish: { command: "advise" }, car, words: "advice asked for" };
  if (key === "a") {
    const alert = store.standing().find((one) => !one.acknowledged);
    return alert ? acknowledge(alert, store, car) : { hint: "no alert waits to be acknowledged" };
  }
  return null;
}

/** @param {import("./wire").Alert} alert @param {Store} store @param {string} car @returns {Meant} */
export function acknowledge(alert, store, car) {
  return { wish: { command: "acknowledge", alert: alert.id }, car: ofAlert(alert, store, car), words: "alert acknowledged" };
}

/** @param {import("./wire").Alert} alert @param {Store} store @param {string} car @param {number} forS @returns {Meant} */
export function shelve(alert, store, car, forS) {
  return { wish: { command: "shelve", alert: alert.id, for_s: forS }, car: ofAlert(alert, store, car),
    words: `alert shelved for ${Math.round(forS / 60)} min` };
}

/** @param {import("./wire").Alert} alert @param {Store} store @param {string} car */
function ofAlert(alert, store, car) {
  return alert.car && store.desks.has(alert.car) ? alert.car : car;
}

/** @param {string} key @param {Store} store @param {string} car @param {string} chosen @returns {Meant} */
function onCall(key, store, car, chosen) {
  const listed = store.listed(car);
  const marked = listed.find((p) => p.call === chosen) ?? listed[0];
  let prompt = null;
  if (key in ON_OPEN) prompt = marked && !DEALT_WITH.includes(marked.state) ? marked : null;
  else if (marked && WAS_SAID.includes(marked.state)) prompt = marked;
  // Nobody moves the mark down to confirm what was said a moment ago.
  else prompt = listed.filter((p) => WAS_SAID.includes(p.state)).sort((a, b) => b.t - a.t)[0] ?? null;
  if (!prompt) return { hint: key in ON_OPEN ? "there is no call to act on now" : "nothing was said a moment ago" };
  const command = ON_OPEN[key] ?? ON_SAID[key];
  return { wish: { command, call: prompt.call }, car, words: `${WORDS[command]}: ${prompt.short}` };
}
