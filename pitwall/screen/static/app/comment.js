/**
 * The comment pad. One key stamps the moment, so that the words can be written after the driver has spoken; free text
 * first, tags afterwards. A usual comment is `n`, a digit or two, Enter.
 */
import { html, useEffect, useRef } from "./html.js";
import { clockText } from "./clock.js";
import { USUAL, written } from "./shorthand.js";

/** @param {{desk: import("./desk.js").Desk, car: string}} props */
export function CommentPad({ desk, car }) {
  const noted = desk.comments(car);
  return html`<section class="comments" tabindex="0" aria-label="comments">
    <h2>comments <span>${desk.comment === null ? html`<button class="small" onClick=${() => desk.press("n")}><kbd>n</kbd> note</button>` : ""}</span></h2>
    ${desk.comment !== null && html`<${Writing} desk=${desk} car=${car} />`}
    <ol>${noted.map((one) => html`<li key=${one.t + one.text}><span class="when">${clockText(one.t)}</span>
      ${one.text}${one.run ? html` <span class="when">${one.run}</span>` : ""}</li>`)}</ol>
    ${noted.length === 0 && desk.comment === null ? html`<p class="empty">What the driver says is noted here.</p>` : ""}
  </section>`;
}

function Writing({ desk, car }) {
  const field = useRef(null), { text } = desk.comment, shown = written(text);
  useEffect(() => field.current?.focus(), []);
  const send = (/** @type {any} */ event) => {
    event.preventDefault();
    desk.keepComment(car);
  };
  return html`<form onSubmit=${send}>
    <label>said at ${clockText(desk.comment.t)}
      <input ref=${field} value=${text} maxlength="2000" autocomplete="off" aria-describedby="usual"
        onInput=${(/** @type {any} */ event) => { if (desk.comment) desk.comment.text = event.target.value; }} /></label>
    ${shown !== text.trim() ? html`<p class="reads">reads: ${shown}</p>` : ""}
    <p id="usual" class="usual">${USUAL.map((words, at) => html`<span key=${words}><kbd>${at + 1}</kbd> ${words}</span>`)}
      <span><kbd>.3</kbd> severity</span> <span><kbd>Enter</kbd> keep</span> <span><kbd>Esc</kbd> drop</span></p>
  </form>`;
}
