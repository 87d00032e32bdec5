/** The child's line on the screen. Reads events, never the record. */

const INK = "#223A5E";
const WIDTH_MM = 1.6;

export class Ink {
  /** @param {HTMLCanvasElement} canvas  covers the whole screen, above the guide */
  constructor(canvas) {
    this.canvas = canvas;
    // Lets the line appear without waiting for the page to be composed.
    this.context = canvas.getContext("2d", { desynchronized: true });
    this.last = null;
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
  }

  clear() {
    this.context.clearRect(0, 0, this.width_px, this.height_px);
    this.last = null;
  }

  down(event) {
    const { context } = this;
    this.last = [event.clientX, event.clientY];
    context.beginPath();
    context.arc(event.clientX, event.clientY, context.lineWidth / 2, 0, 2 * Math.PI);
    context.fill();
  }

  /** @param {PointerEvent[]} samples  of one move */
  move(samples) {
    if (this.last === null) return;
    const { context } = this;
    context.beginPath();
    context.moveTo(...this.last);
    for (const sample of samples) {
      context.lineTo(sample.clientX, sample.clientY);
      this.last = [sample.clientX, sample.clientY];
    }
    context.stroke();
  }

  up() {
    this.last = null;
  }

  /**
   * Draw a kept line again, after the screen was turned.
   * @param {{x_mm: number[], y_mm: number[], stroke: number[]}} columns
   * @param {(x_mm: number, y_mm: number) => [number, number]} toPx
   */
  redraw({ x_mm, y_mm, stroke }, toPx) {
    this.clear();
    const { context } = this;
    context.beginPath();
    for (let i = 0; i < stroke.length; i += 1) {
      const [x, y] = toPx(x_mm[i], y_mm[i]);
      if (i === 0 || stroke[i] !== stroke[i - 1]) {
        context.moveTo(x, y);
        context.lineTo(x, y);
      } else {
        context.lineTo(x, y);
      }
    }
    context.stroke();
  }
}
