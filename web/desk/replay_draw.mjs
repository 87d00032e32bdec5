/** What the replay draws, thinned for the screen only: nothing here is ever read out. Pure. */

const STEPS = [1, 2, 2.5, 5, 10];

/**
 * Samples at least `step_mm` of line apart, both ends kept.
 *
 * @param {{x_mm: number[], y_mm: number[]}} samples
 * @param {number} from  first sample
 * @param {number} to  sample after the last one
 * @param {number} step_mm
 * @returns {number[]}  places of samples
 */
export function kept({ x_mm, y_mm }, from, to, step_mm) {
  const found = to > from ? [from] : [];
  let run_mm = 0;
  for (let i = from + 1; i < to; i += 1) {
    run_mm += Math.hypot(x_mm[i] - x_mm[i - 1], y_mm[i] - y_mm[i - 1]);
    if (run_mm < step_mm && i < to - 1) continue;
    found.push(i);
    run_mm = 0;
  }
  return found;
}

/** A list in pieces of at most `size` steps; neighbours share a member, so that no gap shows. */
export function pieces(list, size) {
  const found = [];
  for (let i = 0; i === 0 || i < list.length - 1; i += size) found.push(list.slice(i, i + size + 1));
  return found;
}

/** Places as an SVG list of points; a single one twice, so that its round ends make a dot. */
export function pointsOf(places) {
  const written = places.map(([x, y]) => `${round(x)},${round(y)}`);
  return (written.length === 1 ? [written[0], written[0]] : written).join(" ");
}

const round = (value) => Math.round(value * 1000) / 1000;

/** Closed rings as SVG path data. */
export const ringsOf = (rings) => rings.map((ring) => `M${pointsOf(ring)}Z`).join("");

/**
 * A column over time as it looks on so many pixels: of each pixel its first, lowest, highest and
 * last value. Where values are not known the line breaks.
 *
 * @param {number[]} times
 * @param {(number|null)[]} values
 * @param {{from: number, to: number}} part  samples of one stroke
 * @param {(t: number) => number} across  from time to pixels
 * @returns {[number, number][][]}  lines of [pixel, value]
 */
export function outline(times, values, { from, to }, across) {
  const lines = [];
  let line = null, pixel = null, bunch = [];
  const flush = () => {
    if (bunch.length > 0) line.push(...extremes(bunch));
    bunch = [];
  };
  for (let i = from; i < to; i += 1) {
    if (values[i] === null) {
      if (line !== null) flush();
      line = null;
      continue;
    }
    if (line === null) {
      lines.push(line = []);
      pixel = null;
    }
    const x = across(times[i]);
    if (Math.floor(x) !== pixel) {
      flush();
      pixel = Math.floor(x);
    }
    bunch.push([x, values[i]]);
  }
  if (line !== null) flush();
  return lines;
}

function extremes(bunch) {
  if (bunch.length <= 4) return bunch;
  let low = 0, high = 0;
  bunch.forEach(([, value], i) => {
    if (value < bunch[low][1]) low = i;
    if (value > bunch[high][1]) high = i;
  });
  const chosen = [...new Set([0, low, high, bunch.length - 1])].sort((a, b) => a - b);
  return chosen.map((i) => bunch[i]);
}

/** Round numbers from `low` to `high`, at most `most` of them. */
export function ticks(low, high, most) {
  const span = high - low;
  if (!(span > 0)) return [low];
  const ten = 10 ** Math.floor(Math.log10(span / most));
  const step = ten * (STEPS.find((one) => Math.floor(span / (ten * one)) < most) ?? 10);
  const found = [];
  for (let i = Math.ceil(low / step - 1e-9); i * step <= high + 1e-9 * span; i += 1) {
    found.push(Number((i * step).toPrecision(12)));
  }
  return found;
}

/** The top of a speed axis: the fastest hundredth is mostly noise and may leave it. [mm/s] */
export function topOf(values) {
  const known = values.filter((value) => value !== null).sort((a, b) => a - b);
  if (known.length === 0) return 20;
  return Math.max(20, 1.2 * known[Math.floor(0.99 * (known.length - 1))]);
}

/** Radius of the circle of a pause: its area grows with its length. [px] */
export function pauseRadius(length_ms) {
  const area = Math.min(1500, Math.max(34, 0.19 * length_ms));
  return Math.sqrt(area) / 1.6;
}
