/**
 * Words in large letters, whatever their number: what does not fit into the room at that size is shown a piece at a time,
 * cut where a speaker would pause. Letters are never made smaller.
 */
import { useEffect, useMemo, useRef, useState } from "./html.js";

/**
 * Cut words into pieces of at most so many lines.
 * @param {string} words @param {number} lines that fit
 * @param {(text: string) => number} linesOf how many lines a text takes
 * @returns {string[]} at least one; in order, and together the words
 */
export function pieces(words, lines, linesOf) {
  const made = /** @type {string[]} */ ([]);
  let piece = "";
  const add = (/** @type {string} */ part) => {
    const longer = piece ? `${piece} ${part}` : part;
    if (!piece || linesOf(longer) <= lines) piece = longer;
    else {
      made.push(piece);
      piece = part;
    }
  };
  for (const clause of words.split(/(?<=[.,:;?!]) +/)) {
    if (linesOf(clause) <= lines) add(clause);
    else for (const word of clause.split(" ")) add(word);
  }
  made.push(piece);
  return made;
}

/**
 * How many lines a text takes where words are never broken.
 * @param {string} text @param {number} width of a line @param {(text: string) => number} widthOf
 */
export function wrapped(text, width, widthOf) {
  let lines = 1, line = "";
  for (const word of text.split(" ")) {
    const longer = line ? `${line} ${word}` : word;
    if (line && widthOf(longer) > width) {
      lines += 1;
      line = word;
    } else line = longer;
  }
  return lines;
}

/** How much larger the letters of few words are, and how high a line is: as in the style. */
const FEW = 1.5, LINE_HEIGHT = 1.05;
const pen = typeof document === "undefined" ? null : document.createElement("canvas").getContext("2d");

/**
 * How wide a label is in the letters of the page; about right where there is no page.
 * @param {string} text @param {number} size of the letters
 */
export function labelWidth(text, size) {
  if (!pen) return text.length * size * 0.6;
  pen.font = `${size}px ${getComputedStyle(document.body).fontFamily}`;
  return pen.measureText(text).width;
}

/**
 * The pieces of these words for an element of a fixed height, in the letters that its style gives it. Where the style
 * lets it grow (`--grows: 1`) there is one piece. Few words take larger letters still, where there is room for them.
 * @param {string} words
 * @returns {[{current: any}, string[], boolean]} a reference for the element, the pieces, and whether they are few
 */
export function usePieces(words) {
  const element = useRef(null);
  const [room, setRoom] = useState({ width: 0, height: 0, px: 1, font: "", grows: true });
  useEffect(() => {
    if (!element.current) return undefined;
    const watch = new ResizeObserver((entries) => {
      const style = getComputedStyle(entries[0].target), box = entries[0].contentRect;
      const px = parseFloat(style.getPropertyValue("--letters")) || parseFloat(style.fontSize);
      setRoom({ width: box.width, height: box.height, px, font: `${style.fontWeight} ${px}px ${style.fontFamily}`,
        grows: style.getPropertyValue("--grows").trim() === "1" });
    });
    watch.observe(element.current);
    return () => watch.disconnect();
  }, [element.current]);
  const [cut, few] = useMemo(() => {
    if (room.grows || !pen || !room.width) return [[words], false];
    pen.font = room.font;
    const lines = (/** @type {number} */ size) => Math.max(1, Math.floor(room.height / (room.px * size * LINE_HEIGHT) + 0.05));
    const linesOf = (/** @type {number} */ size) => (/** @type {string} */ text) => wrapped(text, room.width, (one) => pen.measureText(one).width * size);
    const large = words.split(" ").every((word) => pen.measureText(word).width * FEW < room.width) && linesOf(FEW)(words) <= lines(FEW);
    return [large ? [words] : pieces(words, lines(1), linesOf(1)), large];
  }, [words, room]);
  return [element, /** @type {string[]} */ (cut), /** @type {boolean} */ (few)];
}
