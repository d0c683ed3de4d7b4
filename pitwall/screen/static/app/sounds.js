/**
 * Sounds of our own, one for each priority, made by the browser itself; off until somebody asks for them, and on one page
 * at a time (the microphone beside it is open). Silencing one alert never mutes a later one.
 */
const SHAPES = {
  high: [[523, 0.16], [0, 0.05], [392, 0.16], [0, 0.05], [523, 0.22]],
  medium: [[440, 0.18], [0, 0.06], [440, 0.18]],
  low: [[330, 0.2]],
};
const LEVEL = 0.12;

export class Sounds {
  constructor() {
    /** @type {Record<string, boolean>} */
    this.on = { high: false, medium: false, low: false };
    /** @type {Set<string>} */
    this.heard = new Set();
    /** @type {AudioContext | null} */
    this.context = null;
    this.me = Math.random().toString(36).slice(2);
    this.others = "BroadcastChannel" in window ? new BroadcastChannel("pitwall.sounds") : null;
    this.others?.addEventListener("message", (event) => {
      if (event.data !== this.me) this.on = { high: false, medium: false, low: false };
    });
  }

  /** @param {string} priority @param {boolean} on */
  turn(priority, on) {
    this.on = { ...this.on, [priority]: on };
    if (!on) return;
    this.others?.postMessage(this.me);
    this.context ??= new AudioContext();
    this.play(priority);
  }

  /** Sound what is new. @param {import("./store.js").Store} store */
  follow(store) {
    const standing = store.standing().filter((alert) => !alert.acknowledged);
    const fresh = standing.filter((alert) => !this.heard.has(alert.id));
    this.heard = new Set(standing.map((alert) => alert.id));
    const loudest = ["high", "medium", "low"].find((priority) => this.on[priority] && fresh.some((alert) => alert.priority === priority));
    if (loudest) this.play(loudest);
  }

  /** @param {string} priority */
  play(priority) {
    if (this.context === null) return;
    const { context } = this, gain = context.createGain(), tone = context.createOscillator();
    gain.gain.value = 0;
    tone.type = "triangle";
    tone.connect(gain).connect(context.destination);
    let at = context.currentTime + 0.02;
    for (const [hertz, seconds] of SHAPES[priority]) {
      if (hertz) tone.frequency.setValueAtTime(hertz, at);
      gain.gain.setTargetAtTime(hertz ? LEVEL : 0, at, 0.012);
      at += seconds;
    }
    gain.gain.setTargetAtTime(0, at, 0.02);
    tone.start();
    tone.stop(at + 0.2);
  }
}
