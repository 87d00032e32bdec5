/** Writes parts of a journal from a thread of its own, so that no line waits for the disk. */

import { partOf } from "./journal.mjs";

const SCRIPT = "/static/tablet/appender.mjs";
// A thread that says nothing for so long is taken to be dead.
const ANSWER_LIMIT_MS = 5000;

/** A thread that writes, and this page's own hand for when there is none. */
export class Appending {
  #store;
  #thread = null;
  #asked = new Map();
  #count = 0;

  /**
   * @param {object} store  for where there is no thread
   * @param {() => Worker} [thread]  begins one
   */
  constructor(store, thread = () => new Worker(SCRIPT, { type: "module" })) {
    this.#store = store;
    try {
      this.#thread = thread();
    } catch {
      return;
    }
    this.#thread.onmessage = ({ data }) => this.#answered(data);
    this.#thread.onerror = () => this.#giveUp();
  }

  /** Resolves once the part is written. @param {{rows: Float64Array}} row  is used up */
  async append(row) {
    if (this.#thread === null) {
      await this.#store.change([partOf(row)], { relaxed: true });
      return;
    }
    const number = this.#count;
    this.#count += 1;
    await new Promise((resolve, reject) => {
      const limit = setTimeout(() => this.#giveUp(), ANSWER_LIMIT_MS);
      this.#asked.set(number, { resolve, reject, limit });
      this.#thread.postMessage({ number, row }, [row.rows.buffer]);
    });
  }

  #answered({ number, written }) {
    const asked = this.#asked.get(number);
    if (!asked) return;
    clearTimeout(asked.limit);
    this.#asked.delete(number);
    if (written) asked.resolve();
    else asked.reject(new Error("The part was not written."));
  }

  #giveUp() {
    this.#thread?.terminate();
    this.#thread = null;
    for (const number of [...this.#asked.keys()]) this.#answered({ number, written: false });
  }
}
