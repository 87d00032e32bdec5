/** How much of a guide has been drawn, roughly: enough to tell when an attempt may end. */

import { outlineOf, partsOf } from "./guide.mjs";

// A line nearer than this to its guide is taken to be on its way along it.
export const CAPTURE_MM = 20;

/** Points every `step_mm` or less along a guide, each standing for a stretch of a part. */
function beads(parts, step_mm) {
  const [x_mm, y_mm, length_mm] = [[], [], []];
  const spans = [];
  for (const part of parts) {
    const first = x_mm.length;
    const outline = outlineOf(part);
    for (let i = 1; i < outline.length; i += 1) {
      const [[x0, y0], [x1, y1]] = [outline[i - 1], outline[i]];
      const whole_mm = Math.hypot(x1 - x0, y1 - y0);
      const count = Math.max(1, Math.ceil(whole_mm / step_mm));
      for (let k = 0; k < count; k += 1) {
        const share = (k + 0.5) / count;
        x_mm.push(x0 + share * (x1 - x0));
        y_mm.push(y0 + share * (y1 - y0));
        length_mm.push(whole_mm / count);
      }
    }
    spans.push({ first, count: x_mm.length - first, wraps: part.closed });
  }
  // Looked at for every sample of a line.
  const [xs_mm, ys_mm, lengths_mm] = [x_mm, y_mm, length_mm].map((all) => Float64Array.from(all));
  return { x_mm: xs_mm, y_mm: ys_mm, length_mm: lengths_mm, spans };
}

/** For each stretch those of other parts that lie on it: one line draws them all. */
function twinsOf({ x_mm, y_mm, spans }, step_mm) {
  if (spans.length < 2) return [];
  const partOf = spans.flatMap(({ count }, part) => Array(count).fill(part));
  return partOf.map((part, i) => partOf.flatMap((other, j) =>
    (other !== part && Math.hypot(x_mm[i] - x_mm[j], y_mm[i] - y_mm[j]) <= step_mm ? [j] : [])));
}

/**
 * Rough share of a guide that has been drawn, only to tell when an attempt may end.
 *
 * Each sample marks the nearest stretch of guide. Stretches passed between two samples of
 * one stroke are marked too, when they lie close together on one part. The report measures
 * coverage anew and properly.
 */
export class Progress {
  /**
   * @param {object} guide
   * @param {object} [options]
   * @param {number|null} [options.contact]  look at the samples of this contact only
   */
  constructor(guide, { contact = null, step_mm = 2, reach_mm = 30, capture_mm = CAPTURE_MM } = {}) {
    this.contact = contact;
    Object.assign(this, beads(partsOf(guide), step_mm));
    this.twins = twinsOf(this, step_mm);
    this.drawn = new Uint8Array(this.length_mm.length);
    this.reach_mm = reach_mm;
    this.capture_mm = capture_mm;
    this.restart();
  }

  restart() {
    this.drawn.fill(0);
    this.seen = 0;
    this.last = null;
    this.lastStroke = null;
  }

  /** Take in the samples that came since the last call. */
  update({ x_mm, y_mm, stroke, pointer }) {
    for (; this.seen < stroke.length; this.seen += 1) {
      const i = this.seen;
      if (this.contact !== null && pointer[i] !== this.contact) continue;
      const at = this.nearest(x_mm[i], y_mm[i]);
      if (at !== null) {
        const follows = this.last !== null && stroke[i] === this.lastStroke;
        this.#mark(follows ? this.last : at, at);
      }
      this.last = at;
      this.lastStroke = stroke[i];
    }
  }

  get share() {
    const { drawn_mm, total_mm } = this.#sums({ first: 0, count: this.drawn.length });
    return total_mm > 0 ? drawn_mm / total_mm : 0;
  }

  /** As `share`, of each part; of a part without a length there is nothing to draw. */
  get shares() {
    return this.spans.map((span) => {
      const { drawn_mm, total_mm } = this.#sums(span);
      return total_mm > 0 ? drawn_mm / total_mm : 1;
    });
  }

  #sums({ first, count }) {
    let [total_mm, drawn_mm] = [0, 0];
    for (let i = first; i < first + count; i += 1) {
      total_mm += this.length_mm[i];
      drawn_mm += this.drawn[i] * this.length_mm[i];
    }
    return { total_mm, drawn_mm };
  }

  /** Number of the stretch nearest to a place, null if none is within reach. */
  nearest(x_mm, y_mm, within_mm = this.capture_mm) {
    const { x_mm: xs_mm, y_mm: ys_mm } = this;
    let best = -1;
    let least = within_mm * within_mm;
    for (let i = 0; i < xs_mm.length; i += 1) {
      const dx = xs_mm[i] - x_mm;
      const dy = ys_mm[i] - y_mm;
      const square = dx * dx + dy * dy;
      if (square < least) {
        best = i;
        least = square;
      }
    }
    return best < 0 ? null : best;
  }

  /** Distance of a place from the guide. [mm] */
  distance(x_mm, y_mm) {
    const at = this.nearest(x_mm, y_mm, Infinity);
    return at === null ? Infinity : Math.hypot(this.x_mm[at] - x_mm, this.y_mm[at] - y_mm);
  }

  #mark(from, to) {
    this.#draw(to);
    if (from === to) return;
    const { first, count, wraps } = this.spans.find((span) => to < span.first + span.count);
    // From one part to the next there is no guide that could be passed.
    if (from < first || from >= first + count) return;
    let steps = to - from;
    if (wraps && Math.abs(steps) > count / 2) steps -= Math.sign(steps) * count;
    const passed = [];
    let length_mm = 0;
    for (let k = 1; k <= Math.abs(steps); k += 1) {
      const i = first + ((from - first + Math.sign(steps) * k + count) % count);
      passed.push(i);
      length_mm += this.length_mm[i];
    }
    if (length_mm > this.reach_mm) return;
    for (const i of passed) this.#draw(i);
  }

  #draw(i) {
    this.drawn[i] = 1;
    for (const twin of this.twins[i] ?? []) this.drawn[twin] = 1;
  }
}
