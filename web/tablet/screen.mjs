/** The child's screen: scale, place, guide, line, and nothing else. */

import { Cue } from "./cue.mjs";
import { drawFirstThen } from "./firstthen.mjs";
import { boxOf } from "./guide.mjs";
import { Ink } from "./ink.mjs";
import { answer, drawGuide, setOut } from "./picture.mjs";
import { areaOrigin, mappingOf, orientationOf, scaleOf } from "./scale.mjs";
import { drawStill } from "./stills.mjs";

export const orientationNow = () => orientationOf(innerWidth, innerHeight);

const stillAsked = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export class Screen {
  /**
   * @param {(id: string) => HTMLElement} find
   * @param {import("./tablet.mjs").Tablet} tablet
   */
  constructor(find, tablet) {
    this.tablet = tablet;
    this.surface = find("draw");
    this.svg = find("guide");
    this.still = find("still");
    this.ink = new Ink(find("ink"));
    this.cue = null;
    for (const name of ["contextmenu", "selectstart", "dragstart", "gesturestart", "touchmove"]) {
      this.surface.addEventListener(name, (event) => event.preventDefault(), { passive: false });
    }
  }

  get scale() {
    const pinch = globalThis.visualViewport?.scale ?? 1;
    return scaleOf(this.tablet.calibration, {
      ratio: devicePixelRatio, pinch, orientation: orientationNow(), now_ms: Date.now(),
    });
  }

  get screen_mm() {
    const { px_per_mm } = this.scale;
    return [innerWidth / px_per_mm, innerHeight / px_per_mm];
  }

  /** What this tablet can show and feel. */
  get able() {
    return {
      fits: (guide) => this.fits(guide),
      touches: navigator.maxTouchPoints ?? 0,
      pressure: this.tablet.abilities.pressure,
    };
  }

  /** Whether a guide has room on this screen, held this way or turned. */
  fits(guide) {
    const [width_mm, height_mm] = this.screen_mm;
    const box = boxOf(guide);
    return [[width_mm, height_mm], [height_mm, width_mm]]
      .some((screen_mm) => areaOrigin(box, screen_mm) !== null);
  }

  /** Where the task area lies for a guide, or null if it does not fit. */
  place(guide) {
    const origin_mm = areaOrigin(boxOf(guide), this.screen_mm);
    if (origin_mm === null) return null;
    const { px_per_mm } = this.scale;
    return {
      px_per_mm, origin_mm, screen_mm: this.screen_mm, mapping: mappingOf(px_per_mm, origin_mm),
    };
  }

  /**
   * Show an item's guide on an empty screen.
   *
   * @param {object} item
   * @param {object} how
   * @param {boolean} how.quiet
   * @param {(shown_ms: number, place: object) => void} how.shown  told the time of the first
   *   frame in which the guide is shown [ms]
   * @param {(at_ms: number) => void} how.go  told when the cue has run once [ms]
   */
  show(item, { quiet, shown, go }) {
    requestAnimationFrame((frame_ms) => {
      const place = this.place(item.guide);
      if (place === null) return;
      this.surface.dataset.phase = "draw";
      this.quiet = quiet;
      this.layOut(item, place);
      this.cue = new Cue(this.svg, item, place, { still: this.isStill, done: go });
      this.cue.start(frame_ms);
      performance.mark("guide-shown", { startTime: frame_ms });
      shown(frame_ms, place);
    });
  }

  set quiet(on) {
    this.surface.classList.toggle("quiet", on);
  }

  get isStill() {
    return this.surface.classList.contains("quiet") || stillAsked();
  }

  layOut(item, place) {
    this.placed = place;
    this.ink.fit({
      width_px: innerWidth, height_px: innerHeight, px_per_mm: place.px_per_mm,
      ratio: devicePixelRatio,
    });
    drawGuide(this.svg, item, place, { hand: item.condition?.hand });
  }

  hideGuide() {
    this.#endCue();
    this.svg.replaceChildren();
    this.ink.clear();
  }

  /** The child sets out: whatever showed the way goes. */
  setOut() {
    this.#endCue();
    setOut(this.svg);
  }

  #endCue() {
    this.cue?.stop();
    this.cue = null;
  }

  thank() {
    answer(this.svg);
  }

  /** @param {"end"|"turn"|"rest"|"full"} phase */
  showStill(phase) {
    this.hideGuide();
    this.surface.dataset.phase = phase;
    drawStill(this.still, phase);
  }

  /** First this picture, then that one; the harbour when there is none. */
  showFirstThen(item, then) {
    this.hideGuide();
    this.surface.dataset.phase = "first";
    drawFirstThen(this.still, item, then);
  }

  /** What the tablet says of itself in a trial. */
  device(place) {
    return {
      scale: this.scale,
      screen_mm: this.screen_mm,
      origin_mm: place?.origin_mm ?? [0, 0],
      secure: globalThis.isSecureContext === true,
      api: typeof PointerEvent.prototype.getCoalescedEvents === "function",
    };
  }

  tooSmall() {
    const [width_mm, height_mm] = this.screen_mm.map(Math.floor);
    return `The next picture has no room on ${width_mm} by ${height_mm} mm. Guides are never made `
      + "smaller: turn the tablet.";
  }

  /** What the adult should know while a child draws; "" if there is nothing. */
  warning() {
    if (this.tablet.unsaved) {
      return "This tablet could not save the last line to its storage. Keep this page open until everything is sent.";
    }
    return this.scale.calibrated ? "" : "The scale of this screen is not checked: no lengths in mm.";
  }

  /** @param {import("./corners.mjs").Corners} corners @param {() => void} pressed */
  listenToCorners(corners, pressed) {
    for (const button of this.surface.querySelectorAll(".corner")) {
      button.addEventListener("pointerdown", (event) => {
        if (event.pointerType !== "pen") corners.down(event, button.dataset.corner);
      });
      // A click without a pointer comes from a keyboard or a screen reader.
      button.addEventListener("click", (event) => event.detail === 0 && pressed());
    }
    for (const name of ["pointerup", "pointercancel"]) {
      addEventListener(name, (event) => corners.up(event), true);
    }
  }
}
