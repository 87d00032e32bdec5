/** Pixels per millimetre of this screen, and where the task area lies on it. */

// ISO/IEC 7810, size ID-1.
export const CARD_MM = [85.6, 53.98];
// A CSS pixel is nominally 1/96 inch; no screen is obliged to honour it.
export const NOMINAL_PX_PER_MM = 96 / 25.4;
export const SMALLEST_PX_PER_MM = 2.5;
export const LARGEST_PX_PER_MM = 10;
// The smallest common active area; plans are placed on it.
export const AREA_MM = [207, 136];

/**
 * What a card laid on the screen says of it.
 *
 * @param {object} card
 * @param {number} card.long_px  length of the outline's long side [CSS px]
 * @param {number} card.ratio  device pixels per CSS pixel when it was measured
 * @param {string} card.id  a fresh random id
 * @param {string} card.at  moment, ISO 8601
 */
export function calibrationOf({ long_px, ratio, id, at }) {
  return { calibration_id: id, px_per_mm: long_px / CARD_MM[0], ratio, made_at: at };
}

/**
 * The scale to draw and measure with now.
 *
 * A calibration holds only for the pixel ratio it was made at: browser zoom, another
 * screen or a pinch changes what a CSS pixel is.
 *
 * @param {object|null} calibration  from `calibrationOf`, or null
 * @param {{ratio: number, pinch: number}} screen  pixel ratio, and zoom by pinching
 */
export function scaleOf(calibration, { ratio, pinch }) {
  if (!calibration) return { px_per_mm: NOMINAL_PX_PER_MM, calibrated: false, why: "never" };
  const { px_per_mm, calibration_id } = calibration;
  const same = Math.abs(calibration.ratio - ratio) < 1e-6 && Math.abs(pinch - 1) < 1e-3;
  return same
    ? { px_per_mm, calibration_id, calibrated: true, why: null }
    : { px_per_mm, calibration_id, calibrated: false, why: "zoomed" };
}

/**
 * Place of the task area on the screen, or null when the guide does not fit.
 *
 * The area is centred. On a smaller screen it is moved, never scaled, by as little as
 * brings the whole guide into view.
 *
 * @param {{x: number, y: number, width: number, height: number}} box  what must be seen [mm]
 * @param {[number, number]} screen_mm  width and height of the screen [mm]
 * @returns {[number, number]|null}  the area's upper left corner on the screen [mm]
 */
export function areaOrigin(box, screen_mm, area_mm = AREA_MM) {
  if (box.width > screen_mm[0] || box.height > screen_mm[1]) return null;
  return [["x", "width"], ["y", "height"]].map(([at, side], axis) => {
    const centred = (screen_mm[axis] - area_mm[axis]) / 2;
    const least = -box[at];
    const most = screen_mm[axis] - box[at] - box[side];
    return Math.min(Math.max(centred, least), most);
  });
}

/**
 * Both ways between screen and task area.
 *
 * @param {number} px_per_mm  scale [CSS px per mm]
 * @param {[number, number]} origin_mm  from `areaOrigin` [mm]
 */
export function mappingOf(px_per_mm, origin_mm) {
  const [x0_mm, y0_mm] = origin_mm;
  return {
    toMm: (x_px, y_px) => [x_px / px_per_mm - x0_mm, y_px / px_per_mm - y0_mm],
    toPx: (x_mm, y_mm) => [(x_mm + x0_mm) * px_per_mm, (y_mm + y0_mm) * px_per_mm],
  };
}
