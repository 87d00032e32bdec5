/** The child's line on the screen. Reads events, never the record. */

const INK = "#223A5E";
const WIDTH_MM = 1.6;

export class Ink {
  /** @param {HTMLCanvasElement} canvas  covers the whole screen, above the guide */
  constructor(canvas) {
    this.canvas = canvas;
    // Lets the line appear without waiting for the page to be composed.
    this.context = canvas.getContext("2d", { desynchronized: true });
    // Where the line of each contact has come to, null while it is up. [CSS px]
    this.tips = [null, null];
  }

  /** Fit the canvas to the screen and to the scale; wipes it. */
  fit({ width_px, height_px, px_per_mm, ratio }) {
    this.width_px = width_px;
    this.height_px = height_px;
    this.canvas.width = Math.round(width_px * ratio);
    this.canvas.height = Math.round(height_px * ratio);
    this.context.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.context.lineCap = "round";
    this.context.lineJoin = "round";
    this.context.lineWidth = WIDTH_MM * px_per_mm;
    this.context.strokeStyle = INK;
    this.context.fillStyle = INK;
    this.release();
  }

  clear() {
    this.context.clearRect(0, 0, this.width_px, this.height_px);
    this.release();
  }

  /** @param {0|1} contact  which of two at once */
  down({ clientX, clientY }, contact = 0) {
    this.tips[contact] = { x: clientX, y: clientY };
    this.#dot(clientX, clientY);
  }

  /** @param {PointerEvent[]} samples  of one move */
  move(samples, contact = 0) {
    const tip = this.tips[contact];
    if (tip === null) return;
    const { context } = this;
    context.beginPath();
    context.moveTo(tip.x, tip.y);
    for (let i = 0; i < samples.length; i += 1) {
      tip.x = samples[i].clientX;
      tip.y = samples[i].clientY;
      context.lineTo(tip.x, tip.y);
    }
    context.stroke();
  }

  up(contact = 0) {
    this.tips[contact] = null;
  }

  /** No line goes on. */
  release() {
    this.tips.fill(null);
  }

  /**
   * Draw a kept line again, after the screen was turned.
   * @param {{x_mm: number[], y_mm: number[], stroke: number[]}} columns
   * @param {(x_mm: number, y_mm: number) => [number, number]} toPx
   */
  redraw({ x_mm, y_mm, stroke }, toPx) {
    this.clear();
    // Strokes of two contacts take turns in the record; each goes on from its own last place.
    const tips = new Map();
    const lines = new Path2D();
    for (let i = 0; i < stroke.length; i += 1) {
      const [x, y] = toPx(x_mm[i], y_mm[i]);
      const tip = tips.get(stroke[i]);
      if (tip === undefined) {
        this.#dot(x, y);
      } else {
        lines.moveTo(...tip);
        lines.lineTo(x, y);
      }
      tips.set(stroke[i], [x, y]);
    }
    this.context.stroke(lines);
  }

  #dot(x, y) {
    const { context } = this;
    context.beginPath();
    context.arc(x, y, context.lineWidth / 2, 0, 2 * Math.PI);
    context.fill();
  }
}
