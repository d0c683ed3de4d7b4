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
    ${noted.length > 0 && html`<div class="runs">${byRun(noted, desk.store.desks.get(car)?.run ?? null).map(([run, name, said]) => html`<div key=${run}>
      <h3>${name}</h3><ol>${said.map((one) => html`<li key=${one.t + one.text}><span class="when">${clockText(one.t)}</span> ${one.text}</li>`)}</ol></div>`)}</div>`}
    ${noted.length === 0 && desk.comment === null ? html`<p class="empty">What the driver says is noted here.</p>` : ""}
  </section>`;
}

/**
 * The comments of this run, and beside them those of the one before: is what was changed any better?
 * @param {import("./wire").Comment[]} noted the newest first @param {string | null} now the run that is on
 * @returns {[string, string, import("./wire").Comment[]][]} run, heading, and what was said on it
 */
export function byRun(noted, now) {
  const names = [...new Set(noted.map((one) => one.run ?? ""))].filter((name) => name !== (now ?? ""));
  const of = (/** @type {string} */ name) => noted.filter((one) => (one.run ?? "") === name);
  const named = (/** @type {string} */ name) => name || "between the runs";
  const mine = of(now ?? "");
  if (!mine.length && names.length > 1) return names.slice(0, 2).map((name) => [name, named(name), of(name)]);
  return [[now ?? "", `now, ${named(now ?? "")}`, mine], ...names.slice(0, 1).map((name) => /** @type {[string, string, any]} */ ([name, `before, ${named(name)}`, of(name)]))];
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
