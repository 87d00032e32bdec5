/** A tablet's plans for one day, and how far each has come. Pure. */

// Modes whose lines this page can record today.
const DRAWABLE = new Set(["trace", "cut"]);

/** Names of the drawings that stand for a plan's child. */
export const signsOf = (plan) =>
  (Array.isArray(plan.session_label) ? plan.session_label : String(plan.session_label ?? "")
    .split(/[^a-z]+/i)).filter(Boolean).map((name) => name.toLowerCase());

/** Items that may be drawn. `fits` tells whether a guide is small enough for the screen. */
export function offered(plan, fits) {
  const open = plan.items.filter((item) =>
    (item.state ?? "open") === "open" && DRAWABLE.has(item.task.mode) && item.guide);
  return { items: open.filter((item) => fits(item.guide)), open: open.length };
}

export const freshProgress = (plan_id) => ({ plan_id, seq: 0, items: {} });

const countsOf = (progress, { item_id }) =>
  progress.items[item_id] ?? { attempts: 0, counted: 0 };

const wanted = (item) => item.repetitions ?? 1;

/** How many more attempts an item wants. */
export const remaining = (progress, item) =>
  Math.max(0, wanted(item) - countsOf(progress, item).counted);

/** The first item that is not finished, or null. */
export const nextItem = (items, progress) =>
  items.find((item) => remaining(progress, item) > 0) ?? null;

const withCounts = (progress, item, counts) => ({
  ...progress, items: { ...progress.items, [item.item_id]: counts },
});

/** After an attempt that was stored: its number in the session and among its repetitions. */
export function attempted(progress, item) {
  const { attempts, counted } = countsOf(progress, item);
  const next = withCounts(progress, item, { attempts: attempts + 1, counted: counted + 1 });
  return { progress: { ...next, seq: progress.seq + 1 }, seq: progress.seq + 1,
    repetition: attempts + 1 };
}

/** One more attempt is wanted: the last was spoilt, or an adult said "again". */
export function oneMore(progress, item) {
  const { attempts, counted } = countsOf(progress, item);
  return withCounts(progress, item, { attempts, counted: counted - 1 });
}

/** No further attempts at this item. */
export function skipped(progress, item) {
  const { attempts } = countsOf(progress, item);
  return withCounts(progress, item, { attempts, counted: wanted(item) });
}
