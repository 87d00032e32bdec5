/**
 * Two corners held for a second open the adult strip; a child's stray hand does not.
 *
 * A mouse has one pointer: holding one corner will do. A keyboard or a screen reader
 * presses the corner like any button.
 */

export const HOLD_MS = 1000;
// A corner held for longer was let go unseen: it must not count as one of two for ever.
export const FORGET_MS = 10_000;

export class Corners {
  #opened;
  #later;
  #never;
  #held = new Map();
  #timer = null;

  /**
   * @param {object} options
   * @param {() => void} options.opened
   * @param {(run: () => void, wait_ms: number) => any} [options.later]
   * @param {(timer: any) => void} [options.never]
   */
  constructor({ opened, later = setTimeout.bind(globalThis), never = clearTimeout.bind(globalThis) }) {
    this.#opened = opened;
    this.#later = later;
    this.#never = never;
  }

  /** @param {string} corner  which one */
  down({ pointerId, pointerType, timeStamp }, corner) {
    for (const [other, { since_ms }] of this.#held) {
      if (timeStamp - since_ms > FORGET_MS) this.#held.delete(other);
    }
    this.#held.set(pointerId, { corner, since_ms: timeStamp });
    const corners = new Set([...this.#held.values()].map((hold) => hold.corner));
    if (!(pointerType === "mouse" || corners.size >= 2) || this.#timer !== null) return;
    this.#timer = this.#later(() => {
      this.reset();
      this.#opened();
    }, HOLD_MS);
  }

  /** Lift or cancel of any pointer. */
  up({ pointerId }) {
    if (this.#held.delete(pointerId)) this.#stop();
  }

  reset() {
    this.#held.clear();
    this.#stop();
  }

  #stop() {
    this.#never(this.#timer);
    this.#timer = null;
  }
}
