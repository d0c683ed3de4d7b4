/** The engineer's page for one car: what to say, how long there is, whether the plan is good, whether anything is wrong. */
import { html } from "./html.js";
import { Alerts } from "./alerts.js";
import { CommentPad } from "./comment.js";
import { PlanLine } from "./plan-line.js";
import { Proposals } from "./proposals.js";
import { Queue } from "./queue.js";
import { RunWhy } from "./run-why.js";
import { Say } from "./say.js";
import { Ladder } from "./ladder.js";
import { LastRunCard, lastRun } from "./last-run.js";
import { LapStrip } from "./strip.js";
import { Switches } from "./switches.js";

/** @param {{desk: import("./desk.js").Desk}} props */
export function DeskPage({ desk }) {
  const car = desk.car();
  if (car === null || !desk.store.desks.has(car)) return html`<p class="empty">Nothing is known of a car yet.</p>`;
  const shown = desk.mark.of(desk.store, car);
  // Where there is no lap to be shown its place goes to the words: briefs in the garage are long.
  const below = desk.store.ladder !== null ? "ladder" : desk.store.desks.get(car)?.running_lap ? "lap" : null;
  const told = below === null ? lastRun(desk.store, car) : null;
  const comments = html`<${CommentPad} desk=${desk} car=${car} />`, writing = desk.pad.draft !== null;
  // What is being written comes after the call for whoever goes from part to part, as it does on a phone for the eye.
  return html`
    <div class="desk-grid">
      <${Say} desk=${desk} car=${car} prompt=${shown && (isOpen(shown) || shown === desk.store.unsaidNews(car)) ? shown : null} high=${below === null} />
      ${writing ? comments : ""}
      <div class="side">
        <${Alerts} desk=${desk} car=${car} />
        <${Queue} desk=${desk} car=${car} shown=${shown} />
        <${Switches} desk=${desk} car=${car} />
      </div>
      ${below === "ladder" ? html`<${Ladder} desk=${desk} />` : below === "lap" ? html`<${LapStrip} desk=${desk} car=${car} prompt=${shown} />`
        : told ? html`<${LastRunCard} desk=${desk} car=${car} told=${told} short=${shown !== null && isOpen(shown)} />` : ""}
      <${PlanLine} desk=${desk} car=${car} />
      ${writing ? "" : comments}
      ${desk.looking !== null && html`<${Proposals} desk=${desk} car=${car} />`}
      ${desk.why !== null && desk.looking === null && html`<${RunWhy} desk=${desk} car=${car} />`}
    </div>`;
}

/** @param {import("./wire").Prompt} prompt */
function isOpen(prompt) {
  return ["shown", "due", "said", "late"].includes(prompt.state);
}
