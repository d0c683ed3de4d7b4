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
    /** Sent and not answered yet, by the command's id: refused, it is opened again, for nothing typed is lost. @type {Map<string, Draft>} */
    this.sent = new Map();
    /** Refused while another was being written. @type {Draft[]} */
    this.unkept = [];
    /** How often a field was opened: each one is another field. */
    this.opened = 0;
    this.reader = new Reader(() => { desk.urgent = true; });
  }

  /** The key stamps the moment; the words come later. */
  begin() {
    this.show(new Draft(this.desk.store.clock.now()));
    return true;
  }

  /** Into a field of its own, which takes the focus. @param {Draft} draft */
  show(draft) {
    this.draft = draft;
    this.opened += 1;
  }

  /** A comment that stands gets tags, or other words. @param {import("./wire").Comment} one */
  open(one) {
    if (this.desk.may("comment")) this.show(Draft.of(one));
  }

  /** One that was refused; else the one that was noted last, whenever it was said. @param {string} car */
  openLast(car) {
    const unkept = this.unkept.pop();
    if (unkept) {
      this.show(unkept);
      return true;
    }
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

  /** It leaves its field at once, for the next key is a command; it is kept once it is known how it reads. @param {string} car */
  async finish(car) {
    const { draft } = this, typed = draft?.toRead();
    if (draft === null) return;
    const whose = draft.car ??= car;
    this.desk.close();
    if (typed && this.reader.of(typed) === null) await this.reader.read(typed);
    this.keep(whose, draft);
  }

  /** Send it with the moment at which the key stamped it; an empty one is dropped. @param {string} car @param {Draft} draft */
  keep(car, draft) {
    const said = draft.given(), reading = this.reader.of(draft.toRead());
    if (said === null) return;
    const wrong = noSuchTurn(tagged(draft.typed()).remarks, this.desk.about.turns ?? []) || (reading?.no_turn ? reading.wrong : "");
    if (wrong) {
      this.reopen(draft, wrong);
      return;
    }
    const id = this.desk.send(car, { command: "comment", ...said }, "comment noted", draft.number === null ? draft.t : undefined);
    if (id === null) this.reopen(draft);
    else this.sent.set(id, draft);
  }

  /** Back into its field; where another is being written it waits for `b`. @param {Draft} draft @param {string} [why] where it was not told yet */
  reopen(draft, why) {
    const busy = this.draft !== null;
    if (busy) this.unkept.push(draft);
    else this.show(draft);
    if (why) this.desk.say(busy ? `${why}; b opens that comment again` : why, true);
    this.desk.urgent = true;
  }

  /** @param {any} message any of the daemon's: the answer to a comment is one of them */
  hear(message) {
    const draft = this.sent.get(message?.because);
    if (draft === undefined || !["answered", "refused"].includes(message.type)) return;
    this.sent.delete(message.because);
    if (message.type === "refused") this.reopen(draft, message.reason);
  }
}
