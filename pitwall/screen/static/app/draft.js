/** A comment that is being written: the moment of its key, its words, its tags; or one that stands already and gets tags. */
import { isTags, tagged, typedOf } from "./shorthand.js";

/** By when they were said, not by when somebody noted them. @param {readonly import("./wire").Comment[]} comments @returns {import("./wire").Comment[]} */
export function newestFirst(comments) {
  return [...comments].sort((a, b) => b.t - a.t || b.comment - a.comment);
}

export class Draft {
  /** @param {number} t session second at which the key stamped it */
  constructor(t) {
    this.t = t;
    this.text = "";
    this.tags = "";
    /** @type {number | null} of one that stands already */
    this.number = null;
    this.was = { text: "", tags: "" };
    /** On which car, once it was to be kept: it may come back while another is shown. @type {string | null} */
    this.car = null;
    /** It has remarks already: what is typed as its words stays words. */
    this.counted = false;
  }

  /** @param {import("./wire").Comment} one @returns {Draft} */
  static of(one) {
    const draft = new Draft(one.t);
    draft.number = one.comment;
    draft.counted = one.remarks.length > 0;
    draft.was = { text: one.text, tags: typedOf(one.remarks) };
    Object.assign(draft, draft.was);
    return draft;
  }

  /** What is typed as tags: the words themselves where they are nothing else. */
  typed() {
    return isTags(this.text) ? this.text : this.tags;
  }

  /** What is to be read as shorthand: tags that are no letters, or the words; nothing where there is none. @returns {string} */
  toRead() {
    const tags = isTags(this.text) ? "" : this.tags.trim();
    return tags && tagged(tags).wrong ? tags : this.either() ? this.text.trimStart() : "";
  }

  /** Words that go to the daemon as shorthand too: it reads them if it can, and keeps them as words if not. */
  either() {
    return this.text.trim() !== "" && !isTags(this.text) && !this.tags.trim() && !this.counted;
  }

  /**
   * What the command says of it. Tags that are no letters are the shorthand, which the daemon reads, or refuses and says
   * why. So is the text where there are no tags; text that it does not read is kept as words. Shorthand alone takes the
   * place of the words too, so words that are to stay go with it.
   * @returns {Record<string, unknown> | null} null where there is nothing to say
   */
  given() {
    const only = isTags(this.text), words = only ? "" : this.text.trim(), tags = this.typed().trim();
    const { remarks, wrong } = tagged(tags), changed = only || tags !== this.was.tags;
    const said = { ...(words && words !== this.was.text && { text: words, ...(this.either() && { shorthand: words }) }),
      ...(changed && tags && (wrong ? { ...(words && { text: words }), shorthand: tags } : { remarks })) };
    return Object.keys(said).length ? { ...(this.number !== null && { comment: this.number }), ...said } : null;
  }
}
