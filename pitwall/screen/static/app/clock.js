/**
 * The daemon's clock, followed from its messages. The browser's wall clock is never asked: it may be wrong by hours.
 * Between two messages the monotonic clock of the page carries on at the session's rate.
 */

/** Real seconds without a word from the daemon's clock after which the time shown is old. It speaks once a second. */
export const OLD_AFTER_S = 4;
/** In a long break it speaks every five seconds. */
export const OLD_IN_BREAK_S = 14;

export class DaemonClock {
  /** @param {() => number} monotonic milliseconds that never go back */
  constructor(monotonic = () => performance.now()) {
    this.monotonic = monotonic;
    /** @type {import("./wire").ClockState | null} */
    this.state = null;
    this.heard = -Infinity;
    this.anchor = 0;
    this.base = 0;
    this.latest = -Infinity;
  }

  /**
   * One message of the clock. One that was retained may be old: it counts from when the next one comes.
   * @param {import("./wire").ClockState} state
   * @param {boolean} retained
   */
  take(state, retained) {
    const now = this.now();
    // A message that was held up on its way must not turn time back by a hair; a true step back is far.
    const behind = Number.isFinite(now) && state.t < now && now - state.t < 2 * Math.max(1, state.rate);
    this.state = state;
    this.heard = retained ? -Infinity : this.monotonic();
    this.anchor = this.monotonic();
    this.base = behind ? now : state.t;
    if (!behind) this.latest = -Infinity;
  }

  /** Session seconds now; not a number before the first word. */
  now() {
    if (this.state === null) return NaN;
    const gone = (this.monotonic() - this.anchor) / 1000;
    const limit = this.limit();
    const t = this.base + Math.min(gone, limit) * this.state.rate;
    this.latest = Math.max(this.latest, t);
    return this.latest;
  }

  limit() {
    return this.state !== null && this.state.status === "waiting" ? OLD_IN_BREAK_S : OLD_AFTER_S;
  }

  /** Seconds of the session that are left now, never below zero; null when nothing is known. */
  remaining() {
    const state = this.state;
    if (state === null) return null;
    const gone = state.running ? this.now() - state.t : 0;
    return Math.max(0, state.remaining_s - gone);
  }

  /** When the flag falls if nothing stops the clock; of a session that has not begun its length after its green light, which is at zero. */
  flag() {
    const now = Number.isFinite(this.now()) ? this.now() : 0;
    if (this.state?.status === "finished" || this.state?.status === "closed") return now;  // fallen, whatever a stopped clock shows
    return (this.state?.status === "waiting" ? Math.max(0, now) : now) + (this.remaining() ?? 0);
  }

  /** Real seconds since the daemon's clock last spoke. */
  age() {
    return (this.monotonic() - this.heard) / 1000;
  }

  /** True when what is shown may not be taken for the present. */
  old() {
    return this.state === null || this.age() > this.limit();
  }
}

/**
 * `41:07`, `1:02:30`, `-0:05`: whole seconds, as a stopwatch would show them.
 * @param {number | null | undefined} seconds
 */
export function clockText(seconds) {
  if (seconds === null || seconds === undefined || !Number.isFinite(seconds)) return "–";
  const sign = seconds < 0 ? "-" : "";
  const whole = Math.floor(Math.abs(seconds) + 1e-6);
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  const hours = Math.floor(whole / 3600), minutes = Math.floor(whole / 60) % 60;
  return hours ? `${sign}${hours}:${two(minutes)}:${two(whole % 60)}` : `${sign}${minutes}:${two(whole % 60)}`;
}

/**
 * A lap time as the trade writes it: `1:29.345`.
 * @param {number | null | undefined} seconds
 */
export function lapText(seconds) {
  if (seconds === null || seconds === undefined || !Number.isFinite(seconds)) return "–";
  const minutes = Math.floor((seconds + 0.0005) / 60);
  return `${minutes}:${(Math.max(0, seconds - 60 * minutes)).toFixed(3).padStart(6, "0")}`;
}

/**
 * A span in words for a sentence: `12 s`, `2:05`.
 * @param {number} seconds
 */
export function spanText(seconds) {
  return Math.abs(seconds) < 100 ? `${Math.round(seconds)} s` : clockText(seconds);
}
