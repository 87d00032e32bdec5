/** What an adult should know before a child draws, in sentences. Pure. */

import { plural } from "./words.mjs";

const SCALE = {
  never: "The scale of this screen is not checked yet. Until then tries are flagged and have no lengths in millimetres.",
  zoomed: "The page is zoomed, or on another screen than when its scale was checked. Until it is checked again, tries are flagged and have no lengths in millimetres.",
  turned: "The tablet is held another way than when its scale was checked. The scale still counts; check it before a child draws.",
  old: "The scale was last checked more than a week ago. It still counts; check it when there is a minute.",
};
const OPEN =
  "This page came over an open connection. Drawing works, but the browser gives fewer points of each line, and every try is flagged. Use the https address.";
const NOTHING_KEPT =
  "This browser keeps nothing when the page closes (a private window?). Keep it open until everything is sent.";
const FULL =
  "The tablet's storage is full. Keep this page open until everything is sent, then make room.";
const NEARLY_FULL =
  "The tablet's storage is nearly full. What is drawn next may not be kept: make room first, or let the tablet send what waits.";
const MAY_CLEAR =
  "This browser may clear what waits here when space runs short. Put this page on the home screen, and send everything before the day ends.";

const interrupted = (count) => (count === 1
  ? "One try was interrupted when the page closed. It was kept."
  : `${plural(count, "try", "tries")} were interrupted when the page closed. They were kept.`);

/** What stands in the way of keeping what is drawn, the worst first; "" if nothing does. */
function keeping({ lasting, unsaved, room, persisted }) {
  if (!lasting) return NOTHING_KEPT;
  if (unsaved) return FULL;
  if (room === "full") return NEARLY_FULL;
  return persisted === false ? MAY_CLEAR : "";
}

/**
 * @param {object} tablet
 * @param {boolean} tablet.secure  whether the page came over a safe connection
 * @param {null|"never"|"zoomed"|"turned"|"old"} tablet.scale_why
 * @param {boolean} tablet.lasting  whether the browser keeps anything at all
 * @param {boolean} tablet.unsaved  whether something could not be saved
 * @param {"room"|"full"} tablet.room
 * @param {boolean|null} tablet.persisted  whether the browser promised to clear nothing
 * @param {number} tablet.recovered  tries that were cut short when the page closed
 * @returns {string[]} one sentence or two each
 */
export function noticesOf({ secure, scale_why, recovered, ...kept }) {
  return [
    recovered > 0 ? interrupted(recovered) : "",
    keeping(kept),
    SCALE[scale_why] ?? "",
    secure ? "" : OPEN,
  ].filter(Boolean);
}

/**
 * How long this tablet works without the server; "" when it does not.
 *
 * @param {object} tablet
 * @param {boolean} tablet.cached  whether the page itself is kept
 * @param {boolean} tablet.lasting
 * @param {number|null} tablet.until_ms  when the plans run out [ms since 1970]
 * @param {number} tablet.now_ms
 */
export function readinessOf({ cached, lasting, until_ms, now_ms }) {
  if (!cached || !lasting || until_ms === null || until_ms <= now_ms) return "";
  return `This tablet works without the server until ${whenSaid(until_ms, now_ms)}.`;
}

function whenSaid(until_ms, now_ms) {
  const until = new Date(until_ms);
  const time = until.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  if (until.toDateString() === new Date(now_ms).toDateString()) return `${time} today`;
  const day = until.toLocaleDateString("en-GB", { weekday: "long", day: "numeric", month: "long" });
  return `${time} on ${day}`;
}
