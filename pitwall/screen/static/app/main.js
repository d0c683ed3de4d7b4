/**
 * Starts the page: asks the server about the session, joins the bus, and draws ten times a second; at once where a call
 * changed or a key was pressed.
 */
import { html, render } from "./html.js";
import { App } from "./app.js";
import { Desk } from "./desk.js";

const DRAW_EVERY_MS = 100;

async function begin() {
  let root = /** @type {HTMLElement} */ (document.getElementById("page"));
  const about = await askServer();
  const desk = new Desk(about);
  let last = -Infinity, failed = "";
  /** @param {number} now */
  const frame = (now) => {
    requestAnimationFrame(frame);
    if (!desk.urgent && now - last < DRAW_EVERY_MS - 4) return;
    last = now;
    desk.drawn();
    try {
      render(html`<${App} desk=${desk} />`, root);
      if (failed) failed = tellFailure("");
    } catch (problem) {
      // A picture that stands still must not look like one that lives: begin anew, and say so until it draws again.
      root = fresh(root);
      if (String(problem) !== failed) failed = tellFailure(String(problem));
    }
  };
  desk.begin();
  requestAnimationFrame(frame);
  // A page that is not seen gets no frames: sounds and the saved sheet must go on all the same.
  setInterval(() => desk.tick(), 1000);
  if ("serviceWorker" in navigator && window.isSecureContext) {
    navigator.serviceWorker.register("keep.js").catch((problem) => console.warn("the sheet is not kept", problem));
  }
}

/** An empty place for the page where the old one is: what was half drawn is of no use. @param {HTMLElement} root */
function fresh(root) {
  const empty = /** @type {HTMLElement} */ (root.cloneNode(false));
  root.replaceWith(empty);
  return empty;
}

/** The band over a page that cannot draw what it was sent. @param {string} problem nothing: it can again */
function tellFailure(problem) {
  const band = /** @type {HTMLElement} */ (document.getElementById("failed"));
  band.hidden = problem === "";
  band.textContent = problem ? "OLD  This page cannot draw what it was sent, and tries again. Use another page, watch, or the saved sheet." : "";
  if (problem) console.warn("not drawn", problem);
  return problem;
}

/** What the server tells of the session; what it told last time where it does not answer. */
async function askServer() {
  try {
    const answer = await fetch("about.json", { cache: "no-store" });
    if (!answer.ok) throw new Error(`about.json: ${answer.status}`);
    const about = await answer.json();
    localStorage.setItem("pitwall.about", JSON.stringify(about));
    return about;
  } catch {
    const kept = localStorage.getItem("pitwall.about");
    return kept ? JSON.parse(kept) : { session: "", cars: [], event: "", version: "", logins: false, read: [] };
  }
}

begin();
