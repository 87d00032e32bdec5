/** The trial document, `linnet-trial/1`. Pure. */

import { samplesDocument } from "./samples.mjs";

const rounded = (value, places) => Math.round(value * 10 ** places) / 10 ** places;

/** What the tablet says of itself; it claims nothing that it does not know. */
function deviceOf({ tablet_id, scale, screen_mm, origin_mm, secure, clock_offset_ms, api }, pen) {
  const device = {
    tablet_id,
    calibration_id: scale.calibration_id,
    pointer_type: pen.kind === null ? "none" : pen.kind || "unknown",
    pointer_types: pen.kinds?.length > 1 ? pen.kinds : undefined,
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

/** Where the middle of the body is, once an adult has said how the tablet lies. [mm] */
function midlineOf(tablet_at, { screen_mm, origin_mm }) {
  const [width_mm] = screen_mm;
  const [left_mm] = origin_mm;
  if (tablet_at === "left") return width_mm - left_mm;
  // What the adult confirmed is the line that was shown, whatever the plan had supposed.
  return tablet_at === "right" ? -left_mm : width_mm / 2 - left_mm;
}

/**
 * The item as it was really asked: with the midline and the surface that an adult confirmed.
 *
 * Without that there is no midline, whatever the plan had supposed: a child may sit anywhere.
 *
 * @param {object} item  plan item
 * @param {{tablet_at: string, surface: string}|null} setup  null: nobody confirmed anything
 * @param {{screen_mm: [number, number], origin_mm: [number, number]}|null} place  null: it
 *   has no place on this screen
 */
export function askedOf(item, setup, place) {
  const { midline_x_mm, midline_source, ...guide } = item.guide;
  if (setup === null) return { ...item, guide };
  const { tablet_at, surface } = setup;
  const midline = place && {
    midline_x_mm: rounded(midlineOf(tablet_at, place), 2), midline_source: "entered",
  };
  return {
    ...item, guide: { ...guide, ...midline },
    condition: { ...item.condition, tablet_at, surface },
  };
}

/** A pen with which nothing was drawn. */
export const noPen = () => ({
  kind: null, coalesced: null, touchesIgnored: 0, setAside: null,
  columns: {
    t_ms: [], x_mm: [], y_mm: [], stroke: [], pressure: [], tilt_x: [], tilt_y: [],
  },
});

/**
 * @param {object} parts
 * @param {string} parts.trial_id
 * @param {number} parts.seq  number in the session
 * @param {{plan_id: string, version: number}} parts.plan
 * @param {object} parts.item  from `askedOf`; task, guide and condition are copied unchanged
 * @param {number} parts.repetition
 * @param {object} parts.device  what `deviceOf` reads
 * @param {import("./pen.mjs").Pen} parts.pen
 * @param {string} parts.started_at  ISO 8601
 * @param {number|null} [parts.cue_ms]  when the go signal was given
 * @param {object} [parts.shown]  how the guide was shown
 * @param {string} parts.ended_by
 * @param {{t_ms: number, kind: string}[]} parts.marks
 */
export function trialDocument(parts) {
  const { plan, item, pen, cue_ms, shown } = parts;
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
  if (item.step) document.plan.step = item.step;
  if (shown) document.shown = shown;
  if (Number.isFinite(cue_ms)) document.cue_ms = cue_ms;
  if (pen.setAside) document.set_aside = pen.setAside;
  return document;
}
