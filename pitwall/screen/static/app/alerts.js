/** Alerts by priority: what stands, what to do about it; acknowledged, or shelved for a while. */
import { html } from "./html.js";
import { acknowledge, shelve } from "./commands.js";
import { clockText } from "./clock.js";
import { ALERT_MARKS } from "./words.js";

const SHELVE_S = 600;

/** @param {{desk: import("./desk.js").Desk, car: string}} props */
export function Alerts({ desk, car }) {
  const standing = desk.store.standing(), now = desk.store.clock.now();
  return html`<section class="alerts" tabindex="0" aria-label="alerts">
    <h2>alerts${standing.length > 1 ? html` <span>${standing.length} stand</span>` : ""}</h2>
    <div role="log" aria-live="polite"><ul>
      ${standing.map((alert) => html`
        <li key=${alert.id} class=${`is-${alert.priority}${alert.acknowledged ? " noted" : ""}`}>
          <b><i aria-hidden="true">${ALERT_MARKS[alert.priority]}</i> ${alert.priority}${alert.car ? ` · ${alert.car}` : ""}</b>
          <span class="when">for ${clockText(Math.max(0, now - alert.since_s))}${alert.acknowledged ? " · acknowledged" : ""}</span>
          <span class="do">
            ${alert.acknowledged || !desk.may("acknowledge") ? "" : html`<button class="small" onClick=${() => act(desk, acknowledge(alert, desk.store, car))}>
              <kbd>a</kbd> acknowledge</button>`}
            ${desk.may("shelve") ? html`<button class="small" onClick=${() => act(desk, shelve(alert, desk.store, car, SHELVE_S))}>
              shelve 10 min</button>` : ""}
          </span>
          <span class="text">${alert.text}</span>
          <span class="help">${alert.help}</span>
        </li>`)}
    </ul></div>
    ${standing.length === 0 ? html`<p class="empty">None stands.</p>` : ""}
  </section>`;
}

/** @param {import("./desk.js").Desk} desk @param {any} meant */
function act(desk, meant) {
  desk.send(meant.car, meant.wish, meant.words);
}
