/** The frame around every page: what is wrong with the link, which car, which page, and the line for the person here. */
import { html } from "./html.js";
import { Head } from "./head.js";
import { Help } from "./help.js";
import { LogIn } from "./login.js";
import { goneReason, isOld } from "./old.js";
import { DeskPage } from "./desk-page.js";
import { GaragePage } from "./garage-page.js";
import { SheetPage } from "./sheet-page.js";
import { TeamPage } from "./team-page.js";

/** @typedef {import("./desk.js").Desk} Desk */

const VIEWS = { desk: DeskPage, team: TeamPage, garage: GaragePage, sheet: SheetPage };

/** @param {{desk: Desk}} props */
export function App({ desk }) {
  const View = VIEWS[desk.page] ?? DeskPage;
  if (desk.linkState === "login") return html`<${LogIn} desk=${desk} />`;
  return html`
    <div class=${`frame page-${desk.page}${isOld(desk) ? " is-old" : ""}`}>
      <a class="skip" href="#main">to the call</a>
      <${Gone} desk=${desk} />
      <${Head} desk=${desk} />
      <main id="main" tabindex="-1"><${View} desk=${desk} /></main>
      <${Foot} desk=${desk} />
      ${desk.helping && html`<${Help} desk=${desk} />`}
    </div>`;
}

/** A band over everything when what is shown is not the present: which of the three it is, and since when. */
function Gone({ desk }) {
  const reason = goneReason(desk);
  return html`<div class=${`gone${reason ? "" : " none"}`} role="alert">${reason && html`
    <b>OLD</b><span>${reason} Nothing below is live. Go on by the printed or saved sheet.</span>
    <a href=${`#/sheet/${desk.car() ?? ""}`}>sheet</a>`}</div>`;
}

/** @param {{desk: Desk}} props */
function Foot({ desk }) {
  const line = desk.line(), done = desk.takingBack.recent(), undo = desk.undoable(), notes = desk.store.notes.slice(-2).reverse();
  return html`
    <footer>
      <div><div class="said-here" role="status" aria-live="polite">
        ${line ? html`<span class=${line.bad ? "bad" : ""}>${line.bad ? "✕ " : ""}${line.text}</span>`
          : done ? html`<span>${done.words}</span>
              ${undo ? html`<button class="small" onClick=${() => desk.press("u")}><kbd>u</kbd> take back</button>` : ""}` : ""}
      </div>
      ${line || done ? "" : html`<p class="rights">${desk.rights.words()}</p>`}</div>
      <ol class="notes" aria-label="what the daemon answered last">
        ${notes.map((note) => html`<li key=${note.because + note.t} class=${note.bad ? "bad" : ""}>
          ${note.bad ? "✕ " : ""}${note.car ? `${note.car}: ` : ""}${inWords(note.text, desk)}</li>`)}
      </ol>
      <nav aria-label="pages">
        ${["desk", "team", "garage", "sheet"].map((page) => html`
          <a key=${page} href=${`#/${page}/${desk.car() ?? ""}`} aria-current=${desk.page === page ? "page" : null}>${page}</a>`)}
        <button class="small" onClick=${() => desk.nextTheme()}><kbd>t</kbd> ${desk.theme}</button>
        <button class="small" onClick=${() => desk.press("?")}><kbd>?</kbd> keys</button>
      </nav>
    </footer>`;
}

/** An answer with the words of each call in the place of its id. @param {string} text @param {{store: import("./store.js").Store}} desk */
export function inWords(text, { store }) {
  let shown = text;
  for (const [call, words] of [...store.words].filter(([id]) => text.includes(id)).sort(([a], [b]) => b.length - a.length)) {
    // An id is no part of another one: a later attempt has its number behind it. (Old phones know no look behind.)
    const id = new RegExp(`(^|[^\\w:/-])'?${call.replace(/[.*+?^${}()|[\]\\]/g, "\\$&")}'?(?![\\w/~-]|:\\w)`, "g");
    shown = shown.replace(id, (_, before) => `${before}“${words}”`);
  }
  return shown;
}
