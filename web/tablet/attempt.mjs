/** One attempt: from the first frame of its guide to its end. Wires record and ink. */

import { insideStop, Progress } from "./guide.mjs";
import { Pen, samplesOf } from "./pen.mjs";

const SETTLED_MS = 1500;
const ENOUGH_SHARE = 0.5;
// The server takes 200 000 samples at most; this is a quarter of an hour of pen.
const MOST_SAMPLES = 190_000;

export class Attempt {
  /**
   * @param {object} options
   * @param {HTMLElement} options.surface  receives the pointer
   * @param {import("./ink.mjs").Ink} options.ink
   * @param {object} options.item  plan item
   * @param {object} options.mapping  from `mappingOf`
   * @param {number} options.shown_ms  first frame with the guide [ms]
   * @param {() => void} options.begun  first contact
   * @param {(ended_by: string) => void} options.ended
   */
  constructor({ surface, ink, item, mapping, shown_ms, begun, ended }) {
    this.surface = surface;
    this.ink = ink;
    this.item = item;
    this.mapping = mapping;
    this.shown_ms = shown_ms;
    this.begun = begun;
    this.ended = ended;
    this.marks = [];
    this.timer = null;
    this.pen = new Pen({ toMm: (x, y) => this.mapping.toMm(x, y), shown_ms });
    this.progress = new Progress(item.guide);
    this.listeners = new AbortController();
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

  /** End the stroke, not the attempt: the adult strip opened, the screen was turned. */
  pause() {
    this.pen.release();
    this.ink.up();
    clearTimeout(this.timer);
  }

  resume() {
    if (this.drawn) this.#lifted();
  }

  end(ended_by) {
    if (this.listeners.signal.aborted) return;
    this.pause();
    this.listeners.abort();
    this.ended(ended_by);
  }

  /** Stop listening without an end: nothing was drawn and nothing is to be kept. */
  drop() {
    clearTimeout(this.timer);
    this.listeners.abort();
  }

  /** The screen changed: draw what was drawn at its new place. */
  moved(mapping) {
    this.pause();
    this.mapping = mapping;
    this.ink.redraw(this.pen.columns, mapping.toPx);
    this.resume();
  }

  #listen() {
    const on = (name, handle) =>
      this.surface.addEventListener(name, handle, { signal: this.listeners.signal });
    on("pointerdown", (event) => this.#down(event));
    on("pointermove", (event) => this.#move(event));
    on("pointerup", (event) => this.#up(event));
    on("pointercancel", (event) => this.#cancel(event));
    on("lostpointercapture", (event) => this.#cancel(event));
  }

  #down(event) {
    // The corners belong to the adult's fingers; a pen may draw anywhere.
    if (event.pointerType !== "pen" && event.target.closest?.(".corner")) return;
    event.preventDefault();
    const first = !this.drawn;
    const taken = this.pen.down(event);
    if (taken === "ignored") return;
    clearTimeout(this.timer);
    if (taken === "restarted") {
      this.ink.clear();
      this.progress.restart();
    }
    this.#capture(event.pointerId);
    this.ink.down(event);
    if (first) this.begun();
  }

  // Without capture a stroke that leaves the window would never end.
  #capture(pointerId) {
    try {
      this.surface.setPointerCapture(pointerId);
    } catch (error) {
      if (error.name !== "NotFoundError") throw error;
    }
  }

  #move(event) {
    const wasDrawing = this.pen.drawing;
    const samples = samplesOf(event);
    if (this.pen.move(event, samples) > 0) this.ink.move(samples);
    else if (wasDrawing && !this.pen.drawing) this.#lifted();
    if (this.pen.length > MOST_SAMPLES) this.end("sample_limit");
  }

  #up(event) {
    if (this.pen.up(event)) this.#lifted();
  }

  #cancel(event) {
    if (this.pen.cancel(event)) this.#lifted();
  }

  #lifted() {
    this.ink.up();
    clearTimeout(this.timer);
    if (this.#arrived()) {
      this.timer = setTimeout(() => this.end("stop_target"), SETTLED_MS);
    } else if (this.item.show?.idle_end_s > 0) {
      this.timer = setTimeout(() => this.end("idle"), 1000 * this.item.show.idle_end_s);
    }
  }

  #arrived() {
    const { columns, length } = this.pen;
    this.progress.update(columns);
    return length > 0
      && insideStop(this.item.guide, columns.x_mm[length - 1], columns.y_mm[length - 1])
      && this.progress.share >= ENOUGH_SHARE;
  }
}
