/** Where drawings stand: beside what is drawn, and where neither line nor hand covers them. */

import { outlineOf, partsOf, targetsOf, widthsOf } from "./guide.mjs";

const SIDES_MM = [13, 10];
const GAP_MM = 1;
// Straight on first, then to either side, then slantwise.
const TURNS = [0, 90, -90, 45, -45, 135, -135];
// Where none of these is free, every direction and a little further off.
const FINER = [0, ...[22.5, 45, 67.5, 90, 112.5, 135, 157.5].flatMap((turn) => [turn, -turn])];
const FURTHER_MM = [0, 4, 8, 12];
// Level with a pen's point is seen for longer than below it; a hidden drawing is better than
// one under the line.
const TRIES = [
  ...["level too", "below"].map((shy) => ({ shy, turns: TURNS, further_mm: [0] })),
  ...["level too", "below"].map((shy) => ({ shy, turns: FINER, further_mm: FURTHER_MM })),
  { shy: "not", turns: TURNS, further_mm: [0] },
].flatMap(({ shy, turns, further_mm }) => further_mm.flatMap((more_mm) =>
  SIDES_MM.flatMap((side_mm) => turns.map((degrees) => ({ shy, side_mm, more_mm, degrees })))));
// Beside dots, a drawing must be clearly nearer to its own.
const NEARER = 1.25;

/** Unit vector out of a polyline at one of its ends. */
function outwards(points, atStart) {
  const [end, next] = atStart
    ? [points[0], points[1]] : [points[points.length - 1], points[points.length - 2]];
  const [x, y] = [end[0] - next[0], end[1] - next[1]];
  const length = Math.hypot(x, y) || 1;
  return [x / length, y / length];
}

function distanceTo([x0, y0], [x1, y1], [x, y]) {
  const [dx, dy] = [x1 - x0, y1 - y0];
  const share = ((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy || 1);
  const t = Math.min(1, Math.max(0, share));
  return Math.hypot(x - x0 - t * dx, y - y0 - t * dy);
}

/** Distance from a point to the nearest corridor's edge, below 0 inside it. [mm] */
export function clearance(parts, at_mm) {
  let least = Infinity;
  for (const part of parts) {
    const widths = widthsOf(part);
    const points = outlineOf(part);
    for (let i = 1; i < points.length; i += 1) {
      const half = Math.max(widths[i - 1], widths[i]) / 2;
      least = Math.min(least, distanceTo(points[i - 1], points[i], at_mm) - half);
    }
  }
  return least;
}

/**
 * Whether a drawing in direction `[dx, dy]` from a pen's point lies under the hand that
 * holds it: below, and on the hand's own side. Without a pen (undefined) nothing does.
 */
function underHand([dx, dy], hand, shy) {
  const onOwnSide = hand === "left" ? -dx : dx;
  const degrees = (Math.atan2(dy, onOwnSide) * 180) / Math.PI;
  if (shy === "not" || hand === undefined) return false;
  if (hand === null) return degrees > 20 && degrees < 160;
  return degrees > (shy === "level too" ? -20 : 20) && degrees < 115;
}

/**
 * Everything that a drawing must keep clear of.
 *
 * @typedef {object} Harbour
 * @property {{left: number, top: number, right: number, bottom: number}} room  screen [mm]
 * @property {object[]} parts  lines with their corridors
 * @property {{at_mm: number[], radius_mm: number}[]} discs  dots and targets
 * @property {{at_mm: number[], side_mm: number}[]} signs  drawings that stand already
 */

function isFree({ room, parts, discs, signs }, target, at_mm, side_mm) {
  const half = side_mm / 2;
  const [x, y] = at_mm;
  const far = (point) => Math.hypot(point[0] - x, point[1] - y);
  const others = discs.filter((disc) => String(disc.at_mm) !== String(target.at_mm));
  const own_mm = NEARER * far(target.at_mm);
  return x - half >= room.left && x + half <= room.right
    && y - half >= room.top && y + half <= room.bottom
    && signs.every((sign) => far(sign.at_mm) > Math.max(side_mm, sign.side_mm))
    && others.every((disc) => far(disc.at_mm) >= Math.max(disc.radius_mm + half + GAP_MM, own_mm))
    && clearance(parts, at_mm) >= half + GAP_MM - 1e-9;
}

/**
 * A free place beside a target, or null.
 *
 * @param {Harbour} harbour
 * @param {{at_mm: number[], radius_mm: number}} target
 * @param {{out: number[], side: 1|-1, hand: "left"|"right"|null|undefined}} way  unit vector
 *   straight on, which side is tried first, whose hand must not cover it: null for either,
 *   undefined where nobody draws
 */
export function freePlace(harbour, target, { out: [ux, uy], side, hand }) {
  const width_mm = Math.max(0, ...harbour.parts.flatMap(widthsOf));
  const clear_mm = Math.max(target.radius_mm * Math.SQRT2, width_mm / 2) + GAP_MM;
  for (const { shy, side_mm, more_mm, degrees } of TRIES) {
    const angle = (side * degrees * Math.PI) / 180;
    const [c, s] = [Math.cos(angle), Math.sin(angle)];
    const [dx, dy] = [ux * c - uy * s, ux * s + uy * c];
    const away = clear_mm + side_mm / 2 + more_mm;
    const at_mm = [target.at_mm[0] + away * dx, target.at_mm[1] + away * dy];
    if (underHand([dx, dy], hand, shy)) continue;
    if (isFree(harbour, target, at_mm, side_mm)) return { at_mm, side_mm };
  }
  return null;
}

/** Beside a target or, where there is no room, small and inside it. */
export const placeOf = (harbour, target, way) =>
  freePlace(harbour, target, way) ?? { at_mm: target.at_mm, side_mm: 1.4 * target.radius_mm };

/**
 * Places of both drawings of one leg.
 *
 * @param {Harbour} harbour
 * @param {object} leg  from `legsOf`
 * @returns {{start: object, stop: object}}  each `{at_mm, side_mm}`
 */
export function legPlaces(harbour, { stretches, start, stop, hand, meet }) {
  // Turned opposite ways, so that both drawings of a level line stand above it.
  const atStart = { out: outwards(stretches[0], true), side: 1, hand };
  const atStop = { out: outwards(stretches[stretches.length - 1], false), side: -1, hand };
  const first = placeOf(harbour, start, atStart);
  const second = placeOf({ ...harbour, signs: [...harbour.signs, first] }, stop, atStop);
  // Where both ends are one place, the better one is for the stop.
  return meet ? { start: second, stop: first } : { start: first, stop: second };
}

/**
 * @param {object} guide  one line from its start to its stop
 * @param {{left: number, top: number, right: number, bottom: number}} room  the screen [mm]
 * @param {"left"|"right"|null} hand
 * @returns {{start: object, stop: object}}  each `{at_mm, side_mm}`
 */
export function signPlaces(guide, room, hand = null) {
  const parts = partsOf(guide);
  const { start, stop } = targetsOf(guide);
  const harbour = { room, parts, discs: [start, stop], signs: [] };
  const meet = String(start.at_mm) === String(stop.at_mm);
  return legPlaces(harbour, { stretches: parts.map(outlineOf), start, stop, hand, meet });
}
