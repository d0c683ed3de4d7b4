/**
 * Starts the page: asks the server about the session, joins the bus, and draws ten times a second; at once where a call
 * changed or a key was pressed.
 */
import { html, render } from "./html.js";
import { App } from "./app.js";
import { Desk } from "./desk.js";

const DRAW_EVERY_MS = 100;

async function begin() {
  const root = /** @type {HTMLElement} */ (document.getElementById("page"));
  const about = await askServer();
  const desk = new Desk(about);
  let last = -Infinity;
  /** @param {number} now */
  const frame = (now) => {
    if (desk.urgent || now - last >= DRAW_EVERY_MS - 4) {
      last = now;
      render(html`<${App} desk=${desk} />`, root);
      desk.drawn();
    }
    requestAnimationFrame(frame);
  };
  desk.begin();
  requestAnimationFrame(frame);
  // A page that is not seen gets no frames: sounds and the saved sheet must go on all the same.
  setInterval(() => desk.tick(), 1000);
  if ("serviceWorker" in navigator && window.isSecureContext) {
    navigator.serviceWorker.register("keep.js").catch((problem) => console.warn("the sheet is not kept", problem));
  }
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
