/**
 * The grab sheet as plain words, kept in the browser each time a lap or the plan moves on. Opened without the server it
 * still shows (a service worker hands out the page where the browser allows one: on this machine, or over TLS); as a file
 * of its own it opens anywhere.
 */
import { clockText } from "./clock.js";
import { boardWord, position } from "./words.js";

const KEY = "pitwall.sheet";
const LEAST_MS = 5000;
let keptAt = -Infinity, keptFor = "";

/**
 * @typedef {{asOf: string, wall: string, session: string, cars: {car: string, driver: string, switches: string,
 *   runs: {leaves: string, by: string, run: string, want: string, laps: string, on: string, fits: string}[], calls: string[]}[]}} Sheet
 */

/** @param {import("./store.js").Store} store @param {import("./link.js").Told} about */
export function keepSheet(store, about) {
  const mark = `${store.isOver()}` + store.cars().map((car) => `${car}/${store.desks.get(car)?.lap_number}/${store.plans.get(car)?.revision}/${store.forecasts.get(car)?.id}`).join();
  if (!store.cars().length || store.clock.old() || performance.now() - keptAt < LEAST_MS || mark === keptFor) return;
  keptAt = performance.now();
  keptFor = mark;
  localStorage.setItem(KEY, JSON.stringify(sheetOf(store, about)));
}

/** @returns {Sheet | null} */
export function keptSheet() {
  const kept = localStorage.getItem(KEY);
  return kept ? JSON.parse(kept) : null;
}

/** @param {import("./store.js").Store} store @param {import("./link.js").Told} about @returns {Sheet} */
export function sheetOf(store, about) {
  return {
    asOf: clockText(store.clock.now()), wall: new Date().toTimeString().slice(0, 5), session: about.session,
    cars: store.cars().map((car) => {
      const state = store.desks.get(car), plan = store.plans.get(car), outlook = store.forecasts.get(car)?.outlook;
      const left = leftOf(plan?.runs ?? [], store.isOver());
      return {
        car, driver: [state?.driver ?? "", boardWord(state)].filter(Boolean).join(", "),
        switches: (state?.switches ?? []).map((card) => `${card.word} ${position(card.wanted)}${card.verified ? "" : " ?"}`).join(" · "),
        runs: left.map((run) => {
          const told = outlook?.runs.find((one) => one.run === run.run);
          return {
            run: run.run, want: run.want, laps: lapsText(run.laps), leaves: run.state === "running" ? "on track" : clockText(run.expected_span_s?.[0]),
            by: told?.last_release_s != null ? clockText(told.last_release_s) : "–",
            on: leavesOn(run, state?.driver),
            fits: told ? `${Math.round(100 * told.chance)} %` : "–",
          };
        }),
        calls: [...store.open(car).filter((p) => p.state !== "said"), ...store.toCome(car, true)]
          .sort((a, b) => a.say_from_s - b.say_from_s).slice(0, 30).map((p) => `${clockText(p.say_from_s)} ${p.text}`),
      };
    }),
  };
}

/** Runs that are still to leave, or are on track; once the session is over nobody leaves any more. @param {import("./wire").RunProgress[]} runs @param {boolean} over */
export function leftOf(runs, over) {
  return runs.filter((run) => (over ? ["running"] : ["planned", "next", "running", "cut"]).includes(run.state));
}

/** On what a run leaves: tyre set, fuel, and the driver where it is not who sits in the car. @param {import("./wire").RunProgress} run @param {string | null} [driver] */
export function leavesOn(run, driver) {
  return [run.tyres, run.fuel_kg == null ? "" : `${run.fuel_kg} kg`, run.driver && run.driver !== driver ? run.driver : ""].filter(Boolean).join(", ");
}

/** `out, 3 timed, in` of a list of lap kinds. @param {readonly string[]} laps */
export function lapsText(laps) {
  /** @type {[string, number][]} */
  const parts = [];
  for (const kind of laps) {
    const before = parts[parts.length - 1];
    if (before && before[0] === kind) before[1] += 1;
    else parts.push([kind, 1]);
  }
  return parts.map(([kind, count]) => (count > 1 || kind === "timed" ? `${count} ${kind}` : kind)).join(", ");
}

/** A file that opens anywhere, with nothing from elsewhere in it. @param {Sheet} sheet */
export function saveSheet(sheet) {
  const page = document.implementation.createHTMLDocument(`${sheet.session}, as of ${sheet.asOf}`);
  const add = (/** @type {Element} */ to, /** @type {string} */ tag, /** @type {string} */ text) => {
    const made = page.createElement(tag);
    made.textContent = text;
    to.append(made);
    return made;
  };
  add(page.head, "style", "body{font:16px sans-serif;margin:1em}table{border-collapse:collapse}td,th{border:1px solid;padding:.2em .5em;text-align:left}");
  add(page.body, "p", `${sheet.session}, as of ${sheet.asOf} of the session, written at ${sheet.wall}. The session clock decides.`);
  for (const car of sheet.cars) {
    add(page.body, "h2", `${car.car} ${car.driver}`);
    const table = add(page.body, "table", "");
    const rows = [["leaves", "by", "run", "want", "laps", "tyres, fuel", "fits"], ...car.runs.map((run) => [run.leaves, run.by, run.run, run.want, run.laps, run.on ?? "", run.fits])];
    for (const cells of rows) {
      const row = add(table, "tr", "");
      for (const cell of cells) add(row, "td", cell);
    }
    for (const call of car.calls) add(page.body, "p", call);
    if (car.switches) add(page.body, "p", `switches now: ${car.switches}`);
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([`<!doctype html>${page.documentElement.outerHTML}`], { type: "text/html" }));
  link.download = `${sheet.session}-sheet.html`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
