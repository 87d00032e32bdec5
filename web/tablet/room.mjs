/**
 * Room on this tablet for one more trial, known before the trial begins.
 *
 * A reserve lies in the storage. When a trial finds no room, the reserve is given up for it;
 * as long as it cannot be laid back, the storage counts as full.
 */

const RESERVE = "reserve";
// A trial of a quarter of an hour of pen has about 8 MB; a usual one less than 0.5 MB.
const RESERVE_BYTES = 4 * 1024 * 1024;
const RANDOM_BYTES_AT_ONCE = 65_536;

// Storage packs what repeats itself: only noise takes the room that it is meant to hold.
function noise(size) {
  const bytes = new Uint8Array(size);
  for (let at = 0; at < size; at += RANDOM_BYTES_AT_ONCE) {
    crypto.getRandomValues(bytes.subarray(at, at + RANDOM_BYTES_AT_ONCE));
  }
  return bytes;
}

export class Room {
  #store;
  #laid = false;
  #laying = null;

  /** @param {object} store  `Store` or `MemoryStore` */
  constructor(store) {
    this.#store = store;
  }

  /** Write what must not be lost; rejects only when there is no room even without the reserve. */
  async write(steps) {
    try {
      await this.#store.change(steps);
    } catch {
      this.#laid = false;
      await this.#store.change([{ store: RESERVE, remove: RESERVE }]);
      await this.#store.change(steps);
    }
  }

  /** Whether one more trial has room. @returns {Promise<"room"|"full">} */
  async state() {
    this.#laying ??= this.#lay().finally(() => { this.#laying = null; });
    await this.#laying;
    return this.#laid ? "room" : "full";
  }

  async #lay() {
    if (this.#laid) return;
    try {
      if (!(await this.#store.has(RESERVE, RESERVE))) {
        const row = { name: RESERVE, bytes: noise(RESERVE_BYTES) };
        await this.#store.change([{ store: RESERVE, put: row }]);
      }
      this.#laid = true;
    } catch {
      this.#laid = false;
    }
  }
}
