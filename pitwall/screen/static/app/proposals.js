/** Changed plans that wait: what each changes, costs and buys. One key adopts the one that is looked at, as it was seen. */
import { html, useLayoutEffect, useRef } from "./html.js";
import { percent } from "./words.js";

/** @param {{desk: import("./desk.js").Desk, car: string}} props */
export function Proposals({ desk, car }) {
  const waiting = desk.store.waiting(car), box = useRef(null);
  useLayoutEffect(() => box.current?.focus(), []);
  const at = waiting.findIndex((one) => one.id === desk.looking), shown = waiting[at];
  if (!shown) return html`<div class="over" role="dialog" aria-label="changed plan"><div class="sheet" tabindex="-1" ref=${box}>
    <p>This changed plan no longer stands: the plan or the session moved on.</p>
    <button onClick=${() => desk.close()}><kbd>Esc</kbd> close</button></div></div>`;
  const advised = shown.musts_chance != null;
  const doubts = [...shown.warnings, ...(shown.flips ? [shown.flips] : [])];
  return html`<div class="over" role="dialog" aria-modal="true" aria-label="changed plan"><div class="sheet" tabindex="-1" ref=${box}>
    <h2>changed plan ${at + 1} of ${waiting.length} · car ${car} · from ${shown.source === "forecast" ? "the forecast" : shown.source}</h2>
    ${shown.sentence ? html`<p class="sentence">${shown.sentence}</p>` : ""}
    ${shown.musts_chance != null ? html`<p>The ${desk.store.mustsOfAll()} fit then: <b>${percent(shown.musts_chance)}</b>${advised
      ? html`, as planned <b>${percent(desk.store.advice?.musts_chance)}</b>` : ""}.${shown.cars.length > 1 ? ` It changes cars ${shown.cars.join(" and ")}.` : ""}</p>` : ""}
    <ul>${shown.lines.map((line) => html`<li key=${line}>${line}</li>`)}</ul>
    ${shown.costs.length ? html`<h3>costs</h3><ul>${shown.costs.map((line) => html`<li key=${line}>${line}</li>`)}</ul>` : ""}
    ${doubts.length ? html`<h3>think of</h3><ul class="caution">${doubts.map((line) => html`<li key=${line}>▲ ${line}</li>`)}</ul>` : ""}
    <div class="do">
      ${desk.may("adopt") ? html`<button class="ask" onClick=${() => desk.press("y")}><kbd>y</kbd> adopt</button>` : ""}
      ${desk.may("decline") ? html`<button onClick=${() => desk.press("n")}><kbd>n</kbd> decline</button>` : ""}
      ${waiting.length > 1 ? html`<button onClick=${() => desk.press("p")}><kbd>p</kbd> the next one</button>` : ""}
      <button onClick=${() => desk.close()}><kbd>Esc</kbd> close</button>
    </div></div></div>`;
}
