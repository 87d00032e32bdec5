/** The samples of one trial, a column for each quantity. */

// Room for half a minute of a fast pen; it doubles when it is full.
const FIRST_ROOM = 8192;

const NAMES = ["t_ms", "x_mm", "y_mm", "stroke", "pressure", "tilt_x", "tilt_y"];

export class Record {
  /** How many samples there are. */
  length = 0;
  #names;
  #room = FIRST_ROOM;
  // Plain numbers side by side: nothing is allocated for a sample, so that no collection of
  // garbage falls into a stroke.
  #rows;

  /** @param {{pointer?: boolean}} [options]  whether samples tell which contact they are of */
  constructor({ pointer = false } = {}) {
    this.#names = pointer ? [...NAMES, "pointer"] : NAMES;
    this.#rows = new Float64Array(this.#room * this.#names.length);
  }

  /** Add a sample; NaN stands for what was not measured. */
  add(t_ms, x_mm, y_mm, stroke, pressure, tilt_x, tilt_y, pointer) {
    if (this.length === this.#room) this.#grow();
    const rows = this.#rows;
    const width = this.#names.length;
    const at = this.length * width;
    rows[at] = t_ms;
    rows[at + 1] = x_mm;
    rows[at + 2] = y_mm;
    rows[at + 3] = stroke;
    rows[at + 4] = pressure;
    rows[at + 5] = tilt_x;
    rows[at + 6] = tilt_y;
    if (width > NAMES.length) rows[at + 7] = pointer;
    this.length += 1;
  }

  /** Columns of the samples from number `from` on, as plain arrays. */
  columnsFrom(from) {
    const width = this.#names.length;
    const count = Math.max(0, this.length - from);
    const column = (at) =>
      Array.from({ length: count }, (_, i) => this.#rows[(from + i) * width + at]);
    return Object.fromEntries(this.#names.map((name, at) => [name, column(at)]));
  }

  #grow() {
    this.#room *= 2;
    const rows = new Float64Array(this.#room * this.#names.length);
    rows.set(this.#rows);
    this.#rows = rows;
  }
}
