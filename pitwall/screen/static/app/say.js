/** The call to speak now. Its letters can be read from two metres away; the bar beneath empties towards "too late". */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { CALL_MARKS, CALL_WORDS, CLASS_WORDS, otherForm, spoken, timeLeft } from "./words.js";

const LONG_TEXT = 74, BRIEF_TEXT = 130;

/** @param {{desk: import("./desk.js").Desk, car: string, prompt: import("./wire").Prompt | null}} props */
export function Say({ desk, car, prompt }) {
  const now = desk.store.clock.now();
  if (prompt === null) return html`<${Silence} desk=${desk} car=${car} now=${now} />`;
  const words = spoken(prompt), other = otherForm(prompt);
  return html`
    <section class=${`say is-${prompt.state}`} aria-label="the call to speak">
      <div class="say-top">
        <b>${CALL_MARKS[prompt.state]} ${CALL_WORDS[prompt.state]}</b>
        <span>${CLASS_WORDS[prompt.kind] ?? prompt.kind}${prompt.place ? ` · ${prompt.place}` : ""}${prompt.lap
          ? ` · ${prompt.lap}` : ""}</span>
        <b class="left">${timeLeft(prompt, now)}</b>
      </div>
      <p class=${`words${words.length > BRIEF_TEXT ? " brief" : words.length > LONG_TEXT ? " long" : ""}`} aria-live="assertive">${words}</p>
      <${Bar} prompt=${prompt} now=${now} />
      <${Small} prompt=${prompt} other=${other} />
      <div class="say-keys" role="group" aria-label="what to do with it">
        ${keysFor(prompt).map(([key, word]) => html`<button key=${key} onClick=${() => desk.press(key)}><kbd>${key}</kbd> ${word}</button>`)}
      </div>
    </section>`;
}

/** @param {import("./wire").Prompt} prompt @returns {[string, string][]} */
function keysFor(prompt) {
  if (prompt.state === "said" || prompt.state === "late") return [["c", "read back"], ["r", "repeat"], ["m", "quiet"]];
  return [["s", "said"], ["x", "skip"], ["d", "defer"], ["m", "quiet"]];
}

function Small({ prompt, other }) {
  return html`<dl class="small-print">
    ${other ? html`<div><dt>${other === prompt.short ? "in short" : "in full"}</dt><dd>${other}</dd></div>` : ""}
    ${prompt.board?.length ? html`<div><dt>board</dt><dd>${prompt.board.join(" / ")}</dd></div>` : ""}
    ${prompt.caution ? html`<div class="caution"><dt>▲ caution</dt><dd>${prompt.caution}</dd></div>` : ""}
    ${prompt.against ? html`<div class="caution"><dt>▲ better not</dt><dd>${prompt.against}</dd></div>` : ""}
    ${prompt.way_reason ? html`<div><dt>how</dt><dd>${prompt.way_reason}</dd></div>` : ""}
    ${prompt.reason ? html`<div><dt>why</dt><dd>${prompt.reason}</dd></div>` : ""}
  </dl>`;
}

/** Full when it may be said, empty when it is too late; before that it fills towards the moment. */
function Bar({ prompt, now }) {
  const ahead = prompt.state === "shown" && prompt.say_from_s > now;
  const open = prompt.state === "shown" || prompt.state === "due";
  const whole = Math.max(prompt.say_by_s - prompt.say_from_s, 0.1);
  const share = ahead ? 1 : open ? Math.min(1, Math.max(0, (prompt.say_by_s - now) / whole)) : 0;
  const words = ahead ? `may be said in ${clockText(prompt.say_from_s - now)}` : open ? `too late in ${clockText(Math.max(0, prompt.say_by_s - now))}` : "";
  return html`<div class=${`bar${ahead ? " ahead" : ""}`} role="progressbar" aria-label="time to say it"
      aria-valuemin="0" aria-valuemax="100" aria-valuenow=${Math.round(100 * share)} aria-valuetext=${words}>
    <i style=${{ transform: `scaleX(${share.toFixed(4)})` }}></i><span>too late</span></div>`;
}

/** Nothing to say is the usual case: the page then shows what comes, calmly. */
function Silence({ desk, car, now }) {
  const next = desk.store.toCome(car)[0];
  return html`<section class="say is-silent" aria-label="the call to speak">
    <div class="say-top"><b>· nothing to say</b></div>
    ${next ? html`<p class="next-up">next, in ${clockText(Math.max(0, next.say_from_s - now))}: ${next.short}</p>`
      : html`<p class="next-up">no call is planned</p>`}
  </section>`;
}
