/** A guide's geometry in millimetres: parts, dots, ends and bounds. */

// A target without a size of its own is at least this large, so that a child can hit it.
const LEAST_RADIUS_MM = 5;
// A line that turns by more at one point has a corner there; points along a curve turn by less.
const CORNER = (40 * Math.PI) / 180;

/** Parts of a guide, each `{points_mm, closed, corridor_mm}`, a repeated last point dropped. */
export function partsOf(guide) {
  const { points_mm = null, closed, corridor_mm } = guide;
  const parts = guide.parts ?? (points_mm === null ? [] : [{ points_mm, closed, corridor_mm }]);
  return parts.map(asPart);
}

function asPart({ points_mm, closed = false, corridor_mm = null }) {
  const [first, last] = [points_mm[0], points_mm[points_mm.length - 1]];
  const repeated =
    closed && points_mm.length > 2 && first[0] === last[0] && first[1] === last[1];
  return {
    points_mm: repeated ? points_mm.slice(0, -1) : points_mm,
    closed,
    corridor_mm: Array.isArray(corridor_mm) && repeated ? corridor_mm.slice(0, -1) : corridor_mm,
  };
}

/** Points of a part as drawn: a closed one returns to its first. */
export const outlineOf = ({ points_mm, closed }) =>
  closed ? [...points_mm, points_mm[0]] : points_mm;

/** By how much a line turns at `b`, coming from `a` and going to `c`. [rad] */
export function turnAt([ax, ay], [bx, by], [cx, cy]) {
  const [ux, uy, vx, vy] = [bx - ax, by - ay, cx - bx, cy - by];
  return Math.abs(Math.atan2(ux * vy - uy * vx, ux * vx + uy * vy));
}

/** Numbers of the points of a part that are corners; ends of an open part are none. */
export function cornersOf({ points_mm, closed }) {
  const count = points_mm.length;
  return points_mm.flatMap((point, i) => {
    const isEnd = !closed && (i === 0 || i === count - 1);
    const [before, after] = [points_mm[(i + count - 1) % count], points_mm[(i + 1) % count]];
    return !isEnd && turnAt(before, point, after) > CORNER ? [i] : [];
  });
}

/** Full width at every point of `outlineOf(part)`, 0 without a corridor. [mm] */
export function widthsOf(part) {
  const { corridor_mm, points_mm, closed } = part;
  const widths = Array.isArray(corridor_mm)
    ? corridor_mm
    : points_mm.map(() => corridor_mm ?? 0);
  return closed ? [...widths, widths[0]] : widths;
}

/** Dots to tap, to join or to hold, in the asked order, each `{at_mm, radius_mm}`. */
export const dotsOf = ({ targets_mm }) =>
  [...(targets_mm ?? [])]
    .sort((a, b) => a.order - b.order)
    .map(({ x, y, radius }) => ({ at_mm: [x, y], radius_mm: radius }));

/** Centres and radii of the two targets of one part. [mm] */
export function endsOf(part, { start_radius_mm, stop_radius_mm }) {
  const outline = outlineOf(part);
  const widths = widthsOf(part);
  const target = (at, radius_mm) => ({
    at_mm: outline[at], radius_mm: radius_mm ?? Math.max(LEAST_RADIUS_MM, widths[at] / 2),
  });
  return { start: target(0, start_radius_mm), stop: target(outline.length - 1, stop_radius_mm) };
}

/** Both targets of a whole guide: of its first and last part, or its first and last dot. [mm] */
export function targetsOf(guide) {
  const ends = partsOf(guide).map((part) => endsOf(part, guide));
  if (ends.length > 0) return { start: ends[0].start, stop: ends[ends.length - 1].stop };
  const dots = dotsOf(guide);
  return { start: dots[0], stop: dots[dots.length - 1] };
}

/** Smallest box that holds corridors, targets and dots with `margin_mm` around. [mm] */
export function boxOf(guide, margin_mm = 1) {
  const box = { left: Infinity, top: Infinity, right: -Infinity, bottom: -Infinity };
  const add = ([x, y], radius_mm) => {
    const reach = radius_mm + margin_mm;
    box.left = Math.min(box.left, x - reach);
    box.top = Math.min(box.top, y - reach);
    box.right = Math.max(box.right, x + reach);
    box.bottom = Math.max(box.bottom, y + reach);
  };
  for (const part of partsOf(guide)) {
    const widths = widthsOf(part);
    part.points_mm.forEach((point, i) => add(point, widths[i] / 2));
    for (const { at_mm, radius_mm } of Object.values(endsOf(part, guide))) add(at_mm, radius_mm);
  }
  for (const { at_mm, radius_mm } of dotsOf(guide)) add(at_mm, radius_mm);
  const { left, top, right, bottom } = box;
  return { x: left, y: top, width: right - left, height: bottom - top };
}

/** A stop target is a square: it counts as far as it is drawn. */
export const insideSquare = ({ at_mm, radius_mm }, x_mm, y_mm) =>
  Math.max(Math.abs(x_mm - at_mm[0]), Math.abs(y_mm - at_mm[1])) <= radius_mm;
