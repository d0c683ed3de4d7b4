/** Under a red flag, in the place of the lap: the best plan for a restart at several moments, and work worth doing now. */
import { html } from "./html.js";
import { clockText } from "./clock.js";
import { percent } from "./words.js";

/** @param {{desk: import("./desk.js").Desk}} props */
export function Ladder({ desk }) {
  const ladder = desk.store.ladder, now = desk.store.clock.now();
  if (ladder === null) return "";
  return html`<section class="strip ladder" tabindex="0" aria-label="if the session goes on">
    <h2><b>if it goes on</b> <span>red since ${clockText(Math.max(0, now - ladder.red_s))}; how likely the ${desk.store.mustsOfAll()} fit; nothing changes without adopt</span></h2>
    <table><tbody>${ladder.rungs.map((rung, at) => html`<tr key=${rung.restart_s} title=${rung.sentence} class=${rung.at_s < now && !rung.too_late ? "past" : ""}>
      <th scope="row">${rung.too_late ? `from ${clockText(rung.at_s)} on` : `at ${clockText(rung.at_s)}`}</th><td><span class="unseen">${desk.store.mustsOfAll()} </span><b>${percent(rung.musts_chance)}</b></td>
      <td>${firstOf(rung, ladder.rungs) < at ? html`<span class="more">the same as at ${clockText(ladder.rungs[firstOf(rung, ladder.rungs)].at_s)}</span>`
        : html`${rung.lines.length ? rung.lines.join("; ") : "the plan as it stands"} <span class="more">${losses(rung)}</span>`}</td></tr>`)}</tbody></table>
    ${workAhead(ladder.rungs, now).map((rung) => html`<p key=${rung.restart_s}>◆ <b>for a restart at ${clockText(rung.at_s)}</b> ${lower(rung.work)}</p>`)}
  </section>`;
}

/** The first rung that changes and loses the same. @param {import("./wire").Rung} one @param {import("./wire").Rung[]} rungs */
function firstOf(one, rungs) {
  return rungs.findIndex((other) => one.lines.join() === other.lines.join() && losses(one) === losses(other));
}

/**
 * The first rung that is still ahead for each garage work: what it brings differs from rung to rung, the work does not.
 * @param {import("./wire").Rung[]} rungs @param {number} now
 */
export function workAhead(rungs, now) {
  const found = new Map();
  for (const rung of rungs) {
    const work = rung.work?.split(":")[0];
    if (work && !(rung.at_s < now) && !found.has(work)) found.set(work, rung);
  }
  return [...found.values()];
}

/** @param {string} sentence */
function lower(sentence) {
  return sentence[0].toLowerCase() + sentence.slice(1);
}

/** What is lost by it, of the sentence on a rung: what it changes stands before it, the chance in a column of its own. */
function losses(/** @type {import("./wire").Rung} */ rung) {
  return rung.lines.length ? rung.sentence.replace(/\.$/, "").split("; ").filter((part) => part.startsWith("lost: ") || part.endsWith("not have fitted")).join("; ") : "";
}
