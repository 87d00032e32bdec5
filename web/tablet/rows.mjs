/** Records that wait, as far as a page has to know them. Pure. */

import { kindOf } from "./answers.mjs";

/**
 * What a page knows of a record; its text only where an adult may want to save it: such rows
 * are small, or rare. The rest differs from the record in what only this page knows.
 */
export function known(row) {
  const { body, ...rest } = { ...row, kind: kindOf(row), failures: 0, next_ms: 0, silences: 0 };
  return rest.kind === "trial" && rest.state !== "adult" ? rest : { ...rest, body };
}

/** Oldest first; rows of older pages may share a moment, and have an order of their own. */
export const inOrder = (rows) =>
  [...rows].sort((a, b) => a.made_ms - b.made_ms || (a.order ?? 0) - (b.order ?? 0));

/** A record by its id, and what belongs to the trial with this id. @param {string|null} id */
export const belonging = (rows, id) =>
  [...rows].filter((row) => id && (row.id === id || row.trial_id === id));

/** The step that removes the journal of a trial, if the record is one. */
export const journalOf = ({ id, kind }) =>
  (kind === "trial" ? [{ store: "journal", under: id }] : []);
