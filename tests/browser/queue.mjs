/** An outbox over a scripted server, and records to put into it. */

import { Outbox } from "../../web/tablet/outbox.mjs";
import { calibrationRecord, observationRecord } from "../../web/tablet/records.mjs";
import { MemoryStore } from "../../web/tablet/store.mjs";

export const trial = (id, more = {}) => ({
  id, trial_id: id, method: "PUT", path: `/api/trials/${id}`, token: "old", body: `{"id":"${id}"}`,
  sha256: `hash-${id}`, ...more,
});
export const mark = (id, trial_id) => ({
  id, kind: "mark", trial_id, method: "POST", path: `/api/trials/${trial_id}/marks`, token: "old",
  body: "{}", sha256: null,
});
export const observation = (id, seen = {}) =>
  ({ ...observationRecord(id, "plan", { kind: "thumb_up", ...seen }), token: "old" });
export const calibration = (id) => ({
  ...calibrationRecord(
    { calibration_id: id, px_per_mm: 5, ratio: 2, made_at: "2026-03-03T09:00:00Z" }, [1180, 820]),
  token: "old",
});
export const answer = (status, json = null) => ({ status, json, title: "" });
export const confirmed = (record) => answer(201, { sha256: record.sha256 });

/** An outbox over a scripted server; `replies` are called in turn, the last one for ever. */
export function desk(...replies) {
  return deskWith({}, ...replies);
}

export function deskWith(options, ...replies) {
  const sent = [];
  const clock = { now_ms: 1_000_000 };
  const store = new MemoryStore();
  const outbox = new Outbox({
    store,
    now: () => clock.now_ms,
    send: async (record) => {
      sent.push(record);
      return (replies.length > 1 ? replies.shift() : replies[0])(record);
    },
    ...options,
  });
  return { outbox, sent, clock, store };
}

export const ids = async (outbox) => (await outbox.records()).map(({ id }) => id);
