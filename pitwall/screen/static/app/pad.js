/**
 * The comment that is being written: it is begun or opened, takes what is typed, is read meanwhile, and sent or dropped.
 */
import { Draft } from "./draft.js";
import { Reader } from "./reader.js";
import { noSuchTurn, tagged } from "./shorthand.js";

export class Pad {
  /** @param {import("./desk.js").Desk} desk */
  constructor(desk) {
    this.desk = desk;
    /** @type {Draft | null} */
    this.draft = null;
    /** The last one that was sent: refused, it is opened again, for nothing typed is lost. @type {{id: string, draft: Draft} | null} */
    this.sent = null;
    this.reader = new Reader(() => { desk.urgent = true; });
  }

  /** The key stamps the moment; the words come later. */
  begin() {
    this.draft = new Draft(this.desk.store.clock.now());
    return true;
  }

  /** A comment that stands gets tags, or other words. @param {import("./wire").Comment} one */
  open(one) {
    if (this.desk.may("comment")) this.draft = Draft.of(one);
  }

  /** The one that was noted last, whenever it was said. @param {string} car */
  openLast(car) {
    const last = this.desk.store.desks.get(car)?.comments.at(-1);
    if (last) this.open(last);
    else this.desk.say(`no comment on car ${car} yet`, true);
    return true;
  }

  /** One of its fields changed. @param {"text" | "tags"} field @param {string} text */
  write(field, text) {
    if (this.draft === null) return;
    this.draft[field] = text;
    const typed = this.draft.toRead();
    if (typed) this.reader.read(typed);
    this.desk.urgent = true;
  }

  /**
   * A key that came before the field had the focus belongs to it: never to a command.
   * @param {KeyboardEvent} event @param {string | null} car
   */
  typed(event, car) {
    const { text } = /** @type {Draft} */ (this.draft);
    if (event.key === "Enter" && car !== null) this.finish(car);
    else if (event.key === "Backspace") this.write("text", text.slice(0, -1));
    else if (event.key.length === 1) this.write("text", text + event.key);
    else return;
    event.preventDefault();
  }

  /** Keep it once it is known how it reads, for a turn that is not there is refused. @param {string} car */
  async finish(car) {
    const { draft } = this, typed = draft?.toRead();
    if (typed && this.reader.of(typed) === null) await this.reader.read(typed);
    if (draft !== null && draft === this.draft) this.keep(car, draft);
  }

  /** Send it with the moment at which the key stamped it; an empty one is dropped. @param {string} car @param {Draft} draft */
  keep(car, draft) {
    const said = draft.given(), reading = this.reader.of(draft.toRead());
    const wrong = noSuchTurn(tagged(draft.typed()).remarks, this.desk.about.turns ?? []) || (reading?.no_turn ? reading.wrong : "");
    if (wrong) {
      this.desk.say(wrong, true);
      return;
    }
    const wish = { command: "comment", ...said };
    const id = said === null ? "" : this.desk.send(car, wish, "comment noted", draft.number === null ? draft.t : undefined);
    if (id === null) return;
    this.sent = { id, draft };
    this.desk.close();
  }

  /** @param {import("./wire").Refused} refused */
  refused(refused) {
    if (this.sent === null || refused.because !== this.sent.id) return;
    this.draft ??= this.sent.draft;
    this.desk.say(refused.reason, true);
  }
}
