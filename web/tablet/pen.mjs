/**
 * Pointer events in, samples out. Draws nothing, keeps no page state.
 *
 * One pointer owns a stroke from its contact to its lift. The first contact of a trial
 * settles its kind (pen, touch or mouse); other kinds are then ignored, with one exception:
 * a palm often lands before the pen does, so a pen that makes contact after touches sets
 * those touches aside. They stay in the document, but not among its samples.
 */

// Samples hold 0.1 µm and 1 µs: finer than any screen, and short enough to send.
const rounded_mm = (value) => Math.round(value * 1e4) / 1e4;
const rounded_ms = (value) => Math.round(value * 1e3) / 1e3;

// A touch this soon after a pen hovered over the screen is the hand that holds the pen.
const HOVER_MS = 1000;

const emptyColumns = () => ({
  t_ms: [], x_mm: [], y_mm: [], stroke: [], pressure: [], tilt_x: [], tilt_y: [],
});

/** Pressure as measured, or null: a mouse's or finger's 0.5 is not a measurement. */
function pressureOf(event) {
  const measured = event.pointerType === "pen" && Number.isFinite(event.pressure);
  return measured ? Math.round(Math.min(1, Math.max(0, event.pressure)) * 1e6) / 1e6 : null;
}

const tiltOf = (event, axis) =>
  event.pointerType === "pen" && Number.isFinite(event[axis]) ? event[axis] : null;

/** The samples of a move: the coalesced ones when there are any, else the event itself. */
export function samplesOf(event) {
  const coalesced = event.getCoalescedEvents?.() ?? [];
  return coalesced.length > 0 ? coalesced : [event];
}

export class Pen {
  /**
   * @param {object} options
   * @param {(x_px: number, y_px: number) => [number, number]} options.toMm
   *   place in the task area [mm] of a place on the screen [CSS px]
   * @param {number} options.shown_ms  first frame in which the guide was shown, on the
   *   clock of `event.timeStamp` [ms]
   */
  constructor({ toMm, shown_ms }) {
    this.toMm = toMm;
    this.shown_ms = shown_ms;
    this.columns = emptyColumns();
    this.kind = null;
    this.owner = null;
    this.strokeCount = 0;
    this.hovered_ms = -Infinity;
    this.setAside = null;
    this.touchesIgnored = 0;
    this.coalescedMoves = 0;
    this.parentMoves = 0;
  }

  get length() {
    return this.columns.t_ms.length;
  }

  get drawing() {
    return this.owner !== null;
  }

  /** True when moves came with coalesced samples; null when there were no moves. */
  get coalesced() {
    if (this.coalescedMoves + this.parentMoves === 0) return null;
    return this.coalescedMoves > 0;
  }

  /** Contact. Returns "started", "restarted" (touches were set aside) or "ignored". */
  down(event) {
    if (!this.#accepts(event)) {
      if (event.pointerType === "touch") this.touchesIgnored += 1;
      return "ignored";
    }
    const overTouches = event.pointerType === "pen" && this.kind === "touch";
    if (overTouches) this.#setTouchesAside();
    this.kind = event.pointerType;
    this.owner = event.pointerId;
    this.strokeCount += 1;
    this.#add(event, pressureOf(event));
    return overTouches ? "restarted" : "started";
  }

  /** Returns how many samples were added; `samples` are those of the event. */
  move(event, samples = samplesOf(event)) {
    if (event.pointerId !== this.owner) {
      if (event.pointerType === "pen") this.hovered_ms = event.timeStamp;
      return 0;
    }
    if (!this.#touching(event)) {
      this.owner = null;
      return 0;
    }
    if (samples[0] === event) this.parentMoves += 1;
    else this.coalescedMoves += 1;
    for (const sample of samples) this.#add(sample, pressureOf(sample));
    return samples.length;
  }

  /** Lift. Its place counts, its pressure is 0 by the standard and does not. */
  up(event) {
    if (event.pointerId !== this.owner) return false;
    this.#add(event, null);
    this.owner = null;
    return true;
  }

  /** The browser took the pointer away: the event's own place means nothing. */
  cancel(event) {
    if (event.pointerId !== this.owner) return false;
    this.owner = null;
    return true;
  }

  /** The stroke ends for a reason outside the pointer: page hidden, screen turned. */
  release() {
    this.owner = null;
  }

  #accepts(event) {
    const { pointerType, button } = event;
    if (pointerType === "pen") {
      if (this.owner !== null) return this.kind === "touch";
      return this.kind === null || this.kind === "pen" || this.kind === "touch";
    }
    if (this.owner !== null || (this.kind !== null && this.kind !== pointerType)) return false;
    if (pointerType === "touch") return event.timeStamp - this.hovered_ms > HOVER_MS;
    return button === 0;
  }

  // Some browsers report pressure 0 on pen moves, so contact is told by the buttons. A
  // small fist presses a pen's side button now and then: any button of a pen is contact.
  #touching(event) {
    return this.kind === "mouse" ? (event.buttons & 1) === 1 : event.buttons !== 0;
  }

  #add(event, pressure) {
    const [x_mm, y_mm] = this.toMm(event.clientX, event.clientY);
    const { columns } = this;
    columns.t_ms.push(rounded_ms(event.timeStamp - this.shown_ms));
    columns.x_mm.push(rounded_mm(x_mm));
    columns.y_mm.push(rounded_mm(y_mm));
    columns.stroke.push(this.strokeCount - 1);
    columns.pressure.push(pressure);
    columns.tilt_x.push(tiltOf(event, "tiltX"));
    columns.tilt_y.push(tiltOf(event, "tiltY"));
  }

  #setTouchesAside() {
    const { t_ms, x_mm, y_mm, stroke } = this.columns;
    this.setAside = { reason: "touch_before_pen", t_ms, x_mm, y_mm, stroke };
    this.touchesIgnored += this.strokeCount;
    this.columns = emptyColumns();
    this.strokeCount = 0;
    this.owner = null;
    this.coalescedMoves = 0;
    this.parentMoves = 0;
  }
}

/** The `samples` of a trial document: columns that hold no measurement are left out. */
export function samplesDocument(columns) {
  const { t_ms, x_mm, y_mm, stroke } = columns;
  const samples = { t_ms, x_mm, y_mm, stroke };
  for (const name of ["pressure", "tilt_x", "tilt_y"]) {
    if (columns[name].some((value) => value !== null)) samples[name] = columns[name];
  }
  return samples;
}
