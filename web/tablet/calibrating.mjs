/** The screen on which an adult fits a field to a real card. */

import { randomId } from "../shared/sha256.mjs";
import {
  CARD_MM, calibrationOf, LARGEST_PX_PER_MM, NOMINAL_PX_PER_MM, SMALLEST_PX_PER_MM,
} from "./scale.mjs";

const FINE_PX = 0.5;
// Room left and right of the field for its edges.
const EDGE_PX = 12;

export class Calibrating {
  /**
   * @param {(id: string) => HTMLElement} find
   * @param {object} options
   * @param {(calibration: object) => void} options.kept
   * @param {() => void} options.skipped
   */
  constructor(find, { kept, skipped }) {
    this.card = find("card");
    this.slider = find("card-size");
    this.room = find("card-room");
    this.scale = find("card-scale");
    this.kept = kept;
    const step = (by) => () => this.#set(this.long_px + by);
    find("card-less").addEventListener("click", step(-FINE_PX));
    find("card-more").addEventListener("click", step(FINE_PX));
    find("card-keep").addEventListener("click", () => this.kept(this.#calibration()));
    find("card-skip").addEventListener("click", skipped);
    this.slider.addEventListener("input", () => this.#set(Number(this.slider.value)));
    this.#drag(find("card-handle"));
  }

  /** @param {object|null} calibration  the one in use */
  open(calibration) {
    // Held upright where the screen is too narrow for its long side.
    const room_px = this.room.clientWidth - 2 * EDGE_PX;
    this.upright = room_px < CARD_MM[0] * 6;
    [this.across_mm, this.down_mm] = this.upright ? [CARD_MM[1], CARD_MM[0]] : CARD_MM;
    const widest_px = (room_px / this.across_mm) * CARD_MM[0];
    this.least_px = SMALLEST_PX_PER_MM * CARD_MM[0];
    this.most_px = Math.min(LARGEST_PX_PER_MM * CARD_MM[0], widest_px);
    Object.assign(this.slider, { min: this.least_px, max: this.most_px });
    this.#set((calibration?.px_per_mm ?? NOMINAL_PX_PER_MM) * CARD_MM[0]);
  }

  #set(long_px) {
    this.long_px = Math.min(this.most_px, Math.max(this.least_px, long_px));
    const short_px = (this.long_px * CARD_MM[1]) / CARD_MM[0];
    const [width, height] = this.upright ? [short_px, this.long_px] : [this.long_px, short_px];
    this.card.style.width = `${width}px`;
    this.card.style.height = `${height}px`;
    this.slider.value = this.long_px;
    this.scale.textContent = `Now ${(this.long_px / CARD_MM[0]).toFixed(2)} pixels per millimetre.`;
  }

  #calibration() {
    return calibrationOf({
      long_px: this.long_px, ratio: devicePixelRatio, id: randomId(), at: new Date().toISOString(),
    });
  }

  #drag(handle) {
    let from = null;
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      from = { x_px: event.clientX, y_px: event.clientY, long_px: this.long_px };
      event.preventDefault();
    });
    handle.addEventListener("pointermove", (event) => {
      if (from === null) return;
      const wider_px = ((event.clientX - from.x_px) * CARD_MM[0]) / this.across_mm;
      const taller_px = ((event.clientY - from.y_px) * CARD_MM[0]) / this.down_mm;
      const farther = Math.abs(wider_px) > Math.abs(taller_px) ? wider_px : taller_px;
      this.#set(from.long_px + farther);
    });
    for (const name of ["pointerup", "pointercancel"]) {
      handle.addEventListener(name, () => { from = null; });
    }
  }
}
