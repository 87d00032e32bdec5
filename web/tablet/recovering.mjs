/** What an earlier page left: lines that it set aside, and those during which it was killed. */

import { sha256 } from "../shared/sha256.mjs";
import { allAside } from "./aside.mjs";
import { interrupted, leftBehind } from "./journal.mjs";
import { trialRecord } from "./records.mjs";

/** The line of a journal, as the trial that it would have become. */
async function interruptedLine(rows) {
  const { head, document } = interrupted(rows);
  const body = JSON.stringify(document);
  const record = trialRecord(head.trial_id, body, await sha256(body));
  return { record: { ...record, token: head.token }, progress: head.progress };
}

/**
 * @param {object} store  `Store` or `MemoryStore`
 * @param {(record: object, progress: object|null) => Promise<void>} takeUp  keep a record, and
 *   how far its plan had come
 * @returns {Promise<number>} how many lines were interrupted
 */
export async function recover(store, takeUp) {
  const whole = new Set();
  for (const { progress, ...record } of allAside()) {
    whole.add(record.id);
    await takeUp(record, progress ?? null);
  }
  let count = 0;
  for (const rows of await leftBehind(store).catch(() => [])) {
    // What was set aside is all of the line, under the same id: its journal goes with it.
    if (whole.has(rows[0].trial_id)) continue;
    try {
      const { record, progress } = await interruptedLine(rows);
      await takeUp(record, progress);
      count += 1;
    } catch {
      // One that cannot be read stays where it is and does not stop the others.
    }
  }
  return count;
}
