/**
 * The link to the bus: one MQTT client over the WebSocket of the page's own origin.
 *
 * Nothing old may look live: a command is only sent while the link stands, never kept for later; on each new link the
 * retained topics come again, and what was known and does not come again is forgotten.
 */
import mqtt from "../vendor/mqtt.js";

export const ROOT = "pitwall/1";
const KEEPALIVE_S = 5;
const AGAIN_AFTER_MS = 1000;
const ANSWER_WITHIN_MS = 4000;

/**
 * @typedef {object} Told
 * @property {string} session
 * @property {string[]} cars
 * @property {string} event
 * @property {string} version
 * @property {boolean} logins
 * @property {number[]} [turns] the turns of the circuit; none where nobody numbered them
 * @property {string[]} read the topic filters of everything that the daemon says
 */

export class Link {
  /**
   * @param {Told} about what the server told of the session
   * @param {{take: (rest: string, message: any, retained: boolean) => void, link: (state: string, why: string) => void,
   *          again: (who: {name?: string, token?: string}) => void}} to
   */
  constructor(about, to) {
    this.about = about;
    this.to = to;
    this.state = "none";
    /** @type {any} */
    this.client = null;
    this.count = 0;
    this.mark = `s${Math.random().toString(36).slice(2, 10)}`;
  }

  /** @param {{name?: string, token?: string}} [who] */
  start(who = {}) {
    this.stop();
    const base = `${this.about.session}/`;
    const url = new URL("mqtt", location.href);
    url.protocol = url.protocol === "https:" ? "wss:" : "ws:";
    url.hash = "";
    const client = mqtt.connect(url.href, {
      clientId: `screen-${this.mark}`, clean: true, keepalive: KEEPALIVE_S, protocolVersion: 4,
      reconnectPeriod: AGAIN_AFTER_MS, timerVariant: "native", connectTimeout: ANSWER_WITHIN_MS, queueQoSZero: false,
      username: who.name || undefined, password: who.token || undefined, resubscribe: false,
    });
    this.client = client;
    client.on("connect", () => {
      this.to.again(who);
      client.subscribe(this.about.read, { qos: 1 }, (/** @type {any} */ error) => {
        this.tell(error ? "refused" : "up", error ? "the broker does not let this user read the session" : "");
      });
    });
    client.on("message", (/** @type {string} */ topic, /** @type {Uint8Array} */ payload, /** @type {any} */ packet) => {
      this.hear(topic.slice(ROOT.length + 1 + base.length), payload, packet.retain);
    });
    client.on("error", (/** @type {any} */ error) => {
      if (error.code === 4 || error.code === 5) {
        this.tell("login", error.code === 4 || who.name ? "name or token is wrong" : "this broker asks for a name and a token");
        client.end(true);
      }
    });
    client.on("close", () => {
      if (this.state !== "login") this.tell("down", "the bus does not answer");
    });
  }

  stop() {
    this.client?.end(true);
    this.client = null;
  }

  /** @param {string} rest @param {Uint8Array} payload @param {boolean} retained */
  hear(rest, payload, retained) {
    if (payload.length === 0) {
      this.to.take(rest, null, retained);
      return;
    }
    try {
      this.to.take(rest, JSON.parse(new TextDecoder().decode(payload)), retained);
    } catch (problem) {
      console.warn(`${rest}: not taken`, problem);
    }
  }

  /** @param {string} state @param {string} why */
  tell(state, why) {
    this.state = state;
    this.to.link(state, why);
  }

  /**
   * Send one command, now or not at all.
   * @param {string} car
   * @param {number} t session seconds when it happened
   * @param {Record<string, unknown>} values
   * @returns {string | null} its id; null when there is no link
   */
  command(car, t, values) {
    if (this.state !== "up" || !this.client?.connected || !Number.isFinite(t)) return null;
    this.count += 1;
    const id = `${this.mark}-${this.count}`;
    const body = JSON.stringify({ type: "command_given", id, t: Math.round(t * 1000) / 1000, car, ...values });
    this.client.publish(`${ROOT}/${this.about.session}/desk/${car}/command`, body, { qos: 1 });
    return id;
  }
}
