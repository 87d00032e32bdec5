/** Where the drawings of both ends stand: beside the path, where a line does not cover them. */

import { outlineOf, partsOf, targetsOf, widthsOf } from "./guide.mjs";

const SIDE_MM = 13;
const GAP_MM = 1;

/** Unit vector out of the path at one of its ends. */
function outwards(points, atStart) {
  const [end, next] = atStart
    ? [points[0], points[1]] : [points[points.length - 1], points[points.length - 2]];
  const [x, y] = [end[0] - next[0], end[1] - next[1]];
  const length = Math.hypot(x, y) || 1;
  return [x / length, y / length];
}

/** Distance from a point to the edge of the corridor, below 0 inside it. [mm] */
function clearance(guide, [x, y]) {
  let least = Infinity;
  for (const part of partsOf(guide)) {
    const widths = widthsOf(part);
    const points = outlineOf(part);
    for (let i = 1; i < points.length; i += 1) {
      const [[x0, y0], [x1, y1]] = [points[i - 1], points[i]];
      const [dx, dy] = [x1 - x0, y1 - y0];
      const share = ((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy || 1);
      const t = Math.min(1, Math.max(0, share));
      const distance = Math.hypot(x - x0 - t * dx, y - y0 - t * dy);
      least = Math.min(least, distance - Math.max(widths[i - 1], widths[i]) / 2);
    }
  }
  return least;
}

function placeOf(guide, target, { out: [ux, uy], side }, room, taken) {
  const half = SIDE_MM / 2;
  const width_mm = Math.max(...partsOf(guide).flatMap(widthsOf));
  const away = Math.max(target.radius_mm * Math.SQRT2, width_mm / 2) + half + GAP_MM;
  // Straight on first, then to either side, then slantwise.
  for (const degrees of [0, 90, -90, 45, -45, 135, -135]) {
    const angle = (side * degrees * Math.PI) / 180;
    const [c, s] = [Math.cos(angle), Math.sin(angle)];
    const at = [
      target.at_mm[0] + away * (ux * c - uy * s), target.at_mm[1] + away * (ux * s + uy * c),
    ];
    const onScreen = at[0] - half >= room.left && at[0] + half <= room.right
      && at[1] - half >= room.top && at[1] + half <= room.bottom;
    const apart = taken.every(([x, y]) => Math.hypot(x - at[0], y - at[1]) > SIDE_MM);
    if (onScreen && apart && clearance(guide, at) >= half) return { at_mm: at, side_mm: SIDE_MM };
  }
  // No room beside it: small, inside the target.
  return { at_mm: target.at_mm, side_mm: 1.4 * target.radius_mm };
}

/**
 * @param {object} guide
 * @param {{left: number, top: number, right: number, bottom: number}} room  the screen [mm]
 * @returns {{start: object, stop: object}}  each `{at_mm, side_mm}`
 */
export function signPlaces(guide, room) {
  const parts = partsOf(guide);
  const { start, stop } = targetsOf(guide);
  const last = outlineOf(parts[parts.length - 1]);
  // Turned opposite ways, so that both drawings of a level line stand above it.
  const atStart = { out: outwards(outlineOf(parts[0]), true), side: 1 };
  const atStop = { out: outwards(last, false), side: -1 };
  const first = placeOf(guide, start, atStart, room, [stop.at_mm]);
  const second = placeOf(guide, stop, atStop, room, [start.at_mm, first.at_mm]);
  return { start: first, stop: second };
}
