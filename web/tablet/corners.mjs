/**
 * Two corners held for a second open the adult strip; a child's stray hand does not.
 *
 * A mouse has one pointer: holding one corner will do. A keyboard or a screen reader
 * presses the corner like any button.
 */

export const HOLD_MS = 1000;

export class Corners {
  /**
   * @param {object} options
   * @param {() => void} options.opened
   * @param {(run: () => void, wait_ms: number) => any} [options.later]
   * @param {(timer: any) => void} [options.never]
   */
  constructor({ opened, later = setTimeout.bind(globalThis), never = clearTimeout.bind(globalThis) }) {
    this.opened = opened;
    this.later = later;
    this.never = never;
    this.held = new Map();
    this.timer = null;
  }

  /** @param {string} corner  which one */
  down({ pointerId, pointerType }, corner) {
    this.held.set(pointerId, corner);
    const enough = pointerType === "mouse" || new Set(this.held.values()).size >= 2;
    if (!enough || this.timer !== null) return;
    this.timer = this.later(() => {
      this.reset();
      this.opened();
    }, HOLD_MS);
  }

  /** Lift or cancel of any pointer. */
  up({ pointerId }) {
    if (this.held.delete(pointerId)) this.#stop();
  }

  reset() {
    this.held.clear();
    this.#stop();
  }

  #stop() {
    this.never(this.timer);
    this.timer = null;
  }
}
