/**
 * Pointer events in, samples out. Draws nothing, keeps no page state.
 *
 * One pointer owns a stroke from its contact to its lift. With one hand the first contact
 * of a trial settles its kind (pen, touch or mouse); other kinds are then ignored, with one
 * exception: a palm often lands before the pen does, so a pen that makes contact after
 * touches sets those touches aside. They stay in the document, but not among its samples.
 * A finger that has drawn a line is no palm: then the pen goes on with the finger's trial.
 * In mode `both` there may be two contacts at once, each with strokes of its own.
 */

import { isLine } from "./palm.mjs";
import { Record } from "./record.mjs";
import { placesOf } from "./samples.mjs";

// A touch this soon after a pen hovered over the screen is the hand that holds the pen.
const HOVER_MS = 1000;
// A finger that rests sends nothing; one that is still said to be down while another is the
// first finger, and that was silent for so long, has been lifted unseen.
const SILENT_MS = 2000;

// Pen and finger draw on the screen itself; a mouse, or what a browser cannot name, does not.
const isDirect = (type) => type === "pen" || type === "touch";

// Some browsers report pressure 0 on pen moves, so contact is told by the buttons. A small
// fist presses a pen's side button now and then: any button of a pen is contact. A finger
// cannot hover.
const touching = (type, buttons) => (type === "pen" ? buttons !== 0 : (buttons & 1) === 1);

/** The samples of a move: the coalesced ones when there are any, else the event itself. */
export function samplesOf(event) {
  const coalesced = event.getCoalescedEvents?.();
  return coalesced?.length > 0 ? coalesced : [event];
}

export class Pen {
  #owners = [null, null];
  // Pointers that were down at a release, and the time from which they may go on. [ms]
  #held = [null, null];
  #goesOn_ms = Infinity;
  #types = [null, null];
  #strokes = [null, null];
  #strokeCount = 0;
  #hovered_ms = -Infinity;
  #fingerDrew = false;
  #coalescedMoves = 0;
  #parentMoves = 0;
  #at_mm = [0, 0];
  #record;

  /**
   * @param {object} options
   * @param {(x_px: number, y_px: number, at_mm: [number, number]) => [number, number]}
   *   options.toMm  place in the task area [mm] of a place on the screen [CSS px], which may
   *   be put into `at_mm`
   * @param {number} options.shown_ms  first frame in which the guide was shown, on the
   *   clock of `event.timeStamp` [ms]
   * @param {{claim: (x_mm: number, y_mm: number, taken: boolean[]) => 0|1|null}|null}
   *   [options.two]  in mode `both`, what tells which contact a new touch is
   * @param {() => boolean} [options.meant]  whether touches that are no line, as taps are
   *   none, were meant all the same
   */
  constructor({ toMm, shown_ms, two = null, meant = () => false }) {
    this.toMm = toMm;
    this.shown_ms = shown_ms;
    this.two = two;
    this.meant = meant;
    this.#record = new Record({ pointer: two !== null });
    this.kind = null;
    this.kinds = [];
    this.setAside = null;
    this.touchesIgnored = 0;
  }

  get length() {
    return this.#record.length;
  }

  /** All samples, a list for each quantity; NaN where nothing was measured. */
  get columns() {
    return this.#record.columns;
  }

  rowsFrom(from) {
    return this.#record.rowsFrom(from);
  }

  get drawing() {
    return this.#owners[0] !== null || this.#owners[1] !== null;
  }

