/** When an attempt has arrived: by mode, from the samples alone. Measures nothing. */

import { dotsOf, endsOf, insideSquare, partsOf } from "./guide.mjs";
import { CAPTURE_MM, Progress } from "./progress.mjs";

const ENOUGH_SHARE = 0.5;
// The reach of a dot that has no neighbour, as in the report.
const LONE_MM = 15;
const LONE_RADII = 3;

/** Whether half of every part of a guide was drawn. */
const isMet = ({ share, shares }) =>
  share >= ENOUGH_SHARE && shares.every((one) => one >= ENOUGH_SHARE);

/** Number of the last sample of a contact, of any if it is null; -1 without one. */
const lastOf = ({ stroke, pointer }, contact) =>
  contact === null ? stroke.length - 1 : pointer.lastIndexOf(contact);

/**
 * What one contact follows. One line: a lift inside its stop, after half of it. Several, in
 * whatever order and direction: any lift, after half of each.
 */
class Line {
  constructor(guide, stop, contact = null) {
    this.stop = stop;
    this.contact = contact;
    this.progress = new Progress(guide, { contact });
  }

  get share() {
    return this.progress.share;
  }

  restart() {
    this.progress.restart();
  }

  update(columns) {
    this.progress.update(columns);
  }

  arrived(columns, { down }) {
    this.update(columns);
    const last = lastOf(columns, this.contact);
    if (down || last < 0 || !isMet(this.progress)) return null;
    if (insideSquare(this.stop, columns.x_mm[last], columns.y_mm[last])) return "stop_target";
    return this.progress.shares.length > 1 ? "all_parts" : null;
  }
}

/** Dots, and which of them were met so far. */
class Dots {
  constructor(guide) {
    this.dots = dotsOf(guide);
    this.met = this.dots.map(() => false);
    this.restart();
  }

  get share() {
    return this.met.filter(Boolean).length / Math.max(1, this.met.length);
  }

  restart() {
    this.met.fill(false);
    this.seen = 0;
  }

  update(columns) {
    for (; this.seen < columns.stroke.length; this.seen += 1) this.meet(columns, this.seen);
  }
}

/** Dots to tap: every one of them was aimed at, however well. */
class Taps extends Dots {
  constructor(guide) {
    super(guide);
    this.reaches_mm = this.dots.map(({ at_mm: [x, y], radius_mm }, i) => {
      const apart_mm = this.dots.filter((_, k) => k !== i)
        .map(({ at_mm }) => Math.hypot(at_mm[0] - x, at_mm[1] - y));
      return apart_mm.length > 0
        ? Math.min(...apart_mm) / 2 : Math.max(LONE_MM, LONE_RADII * radius_mm);
    });
  }

  /** A tap is where a stroke begins, and is meant for the dot nearest to it. */
  meet({ x_mm, y_mm, stroke }, i) {
    if (i > 0 && stroke[i] === stroke[i - 1]) return;
    const away_mm = this.dots.map(({ at_mm: [x, y] }) => Math.hypot(x - x_mm[i], y - y_mm[i]));
    const nearest = away_mm.indexOf(Math.min(...away_mm));
    if (away_mm[nearest] <= this.reaches_mm[nearest]) this.met[nearest] = true;
  }

  arrived(columns, { down }) {
    this.update(columns);
    return !down && columns.stroke.length > 0 && this.met.every(Boolean) ? "all_dots" : null;
  }
}

/**
 * Dots to join by one line: a lift in the last one, after half of them were met by the line;
 * or, in whatever order they come, a lift in any of them after all.
 */
class Joins extends Dots {
  meet({ x_mm, y_mm, stroke }, i) {
    const from = i > 0 && stroke[i] === stroke[i - 1] ? i - 1 : i;
    this.dots.forEach(({ at_mm: [x, y], radius_mm }, at) => {
      this.met[at] ||= passes(x_mm[from] - x, y_mm[from] - y, x_mm[i] - x, y_mm[i] - y, radius_mm);
    });
  }

  arrived(columns, { down }) {
    this.update(columns);
    if (down || columns.stroke.length === 0 || this.share < ENOUGH_SHARE) return null;
    const lifted = this.liftedIn(columns);
    if (lifted === this.dots.length - 1) return "stop_target";
    return lifted >= 0 && this.met.every(Boolean) ? "all_dots" : null;
  }

