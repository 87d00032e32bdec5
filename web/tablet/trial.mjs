/** The trial document, `linnet-trial/1`. Pure. */

import { samplesDocument } from "./pen.mjs";

const rounded = (value, places) => Math.round(value * 10 ** places) / 10 ** places;

/** What the tablet says of itself; it claims nothing that it does not know. */
function deviceOf({ tablet_id, scale, screen_mm, origin_mm, secure, clock_offset_ms, api }, pen) {
  const device = {
    tablet_id,
    calibration_id: scale.calibration_id,
    pointer_type: pen.kind === null ? "none" : pen.kind || "unknown",
    px_per_mm: rounded(scale.px_per_mm, 5),
    calibrated: scale.calibrated,
    screen_mm: screen_mm.map((mm) => rounded(mm, 2)),
    area_at_mm: origin_mm.map((mm) => rounded(mm, 4)),
    coalesced: pen.coalesced ?? api,
    secure_context: secure,
    clock_offset_ms,
    touches_ignored: pen.touchesIgnored,
  };
  return Object.fromEntries(
    Object.entries(device).filter(([, value]) => value !== undefined && value !== null));
}

/**
 * @param {object} parts
 * @param {string} parts.trial_id
 * @param {number} parts.seq  number in the session
 * @param {{plan_id: string, version: number}} parts.plan
 * @param {object} parts.item  plan item; task, guide and condition are copied unchanged
 * @param {number} parts.repetition
 * @param {object} parts.device  what `deviceOf` reads
 * @param {import("./pen.mjs").Pen} parts.pen
 * @param {string} parts.started_at  ISO 8601
 * @param {string} parts.ended_by
 * @param {{t_ms: number, kind: string}[]} parts.marks
 */
export function trialDocument(parts) {
  const { plan, item, pen } = parts;
  const document = {
    format: "linnet-trial/1",
    trial_id: parts.trial_id,
    seq: parts.seq,
    plan: {
      plan_id: plan.plan_id, version: plan.version,
      item_id: item.item_id, repetition: parts.repetition,
    },
    task: item.task,
    guide: item.guide,
    condition: item.condition ?? {},
    device: deviceOf(parts.device, pen),
    started_at: parts.started_at,
    ended_by: parts.ended_by,
    marks: parts.marks,
    samples: samplesDocument(pen.columns),
  };
  if (pen.setAside) document.set_aside = pen.setAside;
  return document;
}
