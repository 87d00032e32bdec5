/**
 * What waits on the tablet until the server has confirmed it.
 *
 * A trial is serialised once, before it comes here, and sent as that same text until an
 * answer carries its SHA-256. Nothing is deleted for any other reason, and nothing that the
 * server refuses holds up the rest.
 */

const FIRST_DELAY_MS = 2_000;
const LONGEST_DELAY_MS = 300_000;

/** Wait before the next attempt, after `failures` in a row. [ms] */
export const delayAfter = (failures) =>
  Math.min(LONGEST_DELAY_MS, FIRST_DELAY_MS * 2 ** Math.max(0, failures - 1));

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

export class Outbox {
  #store;
  #send;
  #now;
  #changed;
  #unsaved = new Map();
  #running = null;
  #again = false;
  #timer = null;
  #order = 0;
  #silences = 0;
  #silentUntil_ms = 0;

  /**
   * @param {object} options
   * @param {object} options.store  `Store` or `MemoryStore`
   * @param {(record: object) => Promise<object>} options.send  answers like `request`
   * @param {() => number} [options.now]  clock [ms]
   * @param {() => void} [options.changed]  called after anything here changed
   */
  constructor({ store, send, now = Date.now, changed = () => {} }) {
    this.#store = store;
    this.#send = send;
    this.#now = now;
    this.#changed = changed;
  }

  /** All records, oldest first; `saved` tells whether they would outlive the page. */
  async records() {
    const saved = await this.#store.all("outbox").catch(() => []);
    const rows = [
      ...saved.filter(({ id }) => !this.#unsaved.has(id)).map((row) => ({ ...row, saved: true })),
      ...[...this.#unsaved.values()].map((row) => ({ ...row, saved: false })),
    ];
    return rows.sort((a, b) => a.made_ms - b.made_ms || a.order - b.order);
  }

  /**
   * Keep a record and begin to send it. Resolves once it is on disk; true if it is. The
   * write has begun when this returns: a page that is being left has no later moment.
   *
   * @param {{id: string, trial_id: string, method: string, path: string, token: string,
   *          body: string, sha256: string|null}} record
   */
  async add(record) {
    this.#order += 1;
    const row = {
      ...record, order: this.#order, made_ms: this.#now(), failures: 0, next_ms: 0,
      state: "waiting", title: "",
    };
    const saved = await this.#keep(row);
    this.#changed();
    this.drain();
    return saved;
  }

  /** Send what is due. Calls while a pass runs make it run once more. */
  drain() {
    if (this.#running) {
      this.#again = true;
      return this.#running;
    }
    this.#running = this.#passes().finally(() => {
      this.#running = null;
      if (this.#again) this.drain();
    });
    return this.#running;
  }

  /** Try everything that waits at once: the network came back, or an adult asked. */
  async hurry() {
    this.#silentUntil_ms = 0;
    for (const row of await this.records()) {
      if (row.state === "waiting" && row.next_ms > 0) await this.#keep({ ...row, next_ms: 0 });
    }
    return this.drain();
  }

  /** The tablet was paired again: what the old token could not send goes out with the new. */
  async repaired(token) {
    const rows = await this.records();
    // A mark that waits for such a trial holds the same token, which is dead.
    const dead = new Set(rows.filter((row) => row.state === "unpaired").map((row) => row.token));
    for (const row of rows) {
      if (row.state === "adult" || !dead.has(row.token)) continue;
      await this.#keep({ ...row, token, state: "waiting", next_ms: 0 });
    }
    return this.hurry();
  }

  /** An adult wants a refused record tried again. */
  async retry(id) {
    for (const row of await this.records()) {
      if (row.id === id) await this.#keep({ ...row, state: "waiting", next_ms: 0 });
    }
    return this.drain();
  }

  /** An adult has saved a refused trial to a file and takes it, and its marks, off the tablet. */
  async forget(trial_id) {
    for (const row of await this.records()) {
      if (row.trial_id === trial_id) await this.#remove(row);
    }
    this.#changed();
  }

  async #passes() {
    do {
      this.#again = false;
      await this.#pass();
    } while (this.#again);
    await this.#schedule();
  }

  async #pass() {
    for (const { id } of await this.records()) {
      if (this.#now() < this.#silentUntil_ms) return;
      // Read anew: the answer to an earlier record may have changed this one.
      const rows = await this.records();
      const row = rows.find((other) => other.id === id);
      if (row && this.#due(row, rows)) await this.#attempt(row);
    }
  }

  #due(row, rows) {
    if (row.state !== "waiting" || row.next_ms > this.#now()) return false;
    // A mark follows its trial: the server must know the trial first.
    return row.id === row.trial_id || !rows.some((other) => other.id === row.trial_id);
  }

  async #attempt(row) {
    const answer = await this.#send(row);
    const decided = verdict(row, answer);
    this.#silences = answer.status === null ? this.#silences + 1 : 0;
    if (answer.status === null) {
      this.#silentUntil_ms = this.#now() + delayAfter(this.#silences);
      return;
    }
    if (decided === "clear" && answer.status === 410) await this.forget(row.trial_id);
    else if (decided === "clear") await this.#remove(row);
    else if (decided === "keep") await this.#postpone(row);
    else {
      await this.#keep({ ...row, state: decided, status: answer.status, title: answer.title });
    }
    this.#changed();
  }

  #postpone(row) {
    const failures = row.failures + 1;
    return this.#keep({ ...row, failures, next_ms: this.#now() + delayAfter(failures) });
  }

  async #keep({ saved: _, ...row }) {
    try {
      await this.#store.put("outbox", row);
      this.#unsaved.delete(row.id);
      return true;
    } catch {
      // A full disk: hold it in memory, keep sending, and let the page say so.
      this.#unsaved.set(row.id, row);
      return false;
    }
  }

  async #remove({ id }) {
    this.#unsaved.delete(id);
    await this.#store.remove("outbox", id).catch(() => {});
  }

  async #schedule() {
    clearTimeout(this.#timer);
    const rows = await this.records();
    const waiting = rows.filter((row) => row.state === "waiting" && (
      row.id === row.trial_id || !rows.some((other) => other.id === row.trial_id)));
    if (waiting.length === 0) return;
    const due_ms = Math.max(
      this.#silentUntil_ms, Math.min(...waiting.map(({ next_ms }) => next_ms)));
    this.#timer = setTimeout(() => this.drain(), Math.max(250, due_ms - this.#now()));
    this.#timer.unref?.();
  }
}