  /** True when moves came with coalesced samples; null when there were no moves. */
  get coalesced() {
    if (this.#coalescedMoves + this.#parentMoves === 0) return null;
    return this.#coalescedMoves > 0;
  }

  get facts() {
    const { kind, kinds, coalesced, touchesIgnored } = this;
    return { kind, kinds, coalesced, touchesIgnored };
  }

  /** Which contact a pointer is while it is down, else null. */
  contactOf(pointerId) {
    if (pointerId === this.#owners[0]) return 0;
    return pointerId === this.#owners[1] ? 1 : null;
  }

  /** Contact. Returns "started", "restarted" (touches were set aside) or "ignored". */
  down(event) {
    const { pointerType } = event;
    this.#endUnseen(event);
    const contact = this.#accepts(event) ? this.#claimed(event) : null;
    if (contact === null) {
      if (pointerType === "touch") this.touchesIgnored += 1;
      return "ignored";
    }
    const overTouches = this.two === null && pointerType === "pen" && this.kind === "touch"
      && !this.#fingerDrew && !this.meant();
    if (overTouches) this.#setTouchesAside();
    // One finger is enough for the trial not to be a pen's.
    if (this.kind !== "touch") this.kind = pointerType;
    this.#start(event, contact);
    this.#add(event, contact, false);
    return overTouches ? "restarted" : "started";
  }

  /**
   * A move of a pointer that was down at a release: once it may go on, a stroke of its own.
   * Returns the samples that were added; none if it is no such pointer, or was lifted.
   */
  again(event) {
    const contact = this.#held.indexOf(event.pointerId);
    if (contact < 0) return [];
    if (event.pointerType !== "touch" && !touching(event.pointerType, event.buttons)) {
      this.#lift(contact, event);
      return [];
    }
    const samples = samplesOf(event).filter(({ timeStamp }) => timeStamp >= this.#goesOn_ms);
    if (samples.length === 0) return samples;
    this.#start(event, contact);
    this.move(event, samples, contact);
    return samples;
  }

  /** Returns how many samples were added; the others are for those who know them already. */
  move(event, samples = samplesOf(event), contact = this.contactOf(event.pointerId)) {
    if (contact === null) {
      if (event.pointerType === "pen") this.#hovered_ms = event.timeStamp;
      return 0;
    }
    const type = this.#types[contact];
    if (type !== "touch" && !touching(type, event.buttons)) {
      this.#lift(contact, event);
      return 0;
    }
    if (samples[0] === event) this.#parentMoves += 1;
    else this.#coalescedMoves += 1;
    // As `#add`, but without a call for each sample.
    const record = this.#record;
    const stroke = this.#strokes[contact];
    const pen = type === "pen";
    for (let i = 0; i < samples.length; i += 1) {
      const sample = samples[i];
      const at_mm = this.toMm(sample.clientX, sample.clientY, this.#at_mm);
      record.add(
        sample.timeStamp - this.shown_ms, at_mm[0], at_mm[1], stroke,
        pen ? sample.pressure : NaN, pen ? sample.tiltX : NaN, pen ? sample.tiltY : NaN, contact);
    }
    return samples.length;
  }

  /** Lift. Its place counts, its pressure is 0 by the standard and does not. */
  up(event) {
    const contact = this.contactOf(event.pointerId);
    if (contact !== null) this.#add(event, contact, true);
    const known = contact ?? this.#held.indexOf(event.pointerId);
    if (known >= 0) this.#lift(known, event);
    return contact !== null;
  }

  /** The browser took the pointer away: the event's own place means nothing. */
  cancel(event) {
    const contact = this.contactOf(event.pointerId);
    const known = contact ?? this.#held.indexOf(event.pointerId);
    if (known >= 0) this.#end(known);
    return contact !== null;
  }

  /** All strokes end for a reason outside the pointer: strip opened, screen moved. */
  release() {
    for (const contact of [0, 1]) {
      const owner = this.#owners[contact];
      if (owner === null) continue;
      this.#look(contact);
      this.#end(contact);
      this.#held[contact] = owner;
    }
    this.#goesOn_ms = Infinity;
  }

  /** Whatever is still down after a release may go on from this time. [ms] */
  goOn(now_ms) {
    this.#goesOn_ms = now_ms;
  }

  #start({ pointerId, pointerType }, contact) {
    this.#owners[contact] = pointerId;
    this.#held[contact] = null;
    this.#types[contact] = pointerType;
    this.#strokes[contact] = this.#strokeCount;
    this.#strokeCount += 1;
    if (!this.kinds.includes(pointerType)) this.kinds.push(pointerType);
  }

  #lift(contact, { pointerType, timeStamp }) {
    if (pointerType === "pen") this.#hovered_ms = timeStamp;
    this.#look(contact);
    this.#end(contact);
  }

  /** Before a stroke ends: whether a finger has drawn by now. */
  #look(contact) {
    if (this.#types[contact] !== "touch" || this.#fingerDrew) return;
    this.#fingerDrew = isLine(this.columns, this.#strokes[contact]);
  }

  #end(contact) {
    this.#owners[contact] = null;
    this.#held[contact] = null;
    this.#types[contact] = null;
  }

  // A lift can get lost, as when a system dialog comes up. The same pointer's next contact
  // tells, or a first finger (or pen) while another has long been silent.
  #endUnseen(event) {
    const { pointerId, pointerType, isPrimary, timeStamp } = event;
    for (const contact of [0, 1]) {
      const replaced = isPrimary === true && this.#types[contact] === pointerType
        && timeStamp - this.#heard_ms(contact) > SILENT_MS;
      const again = this.#owners[contact] === pointerId || this.#held[contact] === pointerId;
      if (again || replaced) this.#lift(contact, event);
    }
  }

  #heard_ms(contact) {
    const { t_ms, stroke } = this.columns;
    return this.shown_ms + t_ms[stroke.lastIndexOf(this.#strokes[contact])];
  }

  #accepts({ pointerType, button, timeStamp }) {
    if (!isDirect(pointerType) && button !== 0) return false;
    if (this.two !== null) {
      const alike = this.kind === null || isDirect(this.kind) === isDirect(pointerType);
      return alike && !(pointerType === "pen" && this.#types.includes("pen"));
    }
    if (pointerType === "pen") {
      if (this.drawing) return this.#types[0] === "touch";
      return this.kind === null || isDirect(this.kind);
    }
    if (this.drawing || (this.kind !== null && this.kind !== pointerType)) return false;
    return pointerType !== "touch" || timeStamp - this.#hovered_ms > HOVER_MS;
  }

  #claimed({ clientX, clientY }) {
    if (this.two === null) return 0;
    const taken = this.#owners.map((owner) => owner !== null);
    const contact = this.two.claim(...this.toMm(clientX, clientY), taken);
    return contact === null || taken[contact] ? null : contact;
  }

  // As little as can be done: the document rounds. A mouse's or finger's pressure of 0.5 is
  // no measurement.
  #add(event, contact, lifted) {
    const at_mm = this.toMm(event.clientX, event.clientY, this.#at_mm);
    const pen = this.#types[contact] === "pen";
    this.#record.add(
      event.timeStamp - this.shown_ms, at_mm[0], at_mm[1], this.#strokes[contact],
      pen && !lifted ? event.pressure : NaN, pen ? event.tiltX : NaN, pen ? event.tiltY : NaN,
      contact);
  }

  #setTouchesAside() {
    this.setAside = { reason: "touch_before_pen", ...placesOf(this.columns) };
    this.touchesIgnored += this.#strokeCount;
    this.#record = new Record();
    this.#strokeCount = 0;
    this.#coalescedMoves = 0;
    this.#parentMoves = 0;
    this.kind = null;
    this.kinds = [];
  }
}
