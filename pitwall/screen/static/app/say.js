/** The call to speak now. Its letters can be read from two metres away; the bar above them empties towards "too late". */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { commandOf } from "./commands.js";
import { usePieces } from "./fitting.js";
import { CLASS_WORDS, callClass, callMark, callWord, isAgainst, lateWords, otherForm, partWords, spoken, timeLeft } from "./words.js";

/** @param {{desk: import("./desk.js").Desk, car: string, prompt: import("./wire").Prompt | null, high: boolean}} props */
export function Say({ desk, car, prompt, high }) {
  const now = desk.store.clock.now();
  if (prompt === null) return html`<${Silence} desk=${desk} car=${car} now=${now} high=${high} />`;
  const part = partWords(prompt);
  return html`
    <section class=${`say ${callClass(prompt)}${high ? " high" : ""}`} aria-label="the call to speak">
      <div class="say-top">
        <b>${callMark(prompt)} ${callWord(prompt, now)}</b>
        ${part ? html`<em>${part}</em>` : ""}
        <span>${[CLASS_WORDS[prompt.kind] ?? prompt.kind, prompt.place, prompt.lap, lateWords(prompt, now)].filter((one, at, all) => one && all.indexOf(one) === at).join(" · ")}</span>
        <b class="left">${timeLeft(prompt, now)}</b>
      </div>
      <${Bar} prompt=${prompt} now=${now} />
      <${Words} desk=${desk} prompt=${prompt} />
      <div class="say-foot">
        <${Small} prompt=${prompt} now=${now} />
        <div class="say-keys" role="group" aria-label="what to do with it">
          ${keysFor(prompt).filter(([key]) => desk.may(commandOf(key))).map(([key, word]) => html`<button key=${key} onClick=${() => desk.press(key)}><kbd>${key}</kbd> ${word}</button>`)}
        </div>
      </div>
    </section>`;
}

/** The words to speak, in letters that never shrink: what has no room follows piece by piece. */
function Words({ desk, prompt }) {
  const words = spoken(prompt), [element, cut, few] = usePieces(words);
  const at = Math.min(desk.piece(`${prompt.call}/${words}`, cut.length), cut.length - 1);
  return html`
    <p class=${`words${few ? " few" : ""}`} aria-live="assertive" ref=${element} aria-label=${words}>${cut[at]}</p>
    ${cut.length > 1 ? html`<p class="pieces"><span>${at + 1} of ${cut.length}</span>
      ${at > 0 ? html`<button class="small" onClick=${() => desk.press("ArrowLeft")}><kbd>←</kbd> before</button>` : ""}
      ${at < cut.length - 1 ? html`<button class="small" onClick=${() => desk.press("ArrowRight")}><kbd>→</kbd> then</button>
        <span class="then">${cut.slice(at + 1).join(" ")}</span>` : ""}</p>` : ""}`;
}

/** @param {import("./wire").Prompt} prompt @returns {[string, string][]} */
function keysFor(prompt) {
  if (prompt.state === "said" || prompt.state === "late") return [["c", "read back"], ["r", "repeat"], ["m", "quiet"]];
  const said = prompt.medium === "board" ? "shown" : "said";
  if (prompt.state === "unconfirmed") return [["s", said], ["x", "skip"], ["m", "quiet"]];
  return [["s", said], ["x", "skip"], ["d", "defer"], ["m", "quiet"]];
}

function Small({ prompt, now }) {
  const other = otherForm(prompt), rest = prompt.parts.slice(1), open = prompt.state === "shown" || prompt.state === "due";
  return html`<dl class="small-print">
    ${prompt.caution ? html`<div class="caution"><dt>▲ caution</dt><dd>${prompt.caution}</dd></div>` : ""}
    ${isAgainst(prompt) ? html`<div class="caution"><dt>▲ better not</dt><dd>${prompt.against}</dd></div>` : ""}
    ${rest.length ? html`<div><dt>then</dt><dd>${rest.map((part, at) => html`${at ? "; " : ""}<b>${part.text}</b> in ${clockText(Math.max(0, part.say_from_s - now))}`)}</dd></div>` : ""}
    ${prompt.board?.length && prompt.board.join(" / ") !== spoken(prompt) ? html`<div><dt>board</dt><dd>${prompt.board.join(" / ")}</dd></div>` : ""}
    ${other && !rest.length ? html`<div><dt>${other === prompt.short ? "in short" : "in full"}</dt><dd>${other}</dd></div>` : ""}
    ${open && prompt.way_reason ? html`<div><dt>how</dt><dd>${prompt.way_reason}</dd></div>` : ""}
    ${prompt.reason ? html`<div><dt>${open ? "why" : "noted"}</dt><dd>${prompt.reason}</dd></div>` : ""}
  </dl>`;
}

/** Full when it may be said, empty when it is too late; before that it stands full and faint; over, it leaves its place empty. */
function Bar({ prompt, now }) {
  const ahead = prompt.state === "shown" && prompt.say_from_s > now;
  const open = prompt.state === "shown" || prompt.state === "due";
  const whole = Math.max(prompt.say_by_s - prompt.say_from_s, 0.1);
  const share = ahead ? 1 : open ? Math.min(1, Math.max(0, (prompt.say_by_s - now) / whole)) : 0;
  const words = ahead ? `may be said in ${clockText(prompt.say_from_s - now)}` : open ? `too late in ${clockText(Math.max(0, Math.ceil(prompt.say_by_s - now)))}` : "";
  return html`<div class=${`bar${ahead ? " ahead" : open ? "" : " over-now"}`} role="progressbar" aria-label="time to say it"
      aria-valuemin="0" aria-valuemax="100" aria-valuenow=${Math.round(100 * share)} aria-valuetext=${words}>
    <i style=${{ transform: `scaleX(${share.toFixed(4)})` }}></i><span>too late</span></div>`;
}

/** Nothing to say is the usual case: the page then shows what comes, calmly. */
function Silence({ desk, car, now, high }) {
  const next = desk.store.toCome(car)[0];
  return html`<section class=${`say is-silent${high ? " high" : ""}`} aria-label="the call to speak">
    <div class="say-top"><b>· nothing to say</b></div>
    ${next ? html`<p class="next-up"><span>next, in ${clockText(Math.max(0, next.say_from_s - now))}</span> ${next.short}</p>`
      : html`<p class="next-up">no call is planned</p>`}
  </section>`;
}
