/** Whether a touch was a finger's line, or a hand that only lay there. Pure. */

// So far from its first place, or farther, a stroke is a line. A palm that lands before its pen
// rocks and slides, but by less than a palm's width; no line of the library is shorter.
export const LINE_MM = 20;

/**
 * Whether a stroke got so far that a pen which comes later must not take it away.
 *
 * How far, not how long: a hand that rests trembles, and that adds up to any length.
 *
 * @param {{x_mm: number[], y_mm: number[], stroke: number[]}} columns
 * @param {number} number  of the stroke
 */
export function isLine({ x_mm, y_mm, stroke }, number) {
  const first = stroke.indexOf(number);
  return first >= 0 && stroke.some((one, i) => one === number
    && Math.hypot(x_mm[i] - x_mm[first], y_mm[i] - y_mm[first]) >= LINE_MM);
}
