/** What a digit stands for in a comment, so that a usual one is a few keystrokes. */

/** Usual words, a digit each. */
export const USUAL = ["understeer entry", "understeer mid", "understeer exit", "oversteer entry", "oversteer mid",
  "oversteer exit", "front locking", "rear locking", "no grip yet"];

/** @param {string} text words as they are; or digits for the usual ones, and after a dot the severity, 1 to 5 */
export function written(text) {
  const match = /^([1-9]+)(?:[.,]([1-5]))?$/.exec(text.trim());
  if (!match) return text.trim();
  const words = [...match[1]].map((digit) => USUAL[Number(digit) - 1]).join(", ");
  return match[2] ? `${words}, severity ${match[2]}` : words;
}
