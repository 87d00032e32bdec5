/** The legs of an item: what is drawn from a start to a stop, by which hand. */

import { dotsOf, outlineOf, partsOf, targetsOf } from "./guide.mjs";
import { pairOf, pairsOf } from "./signs.mjs";

const nameOf = ({ task }) => task.task_id ?? task.name ?? "";

const same = ([x0, y0], [x1, y1]) => x0 === x1 && y0 === y1;

/** Right and left as such; anything else is not known. */
export const oneHand = (hand) => (hand === "left" || hand === "right" ? hand : null);

function legOf(guide, parts, pair, hand) {
  const { start, stop } = targetsOf({ ...guide, parts });
  const stretches = parts.map(outlineOf);
  return { stretches, start, stop, pair, hand: oneHand(hand), meet: same(start.at_mm, stop.at_mm) };
}

function joined(dots, pair, hand) {
  return {
    stretches: [dots.map(({ at_mm }) => at_mm)], start: dots[0], stop: dots[dots.length - 1],
    pair, hand: oneHand(hand), meet: false,
  };
}

/** Two lines for two hands: the left hand has the one at the left. */
function forBothHands(guide, parts, pair) {
  const middle = ({ points_mm }) => points_mm.reduce((sum, [x]) => sum + x, 0) / points_mm.length;
  const leftmost = parts.reduce((best, part) => (middle(part) < middle(best) ? part : best));
  return parts.map((part) => legOf(guide, [part], pair, part === leftmost ? "left" : "right"));
}

/**
 * What there is to be drawn. Dots that are tapped have no legs.
 *
 * @param {object} item  plan item
 * @param {string} [hand]  left, right or anything else
 * @returns {object[]}  legs `{stretches, start, stop, pair, hand, meet}`: polylines one after
 *   the other, both targets, names of their drawings, `meet` when both ends are one place [mm]
 */
export function legsOf(item, hand = item.condition?.hand) {
  const { guide, task: { mode } } = item;
  const pair = pairOf(nameOf(item));
  if (mode === "tap") return [];
  if (mode === "join") {
    const dots = dotsOf(guide);
    if (dots.length < 2) return [];
    if (guide.pairs !== true) return [joined(dots, pair, hand)];
    const count = Math.floor(dots.length / 2);
    // Level with its dot, a drawing cannot be taken for the next pair's: that is worth more here
    // than that it is in sight while the hand lands.
    return pairsOf(nameOf(item), count).map((own, i) =>
      joined(dots.slice(2 * i, 2 * i + 2), own, null));
  }
  const parts = partsOf(guide);
  if (parts.length === 0) return [];
  if (mode === "both" && parts.length > 1) return forBothHands(guide, parts, pair);
  return [legOf(guide, parts, pair, hand)];
}

/** The drawing that stands by dots to tap. */
export const signOf = (item) => pairOf(nameOf(item))[0];
