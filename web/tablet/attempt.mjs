/** One attempt: from the first frame of its guide to its end. Wires record and ink. */

import { endingOf } from "./ending.mjs";
import { Pen, samplesOf } from "./pen.mjs";

// So long everything must be up before a line that has arrived is taken to be over.
export const SETTLED_MS = 1500;
// A killed browser loses little more than this of a line.
export const JOURNAL_MS = 3000;
// The server takes 200 000 samples at most; this is a quarter of an hour of pen.
export const MOST_SAMPLES = 190_000;

// A hand that rests meets a dot or a piece of the line by chance, never this share of the guide.
const MEANT_SHARE = 0.5;

const NO_SAMPLES = [];

export class Attempt {
  #listeners = new AbortController();
  #ending;
  #over = null;
  #looking = null;
  #noting = null;
  #done = false;
  // Hundreds of times a second: nothing here may make work for later frames, and each call
  // counts.
  #move = (event) => {
    const { pen } = this;
    const contact = pen.contactOf(event.pointerId);
    const samples = contact === null ? NO_SAMPLES : samplesOf(event);
    if (pen.move(event, samples, contact) > 0) this.ink.move(samples, contact);
    else if (contact !== null) this.#lifted(contact);
    else this.#again(event);
  };

  /**
   * @param {object} options
   * @param {HTMLElement} options.surface  receives the pointer
   * @param {import("./ink.mjs").Ink} options.ink
   * @param {object} options.item  plan item
   * @param {object} options.mapping  from `mappingOf`
   * @param {number} options.shown_ms  first frame with the guide [ms]
   * @param {import("./journal.mjs").Journal|null} [options.journal]
   * @param {() => void} options.begun  first contact
   * @param {(ended_by: string) => void} options.ended
   */
  constructor({ surface, ink, item, mapping, shown_ms, journal = null, begun, ended }) {
    Object.assign(this, { surface, ink, item, shown_ms, journal, begun, ended });
    this.marks = [];
    this.#ending = endingOf(item);
    this.pen = new Pen({
      toMm: mapping.toMm, shown_ms, two: item.task.mode === "both" ? this.#ending : null,
      meant: () => this.#ending.share >= MEANT_SHARE,
    });
    this.#listen();
  }

  get drawn() {
    return this.pen.length > 0;
  }

  /** Note something the adult did, at this moment. */
  note(kind) {
    const t_ms = Math.round((performance.now() - this.shown_ms) * 10) / 10;
    this.marks.push({ t_ms, kind });
  }

  /** End the strokes, not the attempt: the adult strip opened, the screen was turned. */
  pause() {
    this.pen.release();
    this.ink.release();
    this.#stopTimers();
    if (this.drawn) this.#noteSoon();
  }

  /** Go on: a pointer that stayed down draws again from its next move on. */
  resume() {
    this.pen.goOn(performance.now());
    if (this.drawn) this.#lifted();
  }

  /** Once it has ended, calls do nothing; one that was cut off is made good by the next. */
  end(ended_by) {
    if (this.#done) return;
    this.#stop();
    this.ended(ended_by);
    this.#done = true;
  }

  /** Stop listening without an end: nothing of this is to be kept. */
  drop() {
    if (this.#listeners.signal.aborted) return;
    this.#done = true;
    this.#stop();
    if (this.drawn) this.journal?.drop();
  }

  /** The screen changed: draw what was drawn at its new place. */
  moved(mapping) {
    this.pause();
    this.pen.toMm = mapping.toMm;
    this.ink.redraw(this.pen.columns, mapping.toPx);
    this.resume();
  }

  #stop() {
    this.#listeners.abort();
    this.pen.release();
    this.ink.release();
    this.#stopTimers();
  }

  #stopTimers() {
    clearTimeout(this.#over);
    clearTimeout(this.#noting);
    clearInterval(this.#looking);
  }

  #listen() {
    const on = (name, handle) =>
      this.surface.addEventListener(name, handle, { signal: this.#listeners.signal });
    on("pointerdown", (event) => this.#down(event));
    on("pointermove", this.#move);
    on("pointerup", (event) => this.#up(event));
    on("pointercancel", (event) => this.#cancel(event));
    // Not on pointerdown: WebKitGTK then keeps the rest of a pen's stroke to itself.
    on("mousedown", (event) => event.preventDefault());
    on("lostpointercapture", (event) => this.#loseCapture(event));
  }

  #down(event) {
    // The corners belong to the adult's fingers; a pen may draw anywhere.
    if (event.pointerType !== "pen" && event.target.closest?.(".corner")) return;
    const first = !this.drawn;
    const taken = this.pen.down(event);
    if (taken === "ignored") return;
    if (taken === "restarted") {
      this.ink.clear();
      this.#ending.restart();
    }
    this.#strokeFrom(event, event.pointerId);
    if (first) this.begun();
  }

  #again(event) {
    const samples = this.pen.again(event);
    if (samples.length === 0) return;
    this.#strokeFrom(samples[0], event.pointerId);
    this.ink.move(samples, this.pen.contactOf(event.pointerId));
  }

  #strokeFrom(place, pointerId) {
    this.#stopTimers();
    this.#capture(pointerId);
    this.ink.down(place, this.pen.contactOf(pointerId));
    this.#looking = setInterval(() => this.#look(), JOURNAL_MS);
  }

  // Without capture a stroke that leaves the window would never end.
  #capture(pointerId) {
    try {
      this.surface.setPointerCapture(pointerId);
    } catch (error) {
      if (error.name !== "NotFoundError") throw error;
    }
  }

  #up(event) {
    const contact = this.pen.contactOf(event.pointerId);
    if (this.pen.up(event)) this.#lifted(contact);
  }

  #cancel(event) {
    const contact = this.pen.contactOf(event.pointerId);
    if (this.pen.cancel(event)) this.#lifted(contact);
  }

  // A finger is first captured by what lies under it; giving that up is no loss. Nor does it
  // lift a pointer that waits to go on.
  #loseCapture(event) {
    const drawing = this.pen.contactOf(event.pointerId) !== null;
    if (event.target === this.surface && drawing) this.#cancel(event);
  }

  /** A contact is up; after a pause all are. */
  #lifted(contact = null) {
    if (contact !== null) this.ink.up(contact);
    if (this.#full()) return;
    if (!this.pen.drawing) {
      this.#stopTimers();
      this.#await();
    }
    this.#noteSoon();
  }

  /** With everything up: end by itself, unless a contact comes before. */
  #await() {
    const ended_by = this.#ending.arrived(this.pen.columns, { down: false });
    const { idle_end_s } = this.item.show ?? {};
    if (ended_by) this.#over = setTimeout(() => this.end(ended_by), SETTLED_MS);
    else if (idle_end_s > 0) this.#over = setTimeout(() => this.end("idle"), 1000 * idle_end_s);
  }

  /** Now and then while something is down. */
  #look() {
    if (!this.#full()) this.#write();
  }

  /** Whether there was no room for more; the attempt has ended then. */
  #full() {
    if (this.pen.length <= MOST_SAMPLES) return false;
    this.end("sample_limit");
    return true;
  }

  #write() {
    this.journal?.write(this.pen, this.marks);
  }

  // Not in the pointer's own event, where the child's line waits for it.
  #noteSoon() {
    clearTimeout(this.#noting);
    this.#noting = setTimeout(() => this.#write(), 0);
  }
}
