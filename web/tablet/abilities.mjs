/** What this tablet's pen turned out to give. Pure. */

// A pen without a sensor says 0, 0.5 or 1; a sensor hardly ever says the same twice.
const FEWEST_SAMPLES = 20;
const FEWEST_VALUES = 3;

export const unknownAbilities = () => ({ pressure: null });

/** What is known after a trial; fingers, mice and mere taps of a pen tell nothing. */
export function learned(abilities, { kind, columns }) {
  const measured = columns.pressure.filter(Number.isFinite);
  if (kind !== "pen" || measured.length < FEWEST_SAMPLES) return abilities;
  const between = new Set(measured.filter((value) => value > 0 && value < 1));
  return { ...abilities, pressure: between.size >= FEWEST_VALUES };
}
