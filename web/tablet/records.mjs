/** What the tablet sends, ready to be kept: each text is made once and sent as it is. Pure. */

const rounded = (value, places) => Math.round(value * 10 ** places) / 10 ** places;

/** @param {string} body  the document as it will be sent @param {string} sha256  of its bytes */
export const trialRecord = (trial_id, body, sha256) => ({
  id: trial_id, kind: "trial", trial_id, method: "PUT", path: `/api/trials/${trial_id}`, body,
  sha256,
});

export const markRecord = (id, trial_id, mark) => ({
  id, kind: "mark", trial_id, method: "POST", path: `/api/trials/${trial_id}/marks`,
  body: JSON.stringify({ id, ...mark }), sha256: null,
});

/**
 * @param {{kind: string, minutes?: number, text?: string, trial_id?: string,
 *          help?: object}} seen
 */
export const observationRecord = (id, plan_id, seen) => ({
  id, kind: "observation", trial_id: seen.trial_id ?? null, method: "POST",
  path: "/api/tablet/observations", body: JSON.stringify({ id, plan_id, ...seen }), sha256: null,
});

/** @param {object} calibration @param {[number, number]} screen_px  width and height [CSS px] */
export const calibrationRecord = ({ calibration_id, px_per_mm, ratio, made_at }, screen_px) => ({
  id: calibration_id, kind: "calibration", trial_id: null, method: "POST",
  path: "/api/tablet/calibrations", sha256: null,
  body: JSON.stringify({
    id: calibration_id, px_per_mm, ratio, made_at,
    screen_mm: screen_px.map((px) => rounded(px / px_per_mm, 2)),
  }),
});
