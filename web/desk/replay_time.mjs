/** The samples of a trial in time: where the pen was at a moment, and what is told of it. Pure. */

const GAP = "\u00a0";
const CONTACTS = ["first contact", "second contact"];

/** A moment as people read it. */
export const seconds = (t_ms) => `${(t_ms / 1000).toFixed(1)}${GAP}s`;

/**
 * Where in a rising column the first value above `t` stands; by halves, so that a hundred
 * thousand samples take seventeen looks.
 *
 * @param {number[]} times
 * @param {number} t
 * @param {number} [from]  first place looked at
 * @param {number} [to]  place after the last one
 */
export function placeAfter(times, t, from = 0, to = times.length) {
  let [low, high] = [from, to];
  while (low < high) {
    const middle = (low + high) >>> 1;
    if (times[middle] > t) high = middle;
    else low = middle + 1;
  }
  return low;
}

/** Runs of equal stroke numbers: `from` is the first sample, `to` the one after the last. */
export function strokesOf({ stroke, pointer, t_ms }) {
  const found = [];
  for (let from = 0; from < stroke.length;) {
    let to = from + 1;
    while (to < stroke.length && stroke[to] === stroke[from]) to += 1;
    found.push({
      from, to, pointer: pointer?.[from] ?? 0, start_ms: t_ms[from], end_ms: t_ms[to - 1],
    });
    from = to;
  }
  return found;
}

export class Course {
  #byPointer = new Map();

  /** @param {object} samples  columns of equal length; times rise within each stroke */
  constructor(samples) {
    this.samples = samples;
    this.strokes = strokesOf(samples);
    this.start_ms = this.strokes.reduce((t, { start_ms }) => Math.min(t, start_ms), Infinity);
    this.end_ms = this.strokes.reduce((t, { end_ms }) => Math.max(t, end_ms), -Infinity);
    for (const one of this.strokes) {
      const own = this.#byPointer.get(one.pointer) ?? { strokes: [], starts: [] };
      own.strokes.push(one);
      own.starts.push(one.start_ms);
      this.#byPointer.set(one.pointer, own);
    }
  }

  get pointers() {
    return [...this.#byPointer.keys()].sort();
  }

  /** The moment within the trial that is nearest. */
  within(t_ms) {
    return Math.min(this.end_ms, Math.max(this.start_ms, t_ms));
  }

  /**
   * Where a pen was: between two samples on the straight line from one to the other.
   *
   * @returns {{x_mm: number, y_mm: number, down: boolean, at: number, share: number}|null}
   *   null before it first came down; `at` is the sample before, `share` how far to the next
   */
  penAt(t_ms, pointer = 0) {
    const own = this.#byPointer.get(pointer);
    const number = own === undefined ? 0 : placeAfter(own.starts, t_ms);
    if (number === 0) return null;
    const { from, to, end_ms } = own.strokes[number - 1];
    const { t_ms: times } = this.samples;
    const at = Math.max(from, placeAfter(times, t_ms, from, to) - 1);
    const next = Math.min(at + 1, to - 1);
    const step_ms = times[next] - times[at];
    const share = step_ms > 0 ? Math.min(1, (t_ms - times[at]) / step_ms) : 0;
    const between = (column) => column[at] + share * (column[next] - column[at]);
    return {
      x_mm: between(this.samples.x_mm), y_mm: between(this.samples.y_mm),
      down: t_ms <= end_ms, at, share,
    };
  }

  /** A quantity where the pen was; null where it is not known on both sides. */
  valueAt(name, pen) {
    const column = this.samples[name];
    if (!column || pen === null || !pen.down) return null;
    const before = column[pen.at];
    if (before === null || pen.share === 0) return before;
    const next = column[pen.at + 1];
    return next === null ? null : before + pen.share * (next - before);
  }
}

/** What is read at a moment: "3.2 s · 41 mm/s · 2.1 mm from the line"; what is not known is left out. */
export function readout(course, t_ms) {
  const said = course.pointers.map((pointer) => {
    const pen = course.penAt(t_ms, pointer);
    const words = penWords(course, pen);
    return course.pointers.length > 1 ? `${CONTACTS[pointer]}: ${words.join(", ")}` : words.join(" · ");
  });
  return [seconds(t_ms), ...said].filter((one) => one !== "").join(" · ");
}

function penWords(course, pen) {
  if (pen === null || !pen.down) return ["pen up"];
  const speed_mm_s = course.valueAt("speed_mm_s", pen);
  const distance_mm = course.valueAt("distance_mm", pen);
  return [
    speed_mm_s === null ? null : `${Math.round(speed_mm_s)}${GAP}mm/s`,
    distance_mm === null ? null : `${distance_mm.toFixed(1)}${GAP}mm from the line`,
  ].filter((one) => one !== null);
}

/**
 * What happened, in order of time: places one can go to.
 *
 * @param {Course} course
 * @param {object} events  of the report
 * @param {boolean} calibrated  whether millimetres are true
 * @returns {{kind: string, start_ms: number, end_ms: number, words: string}[]}
 */
export function momentsOf(course, events, calibrated) {
  const count = course.strokes.length;
  const strokes = course.strokes.map(({ start_ms, end_ms }, i) => ({
    kind: "stroke", start_ms, end_ms, words: count > 1 ? `stroke ${i + 1} of ${count}` : "pen down",
  }));
  const pauses = events.pauses.map(({ start_ms, end_ms }) => ({
    kind: "pause", start_ms, end_ms, words: `pause, ${seconds(end_ms - start_ms)} long`,
  }));
  const departures = events.departures.map(({ start_ms, end_ms, max_beyond_mm }) => ({
    kind: "departure", start_ms, end_ms,
    words: calibrated ? `outside the path, up to ${max_beyond_mm.toFixed(1)}${GAP}mm past its edge`
      : "outside the path",
  }));
  const crossings = events.crossings.map(({ t_ms, towards, lifted }) => ({
    kind: "crossing", start_ms: t_ms, end_ms: t_ms, towards, lifted,
    words: `midline, to the ${towards}${lifted ? ", after a lift" : ""}`,
  }));
  return [...strokes, ...pauses, ...departures, ...crossings]
    .filter(({ start_ms }) => start_ms !== null)
    .sort((a, b) => a.start_ms - b.start_ms);
}

/**
 * Where the pen last met the midline before it was found on the other side.
 *
 * @param {Course} course
 * @param {{t_ms: number, x_mm: number, y_mm: number}} crossing  of the report
 * @param {number} midline_mm
 * @returns {{x_mm: number, y_mm: number}}
 */
export function passageOf(course, crossing, midline_mm) {
  const { x_mm, y_mm } = course.samples;
  const right = (i) => x_mm[i] >= midline_mm;
  const pen = course.penAt(crossing.t_ms, crossing.pointer ?? 0);
  let at = pen === null ? 0 : pen.at;
  const side = right(at);
  while (at > 0 && right(at - 1) === side) at -= 1;
  if (at === 0) return { x_mm: crossing.x_mm, y_mm: crossing.y_mm };
  const share = (midline_mm - x_mm[at - 1]) / (x_mm[at] - x_mm[at - 1]);
  return { x_mm: midline_mm, y_mm: y_mm[at - 1] + share * (y_mm[at] - y_mm[at - 1]) };
}

/** Where playing has come after `passed_ms` of a clock; it stops at the end. */
export function advanced(course, t_ms, passed_ms, speed) {
  const next_ms = course.within(t_ms + speed * passed_ms);
  return { t_ms: next_ms, ended: next_ms >= course.end_ms };
}
