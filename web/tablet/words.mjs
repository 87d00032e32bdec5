/** Items of a plan in an adult's words. Pure. */

import { partsOf } from "./guide.mjs";

export const SCISSORS =
  "An adult stays beside the child; scissors and small parts. Follow local policy and the plan of care.";
export const NO_SCISSORS = "Drawn along a cutting line with a pen: practice, not cutting.";

export const plural = (count, one, many) => `${count} ${count === 1 ? one : many}`;

const words = (label) => String(label).replaceAll("_", " ");
const short = (mm) => Number(mm.toFixed(2));

/** The single value of a list, or null when its values differ or are none. */
function single(values) {
  const [first] = values;
  return typeof first === "number" && values.every((value) => value === first) ? first : null;
}

function dotsOf({ guide, task }) {
  const { targets_mm, pairs } = guide;
  const radius_mm = single(targets_mm.map(({ radius }) => radius));
  const count = targets_mm.length;
  const what = task.mode === "tap" ? plural(count, "dot to tap", "dots to tap")
    : pairs ? plural(count / 2, "pair of dots to join", "pairs of dots to join")
      : plural(count, "dot to join", "dots to join");
  return [what, radius_mm === null ? null : `${short(2 * radius_mm)} mm across`];
}

/** What is drawn by both hands at once: two lines, or one line while a disc is held. */
function handsOf({ guide }) {
  const held = guide.targets_mm?.[0];
  return held ? `a disc ${short(2 * held.radius)} mm across to hold` : "two lines at once";
}

function roomOf({ guide }) {
  const widths = partsOf(guide).map(({ corridor_mm }) =>
    (Array.isArray(corridor_mm) ? single(corridor_mm) : corridor_mm));
  const width_mm = single(widths);
  return width_mm === null ? null : `${short(width_mm / 2)} mm each side`;
}

function sizeOf(item) {
  const { mode } = item.task;
  if (mode === "tap" || mode === "join") return dotsOf(item);
  if (mode === "both") return [handsOf(item), roomOf(item)];
  return [mode === "cut" ? "a cutting line" : null, roomOf(item)];
}

/**
 * An item in an adult's words: what there is to draw, its size, hand and direction.
 *
 * @param {object} item  plan item
 * @returns {string}  such as "6 mm each side · right hand · left to right"
 */
export function describe(item) {
  const { hand, direction } = item.condition ?? {};
  return [
    ...(item.guide ? sizeOf(item) : []),
    hand && (hand === "free" ? "either hand" : hand === "both" ? "both hands" : `${hand} hand`),
    direction && direction !== "none" ? words(direction) : null,
  ].filter(Boolean).join(" · ");
}

const OBSTACLES = {
  too_large: "too large for this screen",
  two_fingers: "needs two fingers at once, which this screen does not tell apart",
  pressure: "needs a pen that reports pressure",
  no_guide: "not for a tablet",
};

/** Why an item is not offered, from `obstacle` in day.mjs. */
export const whyLeftOut = (why) => OBSTACLES[why] ?? "not for this tablet";

/** What an adult must know before these items are begun, each sentence once. */
export function cautionsOf(items) {
  const said = items.flatMap(({ task }) => [
    ...(task.cautions ?? []), ...(task.mode === "cut" ? [SCISSORS, NO_SCISSORS] : []),
  ]);
  return [...new Set(said)];
}
