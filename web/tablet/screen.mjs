/** The child's screen: scale, place, guide, line, and nothing else. */

import { boxOf } from "./guide.mjs";
import { Ink } from "./ink.mjs";
import { answer, drawGuide, setOut } from "./picture.mjs";
import { areaOrigin, mappingOf, scaleOf } from "./scale.mjs";
import { drawStill } from "./stills.mjs";

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
    for (const name of ["contextmenu", "selectstart", "dragstart", "gesturestart", "touchmove"]) {
      this.surface.addEventListener(name, (event) => event.preventDefault(), { passive: false });
    }
  }

  get scale() {
    const pinch = globalThis.visualViewport?.scale ?? 1;
    return scaleOf(this.tablet.calibration, { ratio: devicePixelRatio, pinch });
  }

  get screen_mm() {
    const { px_per_mm } = this.scale;
    return [innerWidth / px_per_mm, innerHeight / px_per_mm];
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
    return { px_per_mm, origin_mm, screen_mm: this.screen_mm, mapping: mappingOf(px_per_mm, origin_mm) };
  }

  /**
   * Show an item's guide on an empty screen.
   *
   * @param {object} item
   * @param {(shown_ms: number, place: object) => void} shown  told the time of the first
   *   frame in which the guide is shown [ms]
   */
  show(item, shown) {
    requestAnimationFrame((frame_ms) => {
      const place = this.place(item.guide);
      if (place === null) return;
      this.surface.dataset.phase = "draw";
      this.surface.classList.toggle("quiet", item.show?.quiet === true);
      this.layOut(item, place);
      performance.mark("guide-shown", { startTime: frame_ms });
      shown(frame_ms, place);
    });
  }

  layOut(item, place) {
    this.placed = place;
    this.ink.fit({
      width_px: innerWidth, height_px: innerHeight, px_per_mm: place.px_per_mm,
      ratio: devicePixelRatio,
    });
    drawGuide(this.svg, item, place);
  }

  hideGuide() {
    this.svg.replaceChildren();
    this.ink.clear();
  }

  setOut() {
    setOut(this.svg);
  }

  thank() {
    answer(this.svg);
  }

  showStill(phase) {
    this.surface.dataset.phase = phase;
    drawStill(this.still, phase);
  }

  /** What the tablet says of itself in a trial. */
  device() {
    return {
      scale: this.scale,
      screen_mm: this.screen_mm,
      origin_mm: this.placed.origin_mm,
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
