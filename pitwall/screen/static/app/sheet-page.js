/** The grab sheet: what is left of the plan with clock times, for the day the laptop dies. Kept by the browser at every lap. */
import { html } from "./html.js";
import { keptSheet, saveSheet } from "./sheet-store.js";

/** @param {{desk: import("./desk.js").Desk}} props */
export function SheetPage({ desk }) {
  const sheet = keptSheet();
  if (sheet === null) return html`<p class="empty">No sheet yet: it is kept once the plan is known.</p>`;
  return html`<div class="grab">
    <p class="kept">As of ${sheet.asOf} of the session${sheet.wall ? `, written at ${sheet.wall} by this device's clock` : ""}.
      The times move with the session: the session clock decides.
      <button onClick=${() => saveSheet(sheet)}>keep as a file</button> <button onClick=${() => print()}>print</button></p>
    ${sheet.cars.map((car) => html`<section key=${car.car} aria-label=${`car ${car.car}`}>
      <h2>${car.car} ${car.driver}</h2>
      <table><thead><tr><th scope="col">leaves</th><th scope="col">by</th><th scope="col">run</th><th scope="col">want</th><th scope="col">laps</th><th scope="col">tyres, fuel</th><th scope="col">fits</th></tr></thead>
        <tbody>${!car.runs.length && html`<tr><td colspan="7">No run is left to leave.</td></tr>`}${car.runs.map((run) => html`<tr key=${run.run}><td>${run.leaves}</td><td>${run.by}</td><th scope="row">${run.run}</th>
          <td>${run.want}</td><td>${run.laps}</td><td>${run.on ?? ""}</td><td>${run.fits}</td></tr>`)}</tbody></table>
      ${car.calls.length ? html`<h3>calls</h3><ol>${car.calls.map((call) => html`<li key=${call}>${call}</li>`)}</ol>` : ""}
      ${car.switches ? html`<p><b>switches now</b> ${car.switches}</p>` : ""}
    </section>`)}
    <p class="caution">Officials' signals, the event's regulations and the team's release controller come first.</p>
  </div>`;
}
