/**
 * The line that is being drawn, written down in parts, so that a browser that is killed
 * loses seconds of it and not the whole line.
 *
 * A journal ends in one of two ways: the trial it belongs to is kept, in the same
 * transaction; or the next page finds it and makes the trial itself, "interrupted".
 */

import { columnsOf } from "./record.mjs";
import { trialDocument } from "./trial.mjs";

const HEAD = 0;

const partOf = (row) => ({ store: "journal", put: row });

/** The step that removes a trial's journal. */
export const withoutJournal = (trial_id) => ({ store: "journal", under: trial_id });

export class Journal {
  #store;
  #head;
  #aside = null;
  #from = 0;
  #part = HEAD;
  #marks = [];
  #wanted = null;
  #writing = null;
  #closed = false;

  /**
   * @param {object} store  `Store` or `MemoryStore`
   * @param {object} head
   * @param {string} head.trial_id
   * @param {object} head.base  parts of `trialDocument` without pen, ended_by and marks
   * @param {object} head.progress  of the plan, once this trial is kept
   * @param {string} head.token  of the pairing that the trial belongs to
   */
  constructor(store, head) {
    this.#store = store;
    this.#head = head;
  }

  get trial_id() {
    return this.#head.trial_id;
  }

  /**
   * Add what came since the last write. Never throws; while one write runs, the next waits
   * and takes everything along. The first contact must have been recorded.
   *
   * @param {import("./pen.mjs").Pen} pen
   * @param {{t_ms: number, kind: string}[]} [marks]  the attempt's, all of them
   */
  write(pen, marks = this.#marks) {
    this.#marks = marks;
    if (this.#closed) return Promise.resolve();
    this.#wanted = pen;
    this.#writing ??= this.#writeAll().finally(() => { this.#writing = null; });
    return this.#writing;
  }

  /** No more writes: the trial is about to be kept. */
  close() {
    this.#closed = true;
  }

  /** Nothing of this line is to be kept. */
  async drop() {
    this.close();
    await this.#store.change([withoutJournal(this.trial_id)]).catch(() => {});
  }

  async #writeAll() {
    while (this.#wanted && !this.#closed) {
      const pen = this.#wanted;
      this.#wanted = null;
      const [aside, from, part] = [pen.setAside ?? null, pen.length, this.#part + 1];
      try {
        await this.#store.change(this.#stepsFor(pen, aside), { relaxed: true });
        [this.#aside, this.#from, this.#part] = [aside, from, part];
      } catch {
        // No room: the next write tries the same samples again, and the trial has its reserve.
      }
    }
  }

  #stepsFor(pen, aside) {
    const { trial_id } = this;
    const anew = this.#part === HEAD || aside !== this.#aside;
    const row = {
      trial_id, part: this.#part + 1, ...pen.rowsFrom(anew ? 0 : this.#from),
      facts: pen.facts, marks: this.#marks,
    };
    if (!anew) return [partOf(row)];
    // The first write, or touches were set aside and the line began anew.
    return [
      withoutJournal(trial_id), partOf({ ...this.#head, part: HEAD }),
      partOf({ ...row, set_aside: aside }),
    ];
  }
}

/** Journals that an earlier page left behind: rows of each, in order. */
export async function leftBehind(store) {
  const journals = new Map();
  for (const row of await store.all("journal")) {
    if (!journals.has(row.trial_id)) journals.set(row.trial_id, []);
    journals.get(row.trial_id).push(row);
  }
  return [...journals.values()].map((rows) => rows.sort((a, b) => a.part - b.part));
}

/** The trial of a journal, "interrupted". @returns {{head: object, document: object}} */
export function interrupted([head, ...parts]) {
  const { facts, marks } = parts[parts.length - 1];
  const document = trialDocument({
    ...head.base, trial_id: head.trial_id, ended_by: "interrupted", marks,
    pen: { ...facts, columns: columnsOf(parts), setAside: parts[0].set_aside },
  });
  return { head, document };
}
