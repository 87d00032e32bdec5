/** Pixels per millimetre of this screen, and where the task area lies on it. */

// A CSS pixel is nominally 1/96 inch; no screen is obliged to honour it.
export const NOMINAL_PX_PER_MM = 96 / 25.4;
export const SMALLEST_PX_PER_MM = 2.5;
export const LARGEST_PX_PER_MM = 10;
// The smallest common active area; plans are placed on it.
export const AREA_MM = [207, 136];
const WEEK_MS = 7 * 24 * 3600 * 1000;

/** How the screen is held. */
export const orientationOf = (width_px, height_px) =>
  (width_px > height_px ? "landscape" : "portrait");

/**
 * @typedef {object} Calibration
 * @property {string} calibration_id
 * @property {number} px_per_mm  CSS px per mm
 * @property {number} ratio  device pixels per CSS pixel when it was made
 * @property {string} made_at  ISO 8601
 * @property {{landscape?: string, portrait?: string}} checked  when it was last found true,
 *   by the way the screen was held; ISO 8601
 */

/**
 * What a card or a ruler laid on the screen says of it.
 *
 * @param {object} laid
 * @param {number} laid.long_px  length of the field on the screen [CSS px]
 * @param {number} laid.long_mm  true length of what covers it [mm]
 * @param {number} laid.ratio  device pixels per CSS pixel
 * @param {"landscape"|"portrait"} laid.orientation
 * @param {string} laid.id  a fresh random id
 * @param {string} laid.at  moment, ISO 8601
 * @returns {Calibration}
 */
export function calibrationOf({ long_px, long_mm, ratio, orientation, id, at }) {
  return {
    calibration_id: id, px_per_mm: long_px / long_mm, ratio, made_at: at,
    checked: { [orientation]: at },
  };
}

/** The same calibration, found true once more. */
export const checkedAgain = (calibration, { orientation, at }) =>
  ({ ...calibration, checked: { ...calibration.checked, [orientation]: at } });

const sameRatio = (calibration, ratio) => Math.abs(calibration.ratio - ratio) < 1e-6;

/**
 * Where a field should begin when the scale is checked [CSS px per mm].
 *
 * Zooming in makes a CSS pixel larger by as much as it raises the pixel ratio.
 */
export const likelyPxPerMm = (calibration, ratio) => (calibration
  ? (calibration.px_per_mm * calibration.ratio) / ratio : NOMINAL_PX_PER_MM);

/** Whether a calibration may be kept as it is, should its length still be true. */
export const mayStand = (calibration, ratio) =>
  calibration !== null && sameRatio(calibration, ratio);

/**
 * The scale to draw and measure with now.
 *
 * A calibration holds only for the pixel ratio it was made at: browser zoom, another
 * screen or a pinch changes what a CSS pixel is. It is checked for each way of holding the
 * screen, and once a week.
 *
 * @param {Calibration|null} calibration
 * @param {object} screen
 * @param {number} screen.ratio  device pixels per CSS pixel
 * @param {number} screen.pinch  zoom by pinching, 1 for none
 * @param {"landscape"|"portrait"} screen.orientation
 * @param {number} screen.now_ms  this tablet's clock [ms since 1970]
 * @returns {{px_per_mm: number, calibration_id?: string, calibrated: boolean,
 *            why: null|"never"|"zoomed"|"turned"|"old"}}
 */
export function scaleOf(calibration, { ratio, pinch, orientation, now_ms }) {
  if (!calibration) return { px_per_mm: NOMINAL_PX_PER_MM, calibrated: false, why: "never" };
  const { px_per_mm, calibration_id } = calibration;
  const found = (calibrated, why) => ({ px_per_mm, calibration_id, calibrated, why });
  if (!sameRatio(calibration, ratio) || Math.abs(pinch - 1) >= 1e-3) return found(false, "zoomed");
  const checked_ms = Date.parse(calibration.checked?.[orientation] ?? "");
  // A CSS pixel does not change by turning; the adult is asked all the same.
  if (Number.isNaN(checked_ms)) return found(true, "turned");
  return found(true, now_ms - checked_ms > WEEK_MS ? "old" : null);
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
    // Hundreds of times a second: the caller may bring the pair to be filled.
    toMm: (x_px, y_px, at_mm = [0, 0]) => {
      at_mm[0] = x_px / px_per_mm - x0_mm;
      at_mm[1] = y_px / px_per_mm - y0_mm;
      return at_mm;
    },
    toPx: (x_mm, y_mm) => [(x_mm + x0_mm) * px_per_mm, (y_mm + y0_mm) * px_per_mm],
  };
}
