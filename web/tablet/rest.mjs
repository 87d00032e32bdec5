/** A rest: the screen is dim and still; the minutes and the reason are kept. */

import { randomId } from "../shared/sha256.mjs";
import { attempted, remaining } from "./day.mjs";
import { noPen, trialDocument } from "./trial.mjs";

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
 * The pictures that will not be drawn any more, as trials without a line.
 *
 * @param {object} sitting
 * @param {{plan_id: string, version: number}} sitting.plan
 * @param {object[]} sitting.items  those that could have been drawn
 * @param {object} sitting.progress
 * @param {(item: object) => object} sitting.deviceFor  as for any trial
 * @param {string} sitting.at  ISO 8601
 * @returns {{document: object, progress: object}[]}  each with how far the plan is then
 */
export function notDone({ plan, items, progress, deviceFor, at }) {
  const left = [];
  let now = progress;
  for (const item of items) {
    for (let count = remaining(now, item); count > 0; count -= 1) {
      const { progress: next, seq, repetition } = attempted(now, item);
      now = next;
      const document = trialDocument({
        trial_id: randomId(), seq, plan, item, repetition, device: deviceFor(item), pen: noPen(),
        started_at: at, ended_by: "not_done", marks: [],
      });
      left.push({ document, progress: next });
    }
  }
  return left;
}
