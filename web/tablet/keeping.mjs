/** What this tablet keeps beside lines, and which of it the disk has not taken yet. */

// These are learned, said or asked once more: losing one of them does no harm.
const MINOR = new Set(["abilities", "told", "setups"]);

export class Keeping {
  #store;
  #waiting = new Map();

  /** @param {object} store  `Store` or `MemoryStore` */
  constructor(store) {
    this.#store = store;
  }

  /** Whether something that matters would be lost with the page. */
  get losable() {
    return [...this.#waiting.keys()].some((name) => !MINOR.has(name));
  }

  /**
   * Write something. Never throws: what finds no room is written by a later `again`.
   *
   * @param {string} name
   * @param {() => import("./store.mjs").Step} stepNow  asked at each write, so that nothing
   *   older is ever written over something newer
   */
  async put(name, stepNow) {
    try {
      await this.#store.change([stepNow()]);
      this.#waiting.delete(name);
    } catch {
      this.#waiting.set(name, stepNow);
    }
  }

  /** Write what found no room before. @returns {Promise<boolean>} whether all is on disk */
  async again() {
    for (const [name, stepNow] of [...this.#waiting]) await this.put(name, stepNow);
    return this.#waiting.size === 0;
  }
}
