/** The screen on which an adult fits a field to a real card or ruler. */

import { randomId } from "../shared/sha256.mjs";
import { layOut, longerBy } from "./ruler.mjs";
import {
  calibrationOf, checkedAgain, likelyPxPerMm, mayStand, orientationOf, scaleOf,
} from "./scale.mjs";

const FINE_PX = 0.5;
// A difference that nobody can see at the edge of a card.
const SAME_PX = 0.3;
// Room left and right of the field for its edges.
const EDGE_PX = 12;

const WHY = {
  zoomed: "The page is zoomed, or on another screen than when its scale was checked.",
  turned: "The tablet is held another way than when its scale was checked.",
  old: "The scale was last checked more than a week ago.",
};
const ASKED = {
  card: "Lay a bank or library card on the coloured field, pushed against the two thick edges. Change the field with the handle or the slider until the card just covers it.",
  ruler: "Lay a ruler on the coloured field, with its 0 at the thick edge on the left. Change the field with the handle or the slider until it ends at",
};
const fits = (way, still, long_mm) => (way === "card"
  ? `The card ${still ? "still" : "just"} covers it`
  : `It ${still ? "still ends" : "ends"} at ${long_mm} mm`);
const SIZE_OF_CARD = "Cards of this kind are 85.60 by 53.98 mm (ISO/IEC 7810, ID-1).";
const SIZE_OF_RULER = "Any ruler in millimetres will do, also a printed one that was measured.";
const NOT_KEPT = "The scale could not be kept on this tablet. Try again, or leave it as it is for now.";
const PINCHED = "The page is enlarged by two fingers. Bring it back to its usual size first.";

const pinch = () => globalThis.visualViewport?.scale ?? 1;
const orientation = () => orientationOf(innerWidth, innerHeight);

export class Calibrating {
  #find;
  #then = null;
  #calibration = null;
  #way = "card";
  #laid = null;
  #ratio = 1;
  #long_px = 0;

