/** The ways that a drawing glides to show a child where to go: places along polylines. */

import { dotsOf } from "./guide.mjs";
import { legsOf, signOf } from "./legs.mjs";

/** Distance of two places. */
export const apart = ([x0, y0], [x1, y1]) => Math.hypot(x1 - x0, y1 - y0);

const lengthOf = (points) =>
  points.slice(1).reduce((sum, point, i) => sum + apart(points[i], point), 0);

/** Length of polylines one after the other, gaps left out. [mm] */
export const totalOf = (stretches) =>
  stretches.reduce((sum, points) => sum + lengthOf(points), 0);

/**
 * Place at `s_mm` along polylines one after the other, the last end when they are shorter.
 *
 * @param {number[][][]} stretches  [mm]
 * @param {number} s_mm
 * @returns {{at_mm: number[], along: number[], stretch: number, to_end_mm: number}}  place,
 *   unit vector, which polyline, and how far its nearer end is
 */
export function placeOn(stretches, s_mm) {
  let left_mm = Math.max(0, s_mm);
  for (const [stretch, points] of stretches.entries()) {
    const length_mm = lengthOf(points);
    if (left_mm > length_mm && stretch < stretches.length - 1) {
      left_mm -= length_mm;
      continue;
    }
    const into_mm = Math.min(left_mm, length_mm);
    const to_end_mm = Math.min(into_mm, length_mm - into_mm);
    return { ...onPolyline(points, into_mm), stretch, to_end_mm };
  }
  return null;
}

function onPolyline(points, into_mm) {
  let left_mm = into_mm;
  let found = null;
  for (let i = 1; i < points.length; i += 1) {
    const [[x0, y0], [x1, y1]] = [points[i - 1], points[i]];
    const length_mm = Math.hypot(x1 - x0, y1 - y0);
    if (length_mm === 0) continue;
    const [tx, ty] = [(x1 - x0) / length_mm, (y1 - y0) / length_mm];
    const step_mm = Math.min(left_mm, length_mm);
    found = { at_mm: [x0 + step_mm * tx, y0 + step_mm * ty], along: [tx, ty] };
    if (left_mm <= length_mm) break;
    left_mm -= length_mm;
  }
  return found ?? { at_mm: points[0], along: [1, 0] };
}

/** Dots in their order, a new polyline where a new row begins. */
function rowsOf(dots, rightwards) {
  const rows = [];
  for (const { at_mm } of dots) {
    const row = rows[rows.length - 1];
    const onwards = row && (at_mm[0] - row[row.length - 1][0]) * rightwards > 0;
    if (onwards) row.push(at_mm);
    else rows.push([at_mm]);
  }
  return rows.filter((row) => row.length > 1);
}

/**
 * What glides, and where: one way a hand, each `{stretches, signs}` with a drawing a stretch.
 *
 * Dots to tap have a way only when they are asked in reading order; any order has none.
 *
 * @param {object} item  plan item
 */
export function waysOf(item) {
  const legs = legsOf(item);
  if (item.task.mode === "tap") {
    const rightwards = { left_to_right: 1, right_to_left: -1 }[item.condition?.direction];
    const stretches = rightwards ? rowsOf(dotsOf(item.guide), rightwards) : [];
    return stretches.length ? [{ stretches, signs: stretches.map(() => signOf(item)) }] : [];
  }
  const ways = legs.map(({ stretches, pair }) =>
    ({ stretches, signs: stretches.map(() => pair[0]) }));
  if (item.task.mode === "both") return ways;
  // One hand: one leg after the other.
  const stretches = ways.flatMap((way) => way.stretches);
  return stretches.length ? [{ stretches, signs: ways.flatMap((way) => way.signs) }] : [];
}
