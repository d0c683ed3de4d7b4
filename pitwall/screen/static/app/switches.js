/** The switch card: wanted, believed, measured. What differs stands out; the rest stays quiet. */
import { html } from "./html.js";
import { position } from "./words.js";

/** @param {import("./wire").SwitchCard} card */
export function differs(card) {
  const known = card.measured ?? card.believed;
  return known !== null && known !== undefined && known !== card.wanted;
}

/** Of switches that are all as wanted: how many of them anybody has confirmed. @param {import("./wire").SwitchCard[]} cards */
export function allWords(cards) {
  const open = cards.filter((card) => !card.verified).length;
  return !open ? "all as wanted" : open === cards.length ? "as wanted, none verified" : `as wanted, ${open} not verified`;
}

/**
 * What differs comes first and in full; what is as wanted follows in small cells, with a question mark where nobody has
 * confirmed it.
 * @param {{desk: import("./desk.js").Desk, car: string}} props
 */
export function Switches({ desk, car }) {
  const cards = desk.store.desks.get(car)?.switches ?? [];
  const wrong = cards.filter(differs), right = cards.filter((card) => !differs(card));
  return html`<section class="switches" tabindex="0" aria-label="switches">
    <h2>switches${wrong.length ? html` <em>◆ ${wrong.length} differ${wrong.length > 1 ? "" : "s"}</em>`
      : cards.length ? html` <span>${allWords(cards)}</span>` : ""}</h2>
    ${wrong.length ? html`<table>
      <thead><tr><th scope="col">switch</th><th scope="col">wanted</th><th scope="col">believed</th><th scope="col">measured</th></tr></thead>
      <tbody>${wrong.map((card) => html`
        <tr key=${card.switch} class="differs">
          <th scope="row">◆ ${card.word}${card.owed ? " · put-back owed" : ""}</th>
          <td>${position(card.wanted)}</td>
          <td>${position(card.believed)}${card.verified ? "" : " ?"}</td>
          <td>${position(card.measured)}</td>
        </tr>`)}</tbody>
    </table>` : ""}
    <ul class="as-wanted" aria-label="as wanted">${right.map((card) => html`<li key=${card.switch}>
      <span>${card.word}</span> <b>${position(card.wanted)}</b>${card.verified ? "" : html`<i title="not confirmed">?</i>`}</li>`)}</ul>
    ${cards.length === 0 ? html`<p class="empty">This car has no switches in its file.</p>` : ""}
  </section>`;
}
