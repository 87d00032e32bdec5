/** Samples as a trial document has them. Pure. */

/**
 * Whether a pen measured its pressure: null without a pen's reading that could tell.
 *
 * Some browsers report 1 on contact and 0 on every move of a pen: that says "down", not how
 * hard. So what counts is whether any move reads above 0; without moves, below 1 on contact.
 */
export function sensesPressure({ pressure, stroke }) {
  let [landing, moving] = [null, null];
  let latest = -1;
  for (let i = 0; i < pressure.length; i += 1) {
    const lands = stroke[i] > latest;
    latest = Math.max(latest, stroke[i]);
    const value = pressure[i];
    if (!Number.isFinite(value)) continue;
    if (lands) landing = landing === true || (value > 0 && value < 1);
    else moving = moving === true || value > 0;
  }
  return moving ?? landing;
}

const known = (value) => (Number.isFinite(value) ? value : null);

const share = (value) =>
  Number.isFinite(value) ? Math.round(Math.min(1, Math.max(0, value)) * 1e6) / 1e6 : null;

// 0.1 µm and 1 µs: finer than any screen, and short enough to send.
const rounded = (values, per_unit) => values.map((value) => Math.round(value * per_unit) / per_unit);

/** When and where, as the document has it. */
export const placesOf = ({ t_ms, x_mm, y_mm, stroke }) => ({
  t_ms: rounded(t_ms, 1e3), x_mm: rounded(x_mm, 1e4), y_mm: rounded(y_mm, 1e4), stroke,
});

/** The `samples` of a trial document: columns that hold no measurement are left out. */
export function samplesDocument(columns) {
  const samples = placesOf(columns);
  if (columns.pointer) samples.pointer = columns.pointer;
  if (sensesPressure(columns)) samples.pressure = columns.pressure.map(share);
  for (const name of ["tilt_x", "tilt_y"]) {
    if (columns[name].some(Number.isFinite)) samples[name] = columns[name].map(known);
  }
  return samples;
}
