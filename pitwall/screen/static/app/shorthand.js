/**
 * Tags of a comment in single letters, so that a usual one takes few keys: turn, corner phase, finding, how bad, and
 * whether it became better. `4eu3` is turn 4, entry, understeer, severity 3; several are parted by a comma or a space.
 *
 * @typedef {import("./wire").Remark} Remark
 * @typedef {{about: Remark["about"], what: NonNullable<Remark["what"]>, axle?: "front" | "rear"}} Finding
 */

/** @type {Record<string, "entry" | "mid" | "exit">} */
export const PHASES = { e: "entry", m: "mid", x: "exit" };
/** What is said most, a letter each. @type {Record<string, Finding>} */
export const FINDINGS = {
  u: { about: "balance", what: "understeer" }, o: { about: "balance", what: "oversteer" }, s: { about: "balance", what: "snap" },
  f: { about: "braking", what: "locking", axle: "front" }, r: { about: "braking", what: "locking", axle: "rear" },
  w: { about: "traction", what: "wheelspin" }, g: { about: "grip", what: "low" }, b: { about: "ride", what: "bottoming" },
  k: { about: "ride", what: "kerbs" }, c: { about: "tyres", what: "cold" }, h: { about: "tyres", what: "hot" },
  d: { about: "tyres", what: "worn" }, v: { about: "tyres", what: "vibration" },
};
/** @type {Record<string, "better" | "worse" | "same">} */
export const TRENDS = { "+": "better", "-": "worse", "=": "same" };
const ONE = /^(\d{1,2})?([emx])?([uosfrwgbkcdhv])?([1-5])?([-+=])?$/;
const MOST_TURN = 60;

/**
 * One tag in letters, in parts; what was not given is left out. Null where it cannot be read.
 * @param {string} letters @returns {{turn?: number, phase?: string, finding?: string, severity?: number, trend?: string} | null}
 */
export function partsOf(letters) {
  const found = ONE.exec(letters.toLowerCase());
  if (!found || !letters) return null;
  const [, turn, phase, finding, severity, trend] = found;
  if (turn !== undefined && (Number(turn) < 1 || Number(turn) > MOST_TURN)) return null;
  return { ...(turn && { turn: Number(turn) }), ...(phase && { phase }), ...(finding && { finding }),
    ...(severity && { severity: Number(severity) }), ...(trend && { trend }) };
}

/** The letters of these parts, in order. @param {{turn?: number, phase?: string, finding?: string, severity?: number, trend?: string}} parts */
export function lettersOf({ turn, phase, finding, severity, trend }) {
  return `${turn ?? ""}${phase ?? ""}${finding ?? ""}${severity ?? ""}${trend ?? ""}`;
}

/**
 * Tags as they were typed, and what is wrong with them, if anything.
 * @param {string} typed @returns {{remarks: Partial<Remark>[], wrong: string}}
 */
export function tagged(typed) {
  /** @type {Partial<Remark>[]} */
  const remarks = [];
  for (const letters of typed.split(/[\s,;]+/).filter(Boolean)) {
    const parts = partsOf(letters);
    if (parts === null) return { remarks, wrong: `${letters}: a tag is turn, phase, finding, severity, in this order, as in 4eu3` };
    const { turn, phase, finding, severity, trend } = parts;
    if (!finding && !trend) return { remarks, wrong: `${letters}: what was it there? A letter for it, such as u, or + and -` };
    remarks.push({ ...(turn && { turn }), ...(phase && { phase: PHASES[phase] }), ...(finding ? FINDINGS[finding] : { about: "balance" }),
      ...(severity && { severity }), ...(trend && { trend: TRENDS[trend] }) });
  }
  return { remarks, wrong: "" };
}

/**
 * A sentence about the first turn of these remarks that the circuit does not have; empty where all are there.
 * @param {readonly Partial<Remark>[]} remarks @param {readonly number[]} turns those of the circuit; none: not known
 */
export function noSuchTurn(remarks, turns) {
  const one = remarks.find(({ turn }) => turns.length > 0 && turn != null && !turns.includes(turn));
  return one ? `there is no turn ${one.turn} at this circuit: its turns are ${Math.min(...turns)} to ${Math.max(...turns)}` : "";
}

/** A tag to show how it is typed, of a turn that is there. @param {readonly number[]} turns */
export function exampleTag(turns) {
  return `${turns.find((turn) => turn >= 4) ?? turns[0] ?? 4}eu3`;
}

/**
 * These remarks in letters, to be changed; nothing where one of them says more than letters can.
 * @param {readonly Partial<Remark>[]} remarks
 */
export function typedOf(remarks) {
  const typed = remarks.map((one) => {
    const finding = Object.keys(FINDINGS).find((key) => FINDINGS[key].what === one.what && FINDINGS[key].about === one.about && FINDINGS[key].axle === (one.axle ?? undefined));
    return lettersOf({ turn: one.turn ?? undefined, phase: one.phase?.[one.phase === "exit" ? 1 : 0], finding, severity: one.severity ?? undefined,
      trend: Object.keys(TRENDS).find((key) => TRENDS[key] === one.trend) });
  }).join(", ");
  const read = tagged(typed);
  const same = !read.wrong && read.remarks.length === remarks.length && read.remarks.every((one, at) => inWords(one) === inWords(remarks[at]));
  return same ? typed : "";
}

/**
 * Words of a comment that are nothing but tags: a place and a finding at the least, so that no word of a language is one.
 * @param {string} text
 */
export function isTags(text) {
  const all = text.trim().split(/[\s,;]+/);
  return all.every((letters) => /\d/.test(letters) && Boolean(partsOf(letters)?.finding));
}

/**
 * A remark as a person would read it out: `turn 4 mid: understeer, severity 3`.
 * @param {Partial<Remark>} remark
 */
export function inWords(remark) {
  const place = [remark.turn ? `turn ${remark.turn}` : "", remark.speed ? `${remark.speed} corners` : "", remark.phase ?? ""].filter(Boolean).join(" ");
  const said = remark.what?.replaceAll("_", " ") ?? "";
  const about = ["", "good", "low", "flat", "weak", "cold", "hot", "worn"].includes(said) ? remark.about : "";
  const finding = [remark.axle, remark.side, about, said].filter(Boolean).join(" ");
  const sure = remark.confidence ? { high: "sure", medium: "likely", low: "not sure" }[remark.confidence] : "";
  const rest = [finding, remark.severity ? `severity ${remark.severity}` : "", remark.trend ?? "", sure].filter(Boolean).join(", ");
  return place ? `${place}: ${rest}` : rest;
}
