/** Why a run of the plan stands as it does: its times with their spread, laps and items, what limits it, what would help. */
import { html, useLayoutEffect, useRef } from "./html.js";
import { clockText, spanText } from "./clock.js";
import { LastRunRows, runWords } from "./last-run.js";
import { isToLeave, TO_COME } from "./plan-line.js";
import { RUN_WORDS, endedAs, percent, timedWords } from "./words.js";

const ITEM_WORDS = { planned: "to come", called: "called", done: "done", probably_done: "probably done", not_done: "not done", dropped: "dropped" };

/** @param {{desk: import("./desk.js").Desk, car: string}} props */
export function RunWhy({ desk, car }) {
  const box = useRef(null);
  useLayoutEffect(() => box.current?.focus(), []);
  const run = desk.store.plans.get(car)?.runs.find((one) => one.run === desk.why);
  const outlook = desk.store.forecasts.get(car)?.outlook, told = outlook?.runs.find((one) => one.run === desk.why);
  const debrief = desk.store.debriefs.get(car), came = run && debrief?.run?.run === run.run && run.state !== "running" ? debrief : null;
  const limits = outlook?.limits.filter((one) => one.run === desk.why) ?? [];
  const compared = outlook?.comparisons.filter((one) => one.run === desk.why || one.against === desk.why) ?? [];
  return html`<div class="over" role="dialog" aria-modal="true" aria-label=${`run ${desk.why}`}><div class="sheet" tabindex="-1" ref=${box}>
    <h2>${desk.why} · car ${car}${run ? ` · ${run.want}${came ? "" : ` · ${RUN_WORDS[endedAs(run)]}${endedAs(run) === "cut" ? `, ${timedWords(run)}` : ""}`}` : ""}</h2>
    ${run ? html`
      ${run.reason ? html`<p>${run.reason}</p>` : ""}
      ${told && TO_COME.includes(run.state) ? html`<${Times} told=${told} run=${run} />` : ""}
      ${outlook?.problem ? html`<p class="caution">▲ ${outlook.problem}</p>` : ""}
      ${[...limits, ...compared].map((one) => html`<p key=${one.text}>◆ ${one.text}</p>`)}
      ${came ? html`<p><b>came in:</b> ${runWords(came)}</p><${LastRunRows} told=${came} />` : html`<${Items} run=${run} told=${told} />`}` : html`<p>This run is not in the plan any more.</p>`}
    <${Offers} desk=${desk} car=${car} />
    <div class="do">${desk.may("advise") ? html`<button onClick=${() => desk.press("v")}><kbd>v</kbd> ask for advice</button>` : ""}
      <button onClick=${() => desk.close()}><kbd>Esc</kbd> close</button></div>
  </div></div>`;
}

function Times({ told, run }) {
  const spare = told.spare_q50_s;
  return html`<table class="times"><tbody>
    <tr><th scope="row">fits</th><td><b>${percent(told.chance)}</b></td></tr>
    <tr><th scope="row">ends</th><td>likely at <b>${clockText(told.end_q50_s)}</b>, between ${clockText(told.end_q10_s)} and ${clockText(told.end_q90_s)} in eight of ten futures</td></tr>
    ${spare != null ? html`<tr><th scope="row">in hand</th><td>${spare >= 0 ? `likely ${spanText(spare)}` : `likely ${spanText(-spare)} short`}${told.spare_q10_s != null && told.spare_q90_s != null
      ? `, from ${signed(told.spare_q10_s)} to ${signed(told.spare_q90_s)}` : ""}</td></tr>` : ""}
    ${told.last_release_s != null && isToLeave(run) ? html`<tr><th scope="row">leave by</th><td><b>${clockText(told.last_release_s)}</b> at the latest</td></tr>` : ""}
    ${told.timed_q50 != null ? html`<tr><th scope="row">timed laps</th><td>likely ${told.timed_q50} of ${Math.max(0, run.timed_wanted - run.timed_done)} to come${told.timed_q10 === told.timed_q90 ? "" : `, from ${told.timed_q10} to ${told.timed_q90}`}</td></tr>` : ""}
  </tbody></table>`;
}

/** @param {number} seconds */
function signed(seconds) {
  return seconds < 0 ? `${spanText(-seconds)} short` : spanText(seconds);
}

function Items({ run, told }) {
  if (!run.items.length) return "";
  const chances = new Map(told?.items.map((/** @type {any} */ one) => [one.item, one.chance]));
  return html`<h3>items</h3><ul class="items">${run.items.map((/** @type {import("./wire").ItemProgress} */ item) => html`
    <li key=${item.item}><b>${item.do.replaceAll("_", " ")}</b> <span>${item.lap} · ${item.want} · ${ITEM_WORDS[item.state]}${item.reason ? `: ${item.reason}` : ""}${["planned", "called"].includes(item.state)
      && chances.has(item.item) ? ` · ${percent(chances.get(item.item))}` : ""}</span></li>`)}</ul>`;
}

/** Changed plans that wait: each can be taken here as it is read. */
function Offers({ desk, car }) {
  const waiting = desk.store.waiting(car);
  if (!waiting.length) return html`<h3>what would help</h3><p class="empty">${desk.store.advice?.problem ?? "No changed plan waits."}</p>`;
  return html`<h3>what would help</h3>${waiting.map((/** @type {import("./wire").Proposal} */ one) => html`<div class="offer" key=${one.id}>
    <p>${one.sentence ?? one.lines.join(" ")}${one.musts_chance != null ? html` The ${desk.store.mustsOfAll()} fit then: <b>${percent(one.musts_chance)}</b>.` : ""}</p>
    ${[...one.costs.map((line) => `costs ${line}`), ...one.warnings.map((line) => `▲ ${line}`)].map((line) => html`<p class="caution" key=${line}>${line}</p>`)}
    ${desk.may("adopt") ? html`<button class="ask" onClick=${() => desk.answer("adopt", one.id)}>adopt</button>` : ""}
    <button onClick=${() => { desk.why = null; desk.looking = one.id; }}>look at it</button></div>`)}`;
}