  /** Number of the dot in which the line stands, the last such; -1 for none. */
  liftedIn({ x_mm, y_mm, stroke }) {
    const last = stroke.length - 1;
    return this.dots.map(({ at_mm: [x, y], radius_mm }) =>
      Math.hypot(x_mm[last] - x, y_mm[last] - y) <= radius_mm).lastIndexOf(true);
  }
}

/** Dots to join two by two: every pair is a part of its own, and all of its dots are met. */
class Pairs extends Joins {
  constructor(guide) {
    super(guide);
    const places = this.dots.map(({ at_mm }) => at_mm);
    const parts = Array.from({ length: Math.floor(places.length / 2) }, (_, i) =>
      ({ points_mm: places.slice(2 * i, 2 * i + 2) }));
    this.progress = new Progress({ parts });
  }

  restart() {
    super.restart();
    this.progress?.restart();
  }

  update(columns) {
    super.update(columns);
    this.progress.update(columns);
  }

  arrived(columns, { down }) {
    this.update(columns);
    if (down || !this.met.every(Boolean) || !isMet(this.progress)) return null;
    return this.liftedIn(columns) === this.dots.length - 1 ? "stop_target" : "all_dots";
  }
}

/** Whether a straight piece of line comes within `radius` of the origin. */
function passes(x0, y0, x1, y1, radius) {
  const [dx, dy] = [x1 - x0, y1 - y0];
  const length2 = dx * dx + dy * dy;
  const share = length2 > 0 ? Math.min(1, Math.max(0, -(x0 * dx + y0 * dy) / length2)) : 0;
  return Math.hypot(x0 + share * dx, y0 + share * dy) <= radius;
}

/**
 * Two contacts at once. Of two parts contact 0 follows the first and contact 1 the second;
 * of one part contact 0 follows it and contact 1 holds, on the disc if there is one.
 */
class Both {
  constructor(guide) {
    this.lines = partsOf(guide).slice(0, 2).map((part, contact) =>
      new Line({ parts: [part] }, endsOf(part, guide).stop, contact));
    this.disc = dotsOf(guide)[0] ?? null;
  }

  get share() {
    return this.lines.length > 0 ? Math.min(...this.lines.map((line) => line.share)) : 0;
  }

  restart() {
    for (const line of this.lines) line.restart();
  }

  update(columns) {
    for (const line of this.lines) line.update(columns);
  }

  arrived(columns, { down }) {
    this.update(columns);
    const there = this.lines.map((line) => line.arrived(columns, { down }) !== null);
    return there.length > 0 && there.every(Boolean) ? "stop_target" : null;
  }

  /**
   * Which contact a new touch is, told by what it is nearest to. A touch at a line that
   * has its finger already is a palm or a third finger, unless the other line is near too.
   *
   * @param {number} x_mm
   * @param {number} y_mm
   * @param {[boolean, boolean]} taken  contacts that are down
   * @returns {0|1|null}  null if it is to be ignored
   */
  claim(x_mm, y_mm, taken) {
    const away_mm = [0, 1].map((contact) => this.#distance(contact, x_mm, y_mm));
    const nearest = away_mm[1] < away_mm[0] ? 1 : 0;
    if (!taken[nearest]) return nearest;
    const other = 1 - nearest;
    return !taken[other] && away_mm[other] <= CAPTURE_MM ? other : null;
  }

  #distance(contact, x_mm, y_mm) {
    if (contact < this.lines.length) return this.lines[contact].progress.distance(x_mm, y_mm);
    if (this.disc === null) return CAPTURE_MM;
    const [x, y] = this.disc.at_mm;
    return Math.max(0, Math.hypot(x - x_mm, y - y_mm) - this.disc.radius_mm);
  }
}

/**
 * What tells when an attempt at an item has arrived.
 *
 * @param {object} item  plan item
 * @returns {{update: Function, arrived: Function, restart: Function, share: number}}
 *   `arrived(columns, {down})` is "stop_target", "all_dots", "all_parts" or null; in mode
 *   `both` there is `claim` too
 */
export function endingOf({ guide, task }) {
  if (task.mode === "tap") return new Taps(guide);
  if (task.mode === "join") return guide.pairs === true ? new Pairs(guide) : new Joins(guide);
  if (task.mode === "both") return new Both(guide);
  const parts = partsOf(guide);
  return new Line(guide, endsOf(parts[parts.length - 1], guide).stop);
}
