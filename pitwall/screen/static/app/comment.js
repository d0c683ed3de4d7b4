/**
 * The comment pad. One key stamps the moment, so that the words can be written after the driver has spoken; free text
 * first, tags afterwards. A usual comment is `n`, a digit or two, Enter.
 */
import { html, useEffect, useRef, useState } from "./html.js";
import { clockText } from "./clock.js";

/** Usual words, a digit each: typed alone, a digit stands for its words. */
export const USUAL = ["understeer entry", "understeer mid", "understeer exit", "oversteer entry", "oversteer mid",
  "oversteer exit", "front locking", "rear locking", "no grip yet"];
export const SEVERITY = ["1 slight", "2", "3 clear", "4", "5 not drivable"];

/** @param {string} text what was typed: words, or digits that stand for the usual ones, the last one after a dot the severity */
export function written(text) {
  const match = /^([1-9]+)(?:[.,]([1-5]))?$/.exec(text.trim());
  if (!match) return text.trim();
  const words = [...match[1]].map((digit) => USUAL[Number(digit) - 1]).join(", ");
  return match[2] ? `${words}, severity ${match[2]}` : words;
}

/** @param {{desk: import("./desk.js").Desk, car: string}} props */
export function CommentPad({ desk, car }) {
  const noted = desk.comments(car);
  return html`<section class="comments" aria-label="comments">
    <h2>comments <span>${desk.comment === null ? html`<button class="small" onClick=${() => desk.press("n")}><kbd>n</kbd> note</button>` : ""}</span></h2>
    ${desk.comment !== null && html`<${Writing} desk=${desk} car=${car} />`}
    <ol>${noted.map((one) => html`<li key=${one.id}><span class="when">${clockText(one.t)}</span> ${one.text}</li>`)}</ol>
    ${noted.length === 0 && desk.comment === null ? html`<p class="empty">What the driver says is noted here.</p>` : ""}
  </section>`;
}

function Writing({ desk, car }) {
  const field = useRef(null), [text, setText] = useState("");
  useEffect(() => field.current?.focus(), []);
  const send = (/** @type {any} */ event) => {
    event.preventDefault();
    const words = written(text);
    if (words) desk.sendComment(car, words);
    else desk.close();
  };
  const shown = written(text);
  return html`<form onSubmit=${send}>
    <label>said at ${clockText(desk.comment.t)}
      <input ref=${field} value=${text} maxlength="2000" autocomplete="off"
        onInput=${(/** @type {any} */ event) => setText(event.target.value)} aria-describedby="usual" /></label>
    ${shown !== text.trim() ? html`<p class="reads">reads: ${shown}</p>` : ""}
    <p id="usual" class="usual">${USUAL.map((words, at) => html`<span key=${words}><kbd>${at + 1}</kbd> ${words}</span>`)}
      <span><kbd>.3</kbd> severity</span> <span><kbd>Enter</kbd> keep</span> <span><kbd>Esc</kbd> drop</span></p>
  </form>`;
}
