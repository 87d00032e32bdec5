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
  #columns;

  /** @param {{pointer?: boolean}} [options]  whether samples tell which contact they are of */
  constructor({ pointer = false } = {}) {
    this.#names = pointer ? [...NAMES, "pointer"] : NAMES;
    this.#rows = new Float64Array(this.#room * this.#names.length);
    this.#columns = Object.fromEntries(this.#names.map((name) => [name, []]));
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

  /** Columns of all samples, as plain arrays that grow with the record. */
  get columns() {
    const width = this.#names.length;
    this.#names.forEach((name, at) => {
      const column = this.#columns[name];
      for (let i = column.length; i < this.length; i += 1) column.push(this.#rows[i * width + at]);
    });
    return this.#columns;
  }

  /** A copy of the samples from number `from` on, as they lie here. */
  rowsFrom(from) {
    const width = this.#names.length;
    return { names: this.#names, rows: this.#rows.slice(from * width, this.length * width) };
  }

  #grow() {
    this.#room *= 2;
    const rows = new Float64Array(this.#room * this.#names.length);
    rows.set(this.#rows);
    this.#rows = rows;
  }
}

/** Columns of rows that followed each other. @param {{names: string[], rows: Float64Array}[]} parts */
export function columnsOf(parts) {
  const [{ names }] = parts;
  const width = names.length;
  return Object.fromEntries(names.map((name, at) => [name, parts.flatMap(({ rows }) =>
    Array.from({ length: rows.length / width }, (_, i) => rows[i * width + at]))]));
}
