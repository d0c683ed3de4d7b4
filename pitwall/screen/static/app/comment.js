/**
 * The comment pad. One key stamps the moment, so that the words can be written after the driver has spoken; free text
 * first, tags afterwards. A usual comment is `n`, the letters of its tags, Enter: `n4eu3` and Enter.
 */
import { html, useLayoutEffect, useRef, useState } from "./html.js";
import { clockText } from "./clock.js";
import { FINDINGS, PHASES, TRENDS, exampleTag, inWords, isTags, lettersOf, noSuchTurn, partsOf, tagged } from "./shorthand.js";

/** @typedef {import("./wire").Comment} Comment */

/** @param {{desk: import("./desk.js").Desk, car: string}} props */
export function CommentPad({ desk, car }) {
  const noted = desk.comments(car), writing = desk.pad.draft !== null, [pad, below] = useBelow();
  return html`<section ref=${pad} class=${`comments${writing ? " writing" : ""}`} tabindex="0" aria-label="comments">
    <h2>comments ${writing || !desk.may("comment") ? "" : html`<button class="small" onClick=${() => desk.press("n")}><kbd>n</kbd> new</button>
      ${noted.length ? html`<button class="small" onClick=${() => desk.press("b")}><kbd>b</kbd> tag the last</button>` : ""}`}</h2>
    ${writing && html`<${Writing} key=${desk.pad.opened} desk=${desk} car=${car} />`}
    ${noted.length > 0 && html`<div class="runs">${byRun(noted, desk.store.desks.get(car)?.run ?? null).map(([run, name, said], at) => html`<div key=${run} class=${said.length ? "" : "nothing"}>
      <h3>${name}${at === 0 && below > 0 && !writing ? html` <b class="below">+${below} more</b>` : ""}</h3><ol>${said.map((one) => html`<${Noted} key=${one.comment} desk=${desk} one=${one} />`)}</ol></div>`)}</div>`}
    ${noted.length === 0 && !writing ? html`<p class="empty">What the driver says is noted here.</p>` : ""}
  </section>`;
}

/** How many comments stand below the edge of their panel: it can be scrolled, and nobody sees that. @returns {[{current: any}, number]} */
function useBelow() {
  const pad = useRef(null), [below, setBelow] = useState(0);
  useLayoutEffect(() => {
    const edge = pad.current?.getBoundingClientRect().bottom ?? 0;
    const hidden = [...(pad.current?.querySelectorAll("li") ?? [])].filter((one) => one.offsetHeight > 0 && one.getBoundingClientRect().bottom > edge);
    setBelow(hidden.length);
  });
  return [pad, below];
}

/** One comment: when and on which lap, what it says in tags, the words: where the line is cut, the tags stand. A press gives it tags. */
function Noted({ desk, one }) {
  const said = html`<span class="when">${clockText(one.t)}</span>
    ${one.remarks.map((/** @type {any} */ remark, /** @type {number} */ at) => html`<b key=${at}>${at ? "; " : ""}${inWords(remark)}</b>`)} ${one.text}
    ${!one.text && !one.remarks.length ? html` <em>its words are still to come</em>` : ""}
    ${one.text && !one.remarks.length ? html` <em>words, not counted</em>` : ""}
    ${one.lap ? html`<span class="when lap">${one.lap}</span>` : ""}`;
  return html`<li>${desk.may("comment") ? html`<button class="noted" onClick=${() => desk.pad.open(one)}>${said}</button>`
    : html`<p class="noted">${said}</p>`}</li>`;
}

/**
 * The comments of this run, and beside them those of the one before: is what was changed any better?
 * @param {Comment[]} noted the newest first @param {string | null} now the run that is on
 * @returns {[string, string, Comment[]][]} run, heading, and what was said on it
 */
export function byRun(noted, now) {
  const names = [...new Set(noted.map((one) => one.run ?? ""))].filter((name) => name !== (now ?? ""));
  const of = (/** @type {string} */ name) => noted.filter((one) => (one.run ?? "") === name);
  const named = (/** @type {string} */ name) => name || "between the runs";
  const mine = of(now ?? "");
  if (!mine.length && names.length > 1) return names.slice(0, 2).map((name) => [name, named(name), of(name)]);
  return [[now ?? "", `now, ${named(now ?? "")}`, mine], ...names.slice(0, 1).map((name) => /** @type {[string, string, any]} */ ([name, `before, ${named(name)}`, of(name)]))];
}

