/** A comment that is being written: the moment of its key, its words, its tags; or one that stands already and gets tags. */
import { isTags, tagged, typedOf } from "./shorthand.js";

export class Draft {
  /** @param {number} t session second at which the key stamped it */
  constructor(t) {
    this.t = t;
    this.text = "";
    this.tags = "";
    /** @type {number | null} of one that stands already */
    this.number = null;
    this.was = { text: "", tags: "" };
  }

  /** @param {import("./wire").Comment} one @returns {Draft} */
  static of(one) {
    const draft = new Draft(one.t);
    draft.number = one.comment;
    draft.was = { text: one.text, tags: typedOf(one.remarks) };
    Object.assign(draft, draft.was);
    return draft;
  }

  /** What is typed as tags: the words themselves where they are nothing else. */
  typed() {
    return isTags(this.text) ? this.text : this.tags;
  }

  /**
   * What the command says of it. Tags that are no letters are the shorthand, which the daemon reads, or refuses and says why.
   * @returns {Record<string, unknown> | null} null where there is nothing to say
   */
  given() {
    const only = isTags(this.text), words = only ? "" : this.text.trim(), tags = this.typed().trim();
    const { remarks, wrong } = tagged(tags), changed = only || tags !== this.was.tags;
    const said = { ...(words && words !== this.was.text && { text: words }),
      ...(changed && tags && (wrong ? { shorthand: tags } : { remarks })) };
    return Object.keys(said).length ? { ...(this.number !== null && { comment: this.number }), ...said } : null;
  }
}