  /**
   * @param {(id: string) => HTMLElement} find
   * @param {object} options
   * @param {(calibration: import("./scale.mjs").Calibration) => Promise<void>} options.kept
   *   told a new calibration, or the one in use when it was found true once more
   */
  constructor(find, { kept }) {
    this.#find = find;
    const step = (by_px) => () => this.#change(this.#long_px + by_px);
    find("card-less").addEventListener("click", step(-FINE_PX));
    find("card-more").addEventListener("click", step(FINE_PX));
    find("card-keep").addEventListener("click", () => this.#goOn(() => kept(this.#found())));
    find("card-skip").addEventListener("click", () => this.#goOn());
    find("card-size").addEventListener("input", ({ target }) => this.#change(Number(target.value)));
    for (const way of ["card", "ruler"]) {
      find(`scale-${way}`).addEventListener("click", () => this.#lay(way, this.#px_per_mm));
    }
    this.#drag(find("card-handle"));
    addEventListener("resize", () => find("calibrate").hidden || this.#again());
    globalThis.visualViewport?.addEventListener("resize", () => this.#tellPinch());
  }

  /**
   * @param {import("./scale.mjs").Calibration|null} calibration  the one in use
   * @param {() => void} then  called once the scale is kept or left as it is
   */
  open(calibration, then) {
    this.#calibration = calibration;
    this.#then = then;
    const { why } = scaleOf(calibration, {
      ratio: devicePixelRatio, pinch: pinch(), orientation: orientation(), now_ms: Date.now(),
    });
    this.#find("scale-why").textContent = WHY[why] ?? "";
    this.#begin("card");
  }

  /**
   * Of two taps one counts. What cannot be done is said, and the screen can be left all the same.
   *
   * @param {() => Promise<void>} [before]  what is done first
   */
  async #goOn(before = async () => {}) {
    const then = this.#then;
    if (then === null) return;
    this.#then = null;
    try {
      await before();
    } catch {
      this.#then ??= then;
      this.#find("card-fault").textContent = NOT_KEPT;
      return;
    }
    then();
  }

  #begin(way) {
    this.#ratio = devicePixelRatio;
    this.#lay(way, likelyPxPerMm(this.#calibration, this.#ratio));
  }

  /** The screen was turned, resized or zoomed: only a zoom undoes what was fitted so far. */
  #again() {
    if (devicePixelRatio !== this.#ratio) this.#begin(this.#way);
    else this.#lay(this.#way, this.#px_per_mm);
  }

  #lay(way, px_per_mm) {
    this.#way = way;
    const room_px = this.#find("card-room").clientWidth - 2 * EDGE_PX;
    this.#laid = layOut(way, room_px);
    for (const name of ["card", "ruler"]) {
      this.#find(`scale-${name}`).setAttribute("aria-pressed", String(name === way));
    }
    this.#find("card").classList.toggle("ruler", way === "ruler");
    this.#find("card-asked").textContent =
      way === "card" ? ASKED.card : `${ASKED.ruler} ${this.#laid.long_mm} mm.`;
    this.#find("card-end").textContent = `${this.#laid.long_mm} mm`;
    this.#find("card-known").textContent = way === "card" ? SIZE_OF_CARD : SIZE_OF_RULER;
    const { least_px, most_px, long_mm } = this.#laid;
    Object.assign(this.#find("card-size"), { min: least_px, max: most_px });
    this.#set(px_per_mm * long_mm);
    this.#tellPinch();
  }

  #set(long_px) {
    const { least_px, most_px, long_mm, across_mm, down_mm } = this.#laid;
    this.#long_px = Math.min(most_px, Math.max(least_px, long_px));
    const px_per_mm = this.#px_per_mm;
    const { style } = this.#find("card");
    style.width = `${across_mm * px_per_mm}px`;
    style.height = `${down_mm * px_per_mm}px`;
    const told = `${px_per_mm.toFixed(2)} pixels per millimetre`;
    const slider = this.#find("card-size");
    slider.value = this.#long_px;
    slider.setAttribute("aria-valuetext", told);
    this.#find("card-scale").textContent = `Now ${told}.`;
    this.#find("card-keep").textContent = fits(this.#way, this.#unchanged, long_mm);
  }

  #change(long_px) {
    this.#set(long_px);
    this.#reveal();
  }

  /** The handle, and with it the field's end, comes out from under the row of buttons. */
  #reveal() {
    const [handle, bar] = ["card-handle", "card-bar"].map((id) =>
      this.#find(id).getBoundingClientRect());
    if (handle.bottom > bar.top) scrollBy(0, Math.ceil(handle.bottom - bar.top));
  }

  get #px_per_mm() {
    return this.#long_px / this.#laid.long_mm;
  }

  get #unchanged() {
    if (!mayStand(this.#calibration, this.#ratio)) return false;
    const kept_px = this.#calibration.px_per_mm * this.#laid.long_mm;
    return Math.abs(this.#long_px - kept_px) < SAME_PX;
  }

  #found() {
    const at = new Date().toISOString();
    const checked = { orientation: orientation(), at };
    if (this.#unchanged) return checkedAgain(this.#calibration, checked);
    return calibrationOf({
      long_px: this.#long_px, long_mm: this.#laid.long_mm, ratio: this.#ratio, id: randomId(),
      ...checked,
    });
  }

  /** A pinch magnifies the field but not its pixels: nothing can be measured then. */
  #tellPinch() {
    const pinched = Math.abs(pinch() - 1) >= 1e-3;
    this.#find("card-fault").textContent = pinched ? PINCHED : "";
    this.#find("card-keep").disabled = pinched;
  }

  #drag(handle) {
    let from = null;
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      from = { x_px: event.clientX, y_px: event.clientY, long_px: this.#long_px };
      event.preventDefault();
    });
    handle.addEventListener("pointermove", (event) => {
      if (from === null) return;
      const moved = {
        right_px: event.clientX - from.x_px, down_px: event.clientY - from.y_px, way: this.#way,
      };
      this.#set(from.long_px + longerBy(this.#laid, moved));
    });
    for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) {
      handle.addEventListener(name, () => {
        // Not while it is held: it would slip from the finger.
        if (from !== null) this.#reveal();
        from = null;
      });
    }
  }
}
