/** Keeps the screen from going dark while a child draws; browsers without wake locks may dim. */

export class Awake {
  #wanted = false;
  #lock = null;
  #asking = false;

  constructor() {
    // The browser takes the lock away whenever the page is hidden.
    document.addEventListener("visibilitychange", () => this.#ask());
  }

  hold() {
    this.#wanted = true;
    return this.#ask();
  }

  async release() {
    this.#wanted = false;
    const lock = this.#lock;
    this.#lock = null;
    await lock?.release();
  }

  async #ask() {
    if (!this.#wanted || document.hidden || !navigator.wakeLock) return;
    // A second lock would never be given back.
    if (this.#asking || (this.#lock !== null && !this.#lock.released)) return;
    this.#asking = true;
    try {
      this.#lock = await navigator.wakeLock.request("screen");
    } catch {
      // Refused, as on a low battery: the page works without.
      this.#lock = null;
    } finally {
      this.#asking = false;
    }
    if (!this.#wanted) await this.release();
  }
}
