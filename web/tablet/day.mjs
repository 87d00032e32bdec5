/** A tablet's plans for one day, and how far each has come. Pure. */

/** Names of the drawings that stand for a plan's child. */
export const signsOf = (plan) =>
  (Array.isArray(plan.session_label) ? plan.session_label : String(plan.session_label ?? "")
    .split(/[^a-z]+/i)).filter(Boolean).map((name) => name.toLowerCase());

/**
 * Why an item cannot be drawn on this tablet, or null.
 *
 * @param {object} item
 * @param {object} device  what this tablet can do
 * @param {(guide: object) => boolean} device.fits  small enough for the screen
 * @param {number} device.touches  how many fingers the screen tells apart
 * @param {boolean|null} device.pressure  whether its pen measures pressure; null: not known yet
 * @returns {null|"no_guide"|"two_fingers"|"pressure"|"too_large"}
 */
export function obstacle({ task, guide }, { fits, touches, pressure }) {
  if (!guide) return "no_guide";
  if (task.mode === "both" && touches < 2) return "two_fingers";
  if (task.needs?.includes("pressure") && pressure === false) return "pressure";
  return fits(guide) ? null : "too_large";
}

/** Open items that may be drawn here, and those that may not with the reason. */
export function offered(plan, device) {
  const items = [];
  const left_out = [];
  for (const item of plan.items) {
    if ((item.state ?? "open") !== "open") continue;
    const why = obstacle(item, device);
    if (why === null) items.push(item);
    else left_out.push({ item, why });
  }
  return { items, left_out };
}

export const freshProgress = (plan_id) => ({ plan_id, seq: 0, items: {}, steps: {} });

const countsOf = (progress, { item_id }) =>
  progress.items[item_id] ?? { attempts: 0, counted: 0 };

const wanted = (item) => item.repetitions ?? 1;

/** How many more attempts an item wants. */
export const remaining = (progress, item) =>
  Math.max(0, wanted(item) - countsOf(progress, item).counted);

/** How many pictures some items still want. */
export const picturesOf = (progress, items) =>
  items.reduce((sum, item) => sum + remaining(progress, item), 0);

/** Whether anything of the plan was drawn or skipped on this tablet. */
export const isBegun = ({ items }) =>
  Object.values(items).some(({ attempts, skipped: given_up }) => attempts > 0 || given_up === true);

/** The first item that is not finished, or null. */
export const nextItem = (items, progress) =>
  items.find((item) => remaining(progress, item) > 0) ?? null;

/** The item that comes when `item` is finished, or null. */
export const itemAfter = (items, progress, item) =>
  nextItem(items.filter(({ item_id }) => item_id !== item.item_id), progress);

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

/** One attempt fewer is wanted: the last was not spoilt after all. */
export function oneLess(progress, item) {
  if (isSkipped(progress, item)) return progress;
  const { attempts, counted } = countsOf(progress, item);
  return withCounts(progress, item, { attempts, counted: counted + 1 });
}

/** No further attempts at this item, until an adult asks for one. */
export function skipped(progress, item) {
  const { attempts } = countsOf(progress, item);
  return withCounts(progress, item, { attempts, counted: wanted(item), skipped: true });
}

export const isSkipped = (progress, item) => countsOf(progress, item).skipped === true;

/** The item as it is to be shown: at its own step, or one rung beside it. */
export function atStep(item, progress) {
  const way = progress.steps?.[item.item_id];
  const graded = item.steps?.[way];
  return graded ? { ...item, task: graded.task, guide: graded.guide, step: way } : item;
}

const OPPOSITE = { easier: "harder", harder: "easier" };

/** Steps that an adult may choose from where an item is now, if their guides have room. */
export const stepsFrom = (item, progress, fits) =>
  Object.keys(OPPOSITE).filter((way) => {
    const next = stepped(progress, item, way);
    return next !== null && fits(atStep(item, next).guide);
  });

/** Progress after one step easier or harder, at most one rung from the plan; null if there is none. */
export function stepped(progress, item, way) {
  const now = progress.steps?.[item.item_id];
  if (now === way) return null;
  const next = now === OPPOSITE[way] ? undefined : way;
  if (next && !item.steps?.[next]) return null;
  const steps = { ...progress.steps };
  if (next) steps[item.item_id] = next;
  else delete steps[item.item_id];
  return { ...progress, steps };
}
