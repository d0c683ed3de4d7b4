/** The keys, over everything; any press of Escape or ? closes it. */
import { spanText } from "./clock.js";
import { commandOf } from "./commands.js";
import { feedAges } from "./head.js";
import { html, useLayoutEffect, useRef } from "./html.js";

/** @type {[string, [string, string][]][]} */
const GROUPS = [
  ["the call that is marked", [["s", "was said"], ["x", "skip it"], ["d", "defer it"], ["r", "repeat what was said last"],
    ["c", "the driver has read it back"], ["↓ ↑", "choose another"], ["→ ←", "the rest of a long one"], ["u", "take back what was entered in the last five seconds"]]],
  ["this car", [["m", "quiet: on track session, safety and box calls only; again: all"], ["k", "the driver asked something"],
    ["w", "that was answered"], ["n", "a new comment of the driver: stamps the moment"], ["b", "give the last comment its tags"],
    ["v", "ask for advice on the plan"], ["p", "look at a changed plan"],
    ["y", "adopt the plan that is looked at; n declines it"], ["1–9", "choose the car"]]],
  ["without a timing feed", [["l", "it passed the line"], ["i", "it entered the pits"], ["o", "it left the pits"],
    ["f", "a line was forgotten: put it in"], ["e", "red flag"], ["g", "green"]]],
  ["alerts", [["a", "acknowledge the one that asks most"]]],
  ["this page", [["t", "light, dark, sunlight"], ["?", "these keys"], ["Esc", "close what is open"]]],
];

/** @param {{desk: import("./desk.js").Desk}} props */
export function Help({ desk }) {
  const box = useRef(null);
  useLayoutEffect(() => box.current?.focus(), []);
  const may = keysOf(desk);
  return html`<div class="over" role="dialog" aria-modal="true" aria-label="keys">
    <div class="sheet" tabindex="-1" ref=${box}>
      <h2>keys</h2>
      ${desk.rights.onlyLooks() ? html`<p class="rights">${desk.rights.words()}</p>` : ""}
      <div class="key-groups">${may.map(([name, keys]) => html`
        <section key=${name}><h3>${name}</h3><dl>${keys.map(([key, what]) => html`
          <div key=${key}><dt><kbd>${key}</kbd></dt><dd>${what}</dd></div>`)}</dl></section>`)}</div>
      <${Feeds} store=${desk.store} />
      <${Settings} desk=${desk} />
      <p class="caution">pitwall advises a person. Officials' signals, the event's regulations and the team's release
        controller come first.</p>
      <button onClick=${() => desk.press("?")}><kbd>Esc</kbd> close</button>
    </div></div>`;
}

/** The keys that do something for whoever is here. @param {{may: (command: string) => boolean}} desk */
export function keysOf(desk) {
  return GROUPS.map(([name, keys]) => /** @type {typeof GROUPS[0]} */ ([name, keys.filter(([key]) => !commandOf(key) || desk.may(commandOf(key)))]))
    .filter(([, keys]) => keys.length > 0);
}

/** How old what is shown may be, feed by feed. */
function Feeds({ store }) {
  return html`<section class="settings"><h3>feeds</h3><p>${feedWords(store)}</p></section>`;
}

/** @param {import("./store.js").Store} store */
export function feedWords(store) {
  const ages = feedAges(store).map(([name, age]) => `${name} ${age < 1 ? "now" : `${spanText(age)} ago`}`).join(" · ");
  if (store.health === null) return "The daemon has not told of them yet.";
  if (store.health.state === "offline") return `The daemon is offline: nobody hears them.${ages ? ` Last heard: ${ages}.` : ""}`;
  return ages || "No feed has spoken yet.";
}

function Settings({ desk }) {
  return html`<section class="settings"><h3>this seat</h3>
    ${desk.rights.onlyLooks() ? "" : html`<label>who sits here, for the record
      <input maxlength="40" value=${desk.hand} onChange=${(/** @type {any} */ event) => desk.setHand(event.target.value)} /></label>`}
    ${["high", "medium", "low"].map((priority) => html`<label key=${priority}>
      <input type="checkbox" checked=${desk.sounds.on[priority]}
        onChange=${(/** @type {any} */ event) => desk.sounds.turn(priority, event.target.checked)} />
      sound for ${priority} alerts</label>`)}
    <p>Sounds are off until asked for, and on one page at a time: the microphone is open.</p>
  </section>`;
}
