/** A guide's geometry in millimetres: parts, ends, bounds, and how much of it is drawn. */

/** Parts of a guide, each `{points_mm, closed, corridor_mm}`, a repeated last point dropped. */
export function partsOf(guide) {
  const parts = guide.parts ?? [
    { points_mm: guide.points_mm, closed: guide.closed ?? false, corridor_mm: guide.corridor_mm },
  ];
  return parts.map(({ points_mm, closed = false, corridor_mm = null }) => {
    const [first, last] = [points_mm[0], points_mm[points_mm.length - 1]];
    const repeated =
      closed && points_mm.length > 2 && first[0] === last[0] && first[1] === last[1];
    return {
      points_mm: repeated ? points_mm.slice(0, -1) : points_mm,
      closed,
      corridor_mm: Array.isArray(corridor_mm) && repeated ? corridor_mm.slice(0, -1) : corridor_mm,
    };
  });
}

/** Points of a part as drawn: a closed one returns to its first. */
export const outlineOf = ({ points_mm, closed }) =>
  closed ? [...points_mm, points_mm[0]] : points_mm;

/** Full width at every point of `outlineOf(part)`, 0 without a corridor. [mm] */
export function widthsOf(part) {
  const { corridor_mm, points_mm, closed } = part;
  const widths = Array.isArray(corridor_mm)
    ? corridor_mm
    : points_mm.map(() => corridor_mm ?? 0);
  return closed ? [...widths, widths[0]] : widths;
}

/** Centres and radii of both targets. [mm] */
export function targetsOf(guide) {
  const parts = partsOf(guide);
  const last = outlineOf(parts[parts.length - 1]);
  const radius = (given, width) => given ?? Math.max(5, (width ?? 0) / 2);
  const firstWidths = widthsOf(parts[0]);
  const lastWidths = widthsOf(parts[parts.length - 1]);
  return {
    start: { at_mm: parts[0].points_mm[0], radius_mm: radius(guide.start_radius_mm, firstWidths[0]) },
    stop: {
      at_mm: last[last.length - 1],
      radius_mm: radius(guide.stop_radius_mm, lastWidths[lastWidths.length - 1]),
    },
  };
}

/** Smallest box that holds corridor and targets with `margin_mm` around. [mm] */
export function boxOf(guide, margin_mm = 1) {
  const box = { left: Infinity, top: Infinity, right: -Infinity, bottom: -Infinity };
  const add = ([x, y], reach) => {
    box.left = Math.min(box.left, x - reach);
    box.top = Math.min(box.top, y - reach);
    box.right = Math.max(box.right, x + reach);
    box.bottom = Math.max(box.bottom, y + reach);
  };
  for (const part of partsOf(guide)) {
    const widths = widthsOf(part);
    part.points_mm.forEach((point, i) => add(point, widths[i] / 2 + margin_mm));
  }
  const { start, stop } = targetsOf(guide);
  for (const { at_mm, radius_mm } of [start, stop]) add(at_mm, radius_mm + margin_mm);
  const { left, top, right, bottom } = box;
  return { x: left, y: top, width: right - left, height: bottom - top };
}

/** The stop target is a square, drawn as large as it counts. */
export function insideStop(guide, x_mm, y_mm) {
  const { at_mm, radius_mm } = targetsOf(guide).stop;
  return Math.max(Math.abs(x_mm - at_mm[0]), Math.abs(y_mm - at_mm[1])) <= radius_mm;
}

/** Place and direction at `s_mm` along a guide's first part, its end when that is shorter. */
export function pointAlong(guide, s_mm) {
  const points = outlineOf(partsOf(guide)[0]);
  let left_mm = s_mm;
  let found = null;
  for (let i = 1; i < points.length && left_mm >= 0; i += 1) {
    const [[x0, y0], [x1, y1]] = [points[i - 1], points[i]];
    const length_mm = Math.hypot(x1 - x0, y1 - y0);
    const [tx, ty] = [(x1 - x0) / length_mm, (y1 - y0) / length_mm];
    const step_mm = Math.min(left_mm, length_mm);
    found = { at: [x0 + step_mm * tx, y0 + step_mm * ty], along: [tx, ty] };
    left_mm -= length_mm;
  }
  return found;
}

/** Points every `step_mm` or less along a guide, with the part each belongs to. */
function beads(guide, step_mm) {
  const found = [];
  partsOf(guide).forEach((part, index) => {
    const outline = outlineOf(part);
    for (let i = 1; i < outline.length; i += 1) {
      const [[x0, y0], [x1, y1]] = [outline[i - 1], outline[i]];
      const length_mm = Math.hypot(x1 - x0, y1 - y0);
      const count = Math.max(1, Math.ceil(length_mm / step_mm));
      for (let k = 0; k < count; k += 1) {
        const share = (k + 0.5) / count;
        found.push({
          x: x0 + share * (x1 - x0), y: y0 + share * (y1 - y0),
          length_mm: length_mm / count, part: index,
        });
      }
    }
  });
  return found;
}

/**
 * Rough share of a guide that has been drawn, only to tell when an attempt may end.
 *
 * Each sample marks the nearest stretch of guide. Stretches passed between two samples of
 * one stroke are marked too, when they lie close together. The report measures coverage
 * anew and properly.
 */
export class Progress {
  constructor(guide, { step_mm = 2, reach_mm = 30, capture_mm = 20 } = {}) {
    this.beads = beads(guide, step_mm);
    this.drawn = this.beads.map(() => false);
    this.reach_mm = reach_mm;
    this.capture_mm = capture_mm;
    this.wraps = this.beads.length > 0 && partsOf(guide).length === 1 && partsOf(guide)[0].closed;
    this.restart();
  }

  restart() {
    this.drawn.fill(false);
    this.seen = 0;
    this.last = null;
  }

  /** Take in the samples that came since the last call. */
  update({ x_mm, y_mm, stroke }) {
    for (; this.seen < stroke.length; this.seen += 1) {
      const i = this.seen;
      const at = this.#nearest(x_mm[i], y_mm[i]);
      if (at === null) {
        this.last = null;
        continue;
      }
      const follows = this.last !== null && i > 0 && stroke[i] === stroke[i - 1];
      this.#mark(follows ? this.last : at, at);
      this.last = at;
    }
  }

  get share() {
    const total = this.beads.reduce((sum, bead) => sum + bead.length_mm, 0);
    const drawn = this.beads.reduce((sum, b, i) => sum + (this.drawn[i] ? b.length_mm : 0), 0);
    return total > 0 ? drawn / total : 0;
  }

  #nearest(x_mm, y_mm) {
    let best = null;
    let least = this.capture_mm;
    this.beads.forEach(({ x, y }, i) => {
      const distance = Math.hypot(x - x_mm, y - y_mm);
      if (distance < least) [best, least] = [i, distance];
    });
    return best;
  }

  #mark(from, to) {
    this.drawn[to] = true;
    const count = this.beads.length;
    let steps = to - from;
    if (this.wraps && Math.abs(steps) > count / 2) steps -= Math.sign(steps) * count;
    const passed = Array.from({ length: Math.abs(steps) }, (_, k) =>
      (from + Math.sign(steps) * (k + 1) + count) % count);
    const length_mm = passed.reduce((sum, i) => sum + this.beads[i].length_mm, 0);
    if (length_mm > this.reach_mm) return;
    for (const i of passed) this.drawn[i] = true;
  }
}
