/**
 * What waits on the tablet until the server has confirmed it.
 *
 * A trial is serialised once, before it comes here, and sent as that same text until an
 * answer carries its SHA-256. Nothing is deleted for any other reason, and nothing that the
 * server refuses holds up the rest. The texts of waiting trials stay on disk: what is known
 * of each record is kept here, so that a long queue costs no more than a short one.
 */

import { delayAfter, isDue, kindOf, verdict, waitUntil } from "./answers.mjs";
import { belonging, inOrder, journalOf, known } from "./rows.mjs";

export class Outbox {
  #store;
  #send;
  #write;
  #token;
  #now;
  #changed;
  #settled;
  #rows = new Map();
  #held = new Map();
  #read = null;
  #saving = Promise.resolve();
  #running = null;
  #again = false;
  #timer = null;
  #latest_ms = 0;
  #silences = 0;
  #silentUntil_ms = 0;

  /**
   * @param {object} options
   * @param {object} options.store  `Store` or `MemoryStore`
   * @param {(record: object) => Promise<object>} options.send  answers like `request`
   * @param {(steps: object[]) => Promise<void>} [options.write]  writes what must not be lost
   * @param {() => string|null} [options.token]  of the pairing that holds now
   * @param {() => number} [options.now]  clock [ms]
   * @param {() => void} [options.changed]  called after anything here changed
   * @param {(id: string) => void} [options.settled]  told of each record that came to be on
   *   disk, or that need not be kept any more
   */
  constructor({
    store, send, write = (steps) => store.change(steps), token = () => null, now = Date.now,
    changed = () => {}, settled = () => {},
  }) {
    this.#store = store;
    this.#send = send;
    this.#write = write;
    this.#token = token;
    this.#now = now;
    this.#changed = changed;
    this.#settled = settled;
  }

  /** How many records would be lost with the page: the disk did not take them. */
  get unsaved() {
    return this.#held.size;
  }

