/** What an answer of the server means for a record that waits on the tablet. Pure. */

const FIRST_DELAY_MS = 2_000;
const LONGEST_DELAY_MS = 300_000;
const SHORTEST_WAIT_MS = 250;

/** Wait before the next attempt, after `failures` in a row. [ms] */
export const delayAfter = (failures) =>
  Math.min(LONGEST_DELAY_MS, FIRST_DELAY_MS * 2 ** Math.max(0, failures - 1));

/** Whether a wait until `at_ms` is over, also when the clock was set back meanwhile. */
export const isDue = (at_ms, now_ms) => at_ms <= now_ms || at_ms > now_ms + LONGEST_DELAY_MS;

/** How long a timer is to wait for it. [ms] */
export const waitUntil = (at_ms, now_ms) =>
  Math.min(LONGEST_DELAY_MS, Math.max(SHORTEST_WAIT_MS, at_ms - now_ms));

/**
 * What to do with a record after an answer.
 *
 * @param {{sha256: string|null}} record
 * @param {{status: number|null, json: any}} answer
 * @returns {"clear"|"keep"|"unpaired"|"adult"}
 */
export function verdict(record, { status, json }) {
  if (status === 200 || status === 201 || status === 204) {
    return record.sha256 === null || json?.sha256 === record.sha256 ? "clear" : "keep";
  }
  if (status === 410) return "clear";
  if (status === 401) return "unpaired";
  if (status === null || status < 400 || status >= 500) return "keep";
  return status === 408 || status === 425 || status === 429 ? "keep" : "adult";
}

/** Kind of a record; those of older pages do not say it. */
export const kindOf = ({ kind, id, trial_id }) => kind ?? (id === trial_id ? "trial" : "mark");
