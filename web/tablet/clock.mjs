/** How far this tablet's clock is from the server's, and when it may have been set. */

// Less than this is the journey of an answer.
const STEP_MS = 1000;
const LOOK_MS = 5000;

/**
 * What to add to this tablet's clock to get the server's, by an answer to "GET
 * /api/tablet/day"; the server's time is taken to be that of the middle of the journey.
 *
 * @param {import("../shared/api.mjs").Answer} answer
 * @param {number} asked_ms  by this tablet's clock [ms since 1970]
 * @param {number} came_ms  when the answer was there, by the same clock
 * @returns {number|null} [ms]; null when the answer does not say the server's time
 */
export function offsetOf({ time_ms, json }, asked_ms, came_ms) {
  const said_ms = time_ms ?? Date.parse(json?.plans?.[0]?.server_time ?? "");
  return Number.isFinite(said_ms) ? Math.round(said_ms - (asked_ms + came_ms) / 2) : null;
}

/** Whether a clock was set between two offsets. @param {number|null} before_ms  if it is known */
export const wasSet = (before_ms, now_ms) =>
  !Number.isFinite(before_ms) || Math.abs(now_ms - before_ms) >= STEP_MS;

/** Tell when this tablet's clock was set, or the tablet slept: a page cannot tell them apart. */
export function watchClock(told) {
  const apart = () => Date.now() - performance.now();
  let before_ms = apart();
  const timer = setInterval(() => {
    const now_ms = apart();
    if (wasSet(before_ms, now_ms)) told();
    before_ms = now_ms;
  }, LOOK_MS);
  timer.unref?.();
}