  /**
   * All records, oldest first; `saved` tells whether they would outlive the page. `body` is
   * there except for trials that merely wait.
   */
  async records() {
    await this.#known();
    return inOrder(this.#rows.values()).map((row) => ({ ...row, saved: !this.holds(row.id) }));
  }

  /** Whether a record is held in memory only. */
  holds(id) {
    return this.#held.has(id);
  }

  /**
   * Keep a record and begin to send it. Resolves once it is on disk; true if it is. The
   * write has begun when this returns: a page that is being left has no later moment. One that
   * waits already stays as it is: its text may be on its way.
   *
   * @param {{id: string, kind: string, trial_id: string|null, method: string, path: string,
   *          token: string, body: string, sha256: string|null}} record
   * @param {object[]} [along]  steps that are to be taken with it, or not at all
   */
  async add(record, along = []) {
    if (this.#rows.has(record.id)) return !this.holds(record.id);
    // On a clock that was set back a newer mark would go before an older one.
    this.#latest_ms = Math.max(this.#now(), this.#latest_ms + 1);
    const row = {
      ...record, kind: kindOf(record), made_ms: this.#latest_ms, state: "waiting", title: "",
    };
    const saved = await this.#save(row, along);
    // A full disk: hold it in memory, keep sending, let the page say so.
    if (!saved) this.#held.set(row.id, row);
    if (!this.#rows.has(row.id)) this.#rows.set(row.id, known(row));
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
      return this.#again ? this.drain() : undefined;
    });
    return this.#running;
  }

  /** Try everything that waits at once: the network came back, or an adult asked. */
  async hurry() {
    this.#silentUntil_ms = 0;
    await this.#known();
    for (const row of this.#rows.values()) row.next_ms = 0;
    return this.drain();
  }

  /** The page was left and came back: look again at what is on disk. */
  reread() {
    this.#read = null;
    return this.hurry();
  }

  /** The tablet was paired again: what the old token could not send goes out with the new. */
  async repaired(token) {
    await this.#known();
    const rows = [...this.#rows.values()];
    // A mark that waits for such a trial holds the same token, which is dead.
    const dead = new Set(rows.filter((row) => row.state === "unpaired").map((row) => row.token));
    for (const row of rows) {
      if (row.state === "adult" || !dead.has(row.token)) continue;
      await this.#rewrite(row, { token, state: "waiting" });
    }
    return this.hurry();
  }

  /** An adult wants a refused record tried again. */
  async retry(id) {
    await this.#known();
    const row = this.#rows.get(id);
    if (row) await this.#rewrite(row, { state: "waiting" });
    return this.drain();
  }

  /**
   * An adult has saved a refused record to a file and takes it off the tablet; a trial goes
   * with all that belongs to it. What belongs to a trial that was sent stays.
   *
   * @param {string} id  of the record, or of the trial that it belongs to
   */
  async forget(id) {
    await this.#known();
    const whole = this.#rows.has(id);
    await this.#remove(belonging(this.#rows.values(), id)
      .filter((row) => row.id === id || whole || row.state === "adult"));
    this.#changed();
  }

  // A failed look at the disk is repeated when something else is asked.
  #known() {
    this.#read ??= this.#store
      .each("outbox", (row) => {
        this.#latest_ms = Math.max(this.#latest_ms, row.made_ms ?? 0);
        if (!this.#rows.has(row.id)) this.#rows.set(row.id, known(row));
      })
      .catch(() => { this.#read = null; });
    return this.#read;
  }

  async #passes() {
    await this.#known();
    do {
      this.#again = false;
      await this.saveHeld();
      await this.#pass();
    } while (this.#again);
    this.#schedule();
  }

  async #pass() {
    // What got no answer lets the others go first: it may be all that does not get through.
    const order = inOrder(this.#rows.values()).sort((a, b) => a.silences - b.silences);
    for (const { id } of order) {
      if (!isDue(this.#silentUntil_ms, this.#now())) return;
      // Asked anew: the answer to an earlier record may have changed this one.
      const row = this.#rows.get(id);
      if (row && this.#free(row) && isDue(row.next_ms, this.#now())) await this.#attempt(row);
    }
  }

  /** Whether a record may go out: the server must know a trial before what belongs to it. */
  #free(row) {
    return row.state === "waiting" && (row.kind === "trial" || !this.#rows.has(row.trial_id));
  }

  async #attempt(row) {
    const record = await this.#whole(row).catch(() => null);
    if (record === null) return this.#postpone(row);
    // Another window has sent it.
    if (record === undefined) return this.#rows.delete(row.id);
    const answer = await this.#send(record);
    this.#silences = answer.status === null ? this.#silences + 1 : 0;
    if (answer.status === null) {
      row.silences += 1;
      this.#silentUntil_ms = this.#now() + delayAfter(this.#silences);
      return undefined;
    }
    await this.#settle(row, record, answer);
    return this.#changed();
  }

  #settle(row, record, answer) {
    const decided = verdict(record, answer);
    if (decided === "keep") return this.#postpone(row);
    if (decided === "clear") {
      // The child was erased: all that belongs to the trial goes.
      return this.#remove(answer.status === 410
        ? belonging(this.#rows.values(), row.trial_id ?? row.id) : [row]);
    }
    const token = this.#token();
    if (decided === "unpaired" && token !== null && token !== record.token) {
      // The tablet was paired again since: no adult need be asked.
      this.#again = true;
      return this.#rewrite(row, { token });
    }
    return this.#rewrite(row, { state: decided, status: answer.status, title: answer.title });
  }

  #postpone(row) {
    row.failures += 1;
    row.next_ms = this.#now() + delayAfter(row.failures);
  }

  /** A record with its text, or undefined when it is gone from the disk. */
  async #whole({ failures: _, next_ms: __, silences: ___, ...row }) {
    const stored = this.#held.get(row.id) ?? await this.#store.get("outbox", row.id);
    return stored && { ...stored, ...row, body: stored.body };
  }

  async #save(row, along) {
    try {
      await this.#write([{ store: "outbox", put: row }, ...along]);
    } catch {
      return false;
    }
    // Changed meanwhile, the newer one is still to be saved.
    if (this.#held.get(row.id) === row) this.#held.delete(row.id);
    if (!this.#held.has(row.id)) this.#settled(row.id);
    return true;
  }

  /** What the disk did not take may have room by now. */
  saveHeld() {
    this.#saving = this.#saving.catch(() => {}).then(() => this.#saveAll());
    return this.#saving;
  }

  async #saveAll() {
    for (const row of [...this.#held.values()]) {
      // What else went along has changed since; the journal of a line has not.
      if (this.holds(row.id) && !(await this.#save(row, journalOf(row)))) return;
      // Sent, or taken off by an adult, while it was written.
      if (!this.#rows.has(row.id)) await this.#remove([row]);
      this.#changed();
    }
  }

  /** Change what is known of a record. If the disk does not take it, the older row stays there. */
  async #rewrite(row, changes) {
    const record = await this.#whole({ ...row, ...changes }).catch(() => undefined);
    this.#rows.set(row.id, known({ ...row, ...changes, body: record?.body ?? row.body }));
    if (!record) return;
    if (this.#held.has(row.id)) this.#held.set(row.id, record);
    else await this.#store.change([{ store: "outbox", put: record }]).catch(() => {});
  }

  async #remove(rows) {
    for (const { id } of rows) {
      this.#rows.delete(id);
      this.#held.delete(id);
      this.#settled(id);
    }
    // A trial that was held in memory has left its journal on the disk.
    const steps = rows.flatMap((row) =>
      [{ store: "outbox", remove: row.id }, ...journalOf(row)]);
    if (steps.length > 0) await this.#store.change(steps).catch(() => {});
  }

  #schedule() {
    clearTimeout(this.#timer);
    const free = [...this.#rows.values()].filter((row) => this.#free(row));
    if (free.length === 0) return;
    const due_ms = Math.max(this.#silentUntil_ms, Math.min(...free.map(({ next_ms }) => next_ms)));
    this.#timer = setTimeout(() => this.drain(), waitUntil(due_ms, this.#now()));
    this.#timer.unref?.();
  }
}