function Writing({ desk, car }) {
  const field = useRef(null), comment = desk.pad.draft, { text, tags } = comment;
  // As the field appears, not a frame later: a hand that had gone on to the tags by then was drawn back into the words.
  useLayoutEffect(() => field.current?.focus(), []);
  const send = (/** @type {any} */ event) => {
    event.preventDefault();
    desk.pad.finish(car);
  };
  const keyed = (/** @type {"text" | "tags"} */ field) => (/** @type {KeyboardEvent} */ event) => choose(desk, field, event);
  const reading = desk.pad.reader.of(comment.toRead()), offers = reading?.offers ?? [], where = comment.tags.trim() ? "tags" : "text";
  const only = isTags(text), typed = comment.typed(), read = tagged(typed);
  const turns = desk.about.turns ?? [], tag = exampleTag(turns), missing = noSuchTurn(read.remarks, turns);
  return html`<form onSubmit=${send}>
    <label>said at ${clockText(comment.t)}${comment.car !== null && comment.car !== car ? ` on car ${comment.car}` : ""}${comment.number ? `, comment ${comment.number}` : ""}
      <input ref=${field} value=${text} maxlength="2000" autocomplete="off" aria-describedby="reads" name="text"
        ...${offering(offers, where === "text", desk.pad.reader.marked)} onKeyDown=${keyed("text")}
        onInput=${(/** @type {any} */ event) => desk.pad.write("text", event.target.value)} /></label>
    <label class="tags">tags
      <input value=${only ? text : tags} disabled=${only} maxlength="120" autocomplete="off" aria-describedby="reads" name="tags"
        ...${offering(offers, where === "tags", desk.pad.reader.marked)} onKeyDown=${keyed("tags")}
        onInput=${(/** @type {any} */ event) => desk.pad.write("tags", event.target.value)} /></label>
    <p id="reads" class="reads" role="status" aria-live="polite">${missing || (reading?.reads ? `reads: ${reading.reads}` : reading?.no_turn ? reading.wrong : read.wrong ? html`<span>the daemon reads this as shorthand; in letters: turn, phase, finding, severity, as in <b>${tag}</b></span>`
      : read.remarks.length ? `reads: ${read.remarks.map(inWords).join("; ")}`
      : comment.either() ? html`<span>read as shorthand where it can be, else kept as words, not counted</span>`
      : html`<span>words, shorthand (<b>t${tag.slice(0, -3)} entry us 3</b>) or letters (<b>${tag}</b>); <kbd>Tab</kbd>: tags to words</span>`)}</p>
    ${offers.length && comment.typed() + text ? html`<${Offers} desk=${desk} field=${where} offers=${offers} />` : ""}
    <${Chips} desk=${desk} field=${only ? "text" : "tags"} />
    <p class="do"><button class="small ask"><kbd>Enter</kbd> keep</button>
      <button class="small" type="button" onClick=${() => desk.close()}><kbd>Esc</kbd> drop</button></p>
  </form>`;
}

/** What a field tells of the words that are offered for it, to whoever hears the page (WAI-ARIA 1.2, combobox). */
function offering(/** @type {any[]} */ offers, /** @type {boolean} */ mine, /** @type {number} */ marked) {
  const open = mine && offers.length > 0;
  return { role: "combobox", "aria-autocomplete": "list", "aria-expanded": String(open), "aria-controls": open ? "offers" : undefined,
    "aria-activedescendant": open ? `offer-${marked}` : undefined };
}

/** The arrow to the right at the end of what is typed takes the marked word, up and down mark another. */
function choose(/** @type {import("./desk.js").Desk} */ desk, /** @type {"text" | "tags"} */ field, /** @type {KeyboardEvent} */ event) {
  const input = /** @type {HTMLInputElement} */ (event.target), typed = desk.pad.draft?.toRead() ?? "", { reader } = desk.pad;
  if (!reader.of(typed)?.offers.length || input.value.trimStart() !== typed || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === "ArrowDown" || event.key === "ArrowUp") reader.mark(typed, event.key === "ArrowDown" ? 1 : -1);
  else if (event.key === "ArrowRight" && input.selectionStart === input.value.length) desk.pad.write(field, reader.taken(typed));
  else return;
  desk.urgent = true;
  event.preventDefault();
}

/** Words that may come next, and what each means. A press leaves the field its focus, and takes one as it ends (WCAG 2.2, 2.5.2). */
function Offers({ desk, field, offers }) {
  const { reader } = desk.pad;
  return html`<ul id="offers" class="offers" role="listbox" aria-label="words that may come next">${offers.map((/** @type {any} */ one, /** @type {number} */ at) => html`
    <li key=${one.word} id=${`offer-${at}`} role="option" aria-selected=${at === reader.marked ? "true" : "false"}
      onMouseDown=${(/** @type {any} */ event) => event.preventDefault()}
      onClick=${() => desk.pad.write(field, reader.taken(desk.pad.draft?.toRead() ?? "", at))}>
      ${at === reader.marked ? html`<kbd>→</kbd> ` : ""}<b>${one.word}</b>${at !== reader.marked || one.meaning === one.word ? "" : html` <span>${one.meaning}</span>`}</li>`)}</ul>`;
}

/** Every tag as a button, for hands on a screen; they change the letters of the last tag. */
function Chips({ desk, field }) {
  // Read at the press: the picture may be a tenth of a second old.
  const read = () => {
    const all = desk.pad.draft[field].split(/([\s,;]+)/), last = all.pop() ?? "";
    return { before: all.join(""), parts: /** @type {any} */ (partsOf(last) ?? {}) };
  };
  const { parts } = read();
  const put = (/** @type {string} */ part, /** @type {any} */ value) => {
    if (!desk.pad.draft) return;
    const now = read();
    desk.pad.write(field, now.before + lettersOf({ ...now.parts, [part]: now.parts[part] === value ? undefined : value }));
  };
  const chip = (/** @type {string} */ part, /** @type {any} */ value, /** @type {string} */ words, key = String(value)) => html`
    <button class="small chip" type="button" tabindex="-1" key=${part + value} aria-pressed=${parts[part] === value}
      onClick=${() => put(part, value)}><kbd>${key}</kbd> ${words}</button>`;
  return html`<div class="chips">
    <div role="group" aria-label="corner phase">${Object.entries(PHASES).map(([key, words]) => chip("phase", key, words))}</div>
    <div role="group" aria-label="finding">${Object.entries(FINDINGS).map(([key, one]) => chip("finding", key, inWords(one)))}</div>
    <div role="group" aria-label="severity">${[1, 2, 3, 4, 5].map((level) => chip("severity", level, ["hardly felt", "felt", "costs time", "costs much", "undriveable"][level - 1]))}</div>
    <div role="group" aria-label="against before">${Object.entries(TRENDS).map(([key, words]) => chip("trend", key, words))}</div>
  </div>`;
}
