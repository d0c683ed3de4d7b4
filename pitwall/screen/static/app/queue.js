/** The calls around the one to speak: what comes with its times, what was said, is unconfirmed or was late. */
import { html } from "./html.js";
import { callClass, callMark, callWord, timeLeft } from "./words.js";

const MOST = 9;

/** @param {{desk: import("./desk.js").Desk, car: string, shown: import("./wire").Prompt | null}} props */
export function Queue({ desk, car, shown }) {
  const { store } = desk, now = store.clock.now();
  const open = store.open(car), ended = store.ended(car);
  const coming = store.toCome(car).slice(0, Math.max(2, MOST - open.length - ended.length));
  const questions = store.desks.get(car)?.questions ?? [];
  return html`<section class="queue" tabindex="0" aria-label="calls">
    <h2>calls${store.desks.get(car)?.quiet ? html` <em>quiet: on track session, safety and box only</em>` : ""}</h2>
    ${questions.map((one) => html`<p class="owed" key=${one.question}>◆ answer owed: ${one.text ?? "the driver asked"}
      ${desk.may("answered") ? html`<button class="small" onClick=${() => desk.press("w")}><kbd>w</kbd> answered</button>` : ""}</p>`)}
    <ol>
      ${[...open, ...coming, ...ended].slice(0, MOST + 2).map((p) => html`
        <li key=${p.call} class=${callClass(p)} aria-current=${shown?.call === p.call ? "true" : null}>
          <button onClick=${() => { desk.mark.choose(p.call, store, car); }}>
            <i aria-hidden="true">${callMark(p)}</i>
            <span class="state">${callWord(p, now)}</span>
            <span class="text">${p.short}</span>
            <span class="when">${timeLeft(p, now)}</span>
          </button></li>`)}
    </ol>
    ${open.length + coming.length + ended.length === 0 ? html`<p class="empty">No call for this car now.</p>` : ""}
  </section>`;
}
