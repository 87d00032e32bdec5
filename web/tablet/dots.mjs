/** Dots, true to size: portholes to tap, posts to join, a disc to hold. */

import { circle, ring, signAt } from "./ends.mjs";
import { freePlace, placeOf } from "./places.mjs";
import { drawing, element, rounded } from "./signs.mjs";

const THIN_MM = 0.7;

/** A round window: its frame, the water behind it, and a glint. */
export function porthole({ at_mm: [x, y], radius_mm: r }) {
  const [glint, wide] = [rounded(0.52 * r), rounded(Math.max(0.5, 0.13 * r))];
  const from = `M${rounded(x - glint)} ${rounded(y)}`;
  return element("g", { class: "porthole" }, [
    ring({ at_mm: [x, y], radius_mm: r }, rounded(Math.max(0.9, 0.18 * r))),
    element("path", {
      class: "glint", "stroke-width": wide,
      d: `${from}A${glint} ${glint} 0 0 1 ${rounded(x)} ${rounded(y - glint)}`,
    }),
  ]);
}

/** A bollard seen from above. */
export const post = (dot) =>
  element("g", { class: "post" }, [
    ring(dot, THIN_MM), circle(dot.at_mm, rounded(0.45 * dot.radius_mm), { class: "head" }),
  ]);

/** What one hand holds still: a coil of rope on a flat disc, no ring and no window. */
export const hold = (disc) =>
  element("g", { class: "hold" }, [
    ring(disc, THIN_MM), drawing("coil", disc.at_mm, 1.7 * disc.radius_mm),
  ]);

/** Above the middle of all dots, else beside the last one. */
function placeBy(dots, harbour, hand) {
  const xs = dots.map(({ at_mm }) => at_mm[0]);
  const top = Math.min(...dots.map(({ at_mm }) => at_mm[1]));
  const middle = (Math.min(...xs) + Math.max(...xs)) / 2;
  const { radius_mm } = dots[0];
  const way = { out: [0, -1], side: 1, hand };
  return freePlace(harbour, { at_mm: [middle, top], radius_mm }, way)
    ?? placeOf(harbour, dots[dots.length - 1], way);
}

/** The one drawing by the portholes, on a ground that answers. */
export function lookout(sign, dots, harbour, hand) {
  const at = placeBy(dots, harbour, hand);
  return element("g", { class: "quay answers" }, [
    circle(at.at_mm, rounded(0.7 * at.side_mm), { class: "ground" }), signAt(sign, at, " leaves"),
  ]);
}
