/** Whether what is shown is the present, and if not, why not and since when. */
import { clockText } from "./clock.js";

/** @typedef {import("./desk.js").Desk} Desk */

/** @param {Desk} desk */
export function isOld(desk) {
  return desk.linkState !== "up" || desk.rights.whyBlind() !== "" || desk.store.clock.old() || desk.store.health?.state === "offline";
}

/** @param {Desk} desk */
export function goneReason(desk) {
  const { store } = desk, age = store.clock.age();
  const since = Number.isFinite(age) ? ` for ${clockText(age)}` : "";
  if (desk.rights.whyBlind()) return `${desk.rights.whyBlind()}.`;
  if (desk.linkState === "refused") return `${desk.linkWhy}.`;
  if (desk.linkState === "none") return store.clock.state === null ? "" : "Connecting again.";
  if (desk.linkState === "down") return `No link to the bus${since}: trying again every second.`;
  if (store.health?.state === "offline") return "The daemon has gone offline. Start it again: it goes on where it was.";
  if (store.health === null && store.clock.state === null) return "";
  if (store.clock.old()) return `The daemon's clock has not spoken${since || " yet"}.`;
  return "";
}
