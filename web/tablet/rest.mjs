/** A rest: the screen is dim and still; the minutes and the reason are kept. */

import { randomId } from "../shared/sha256.mjs";
import { atStep, attempted, isBegun, nextItem, offered, oneMore, remaining } from "./day.mjs";
import { askedOf, noPen, trialDocument } from "./trial.mjs";
import { whyLeftOut } from "./words.mjs";

const MINUTE_MS = 60_000;
// The server takes no more than a day: a rest that nobody ended, or a clock that was set.
const MOST_MIN = 24 * 60;

/** How long a rest has lasted. [min], to a tenth */
export const minutesSince = (began_ms, now_ms) =>
  Math.min(MOST_MIN, Math.max(0, Math.round((now_ms - began_ms) / (MINUTE_MS / 10)) / 10));

/** Keep the rest among what was seen in the session. */
export function keepRest(tablet, plan_id, began_ms, why) {
  const minutes = minutesSince(began_ms, Date.now());
  return tablet.keepObservation(plan_id, { kind: "rest", minutes, ...(why ? { text: why } : {}) });
}

/**
 * End the rests that nobody can end any more: the page was closed in them, and their plan has
 * run out since. How long they were is not known.
 *
 * @param {import("./tablet.mjs").Tablet} tablet
 * @param {string} [but]  plan that is open
 */
export async function endForgottenRests(tablet, but) {
  if (!tablet.day) return;
  const here = new Set([but, ...tablet.plans.map(({ plan_id }) => plan_id)]);
  for (const { plan_id, rest_ms } of await tablet.store.all("progress")) {
    if (!rest_ms || here.has(plan_id)) continue;
    const progress = await tablet.progressOf(plan_id);
    // A full disk still says what has ended since.
    if (!progress.rest_ms) continue;
    tablet.keepObservation(plan_id, { kind: "rest", text: "not ended on the tablet" });
    await tablet.keepProgress({ ...progress, rest_ms: null });
  }
}

/** An attempt that was not made, and how far the plan is then. */
function without({ plan, asked, at }, item, before) {
  const { progress, seq, repetition } = attempted(before, item);
  const document = trialDocument({
    trial_id: randomId(), seq, plan, repetition, ...asked(item, before), pen: noPen(),
    started_at: at, ended_by: "not_done", marks: [],
  });
  return { document, progress };
}

/**
 * The pictures that will not be drawn any more, as trials without a line.
 *
 * @param {object} sitting
 * @param {{plan_id: string, version: number}} sitting.plan
 * @param {object[]} sitting.items  those that could have been drawn
 * @param {object} sitting.progress
 * @param {(item: object, progress: object) => {item: object, device: object}} sitting.asked
 *   the item at its step and as the tablet lies, and what the tablet says of itself: as for
 *   any trial
 * @param {string} sitting.at  ISO 8601
 * @returns {{document: object, progress: object}[]}  each with how far the plan is then
 */
export function notDone({ items, progress, ...sitting }) {
  const left = [];
  let now = progress;
  for (const item of items) {
    for (let count = remaining(now, item); count > 0; count -= 1) {
      left.push(without(sitting, item, now));
      now = left.at(-1).progress;
    }
  }
  return left;
}

/**
 * What this tablet cannot show, as one trial without a line for each item that was not told
 * before. The item still wants all its attempts, should the tablet be able to after all.
 *
 * @param {object} sitting  as for `notDone`, but
 * @param {{item: object, why: string}[]} sitting.left_out  from `offered`
 * @returns {{document: object, progress: object, why: string}[]}
 */
export function notHere({ left_out, progress, ...sitting }) {
  const left = [];
  let now = progress;
  for (const { item, why } of left_out) {
    // Without a guide it is no task for any tablet, and so nothing is missing.
    if (why === "no_guide" || now.told?.includes(item.item_id)) continue;
    const { document, progress: after } = without(sitting, item, now);
    now = { ...oneMore(after, item), told: [...(now.told ?? []), item.item_id] };
    left.push({ document, progress: now, why: whyLeftOut(why) });
  }
  return left;
}

const aboutOf = (sitting) => ({
  plan: { plan_id: sitting.plan_id, version: sitting.plan.version },
  progress: sitting.progress, at: new Date().toISOString(),
  asked: (planned, progress) => {
    const item = atStep(planned, progress);
    const place = sitting.screen.place(item.guide);
    return { item: askedOf(item, sitting.setup, place), device: sitting.deviceAt(place) };
  },
});

function keep(sitting, left, why) {
  const { tablet } = sitting;
  for (const { document, progress, why: known = why } of left) {
    sitting.progress = progress;
    tablet.keepTrial(document, { leaving: false, progress });
    tablet.keepMark(document.trial_id, { outcome: "not_done", ...(known ? { why: known } : {}) });
  }
}

/**
 * What could still be drawn will not be.
 *
 * @param {import("./sitting.mjs").Sitting} sitting
 * @param {string|null} why
 * @param {object[]} [items]  of the plan; by default all that are offered
 */
export function tellNotDone(sitting, why, items = sitting.items) {
  if (!sitting.plan) return;
  keep(sitting, notDone({ ...aboutOf(sitting), items }), why);
}

/**
 * Once nothing is left to be drawn here, tell what could not be, and why. A plan that was only
 * looked at is not begun by it: another tablet may have room for all of it.
 */
export function tellNotHere(sitting) {
  const { plan, screen, items, progress } = sitting;
  // Under another scale nobody knows what has room.
  if (!plan || screen.scale.why === "zoomed" || nextItem(items, progress)) return;
  if (!isBegun(progress)) return;
  keep(sitting, notHere({ ...aboutOf(sitting), left_out: offered(plan, screen.able).left_out }));
}
