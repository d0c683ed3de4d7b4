/** Under a red flag, in the place of the lap: the best plan for a restart at several moments, and work worth doing now. */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { percent } from "./words.js";

/** @param {{desk: import("./desk.js").Desk}} props */
export function Ladder({ desk }) {
  const ladder = desk.store.ladder, now = desk.store.clock.now();
  if (ladder === null) return "";
  return html`<section class="strip ladder" tabindex="0" aria-label="if the session goes on">
    <h2>if it goes on <span>red since ${clockText(Math.max(0, now - ladder.red_s))}; nothing changes without adopt</span></h2>
    <table><tbody>${ladder.rungs.map((rung) => html`<tr key=${rung.restart_s} title=${rung.sentence} class=${rung.at_s < now ? "past" : ""}>
      <th scope="row">after ${Math.round(rung.restart_s / 60)} min</th><td>musts ${percent(rung.musts_chance)}</td>
      <td>${rung.lines.length ? rung.lines.join("; ") : "the plan as it stands"} <span class="more">${losses(rung)}</span></td></tr>`)}</tbody></table>
    ${ladder.work.map((line) => html`<p key=${line}>◆ ${line}</p>`)}
  </section>`;
}

/** What is lost by it, of the sentence on a rung: what it changes stands before it, the chance in a column of its own. */
function losses(/** @type {import("./wire").Rung} */ rung) {
  return rung.lines.length ? rung.sentence.replace(/\.$/, "").split("; ").filter((part) => part.startsWith("lost: ") || part.endsWith("not have fitted")).join("; ") : "";
}
