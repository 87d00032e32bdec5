/** Strokes as lists of places, and what an ending says of them. */

import assert from "node:assert/strict";

export const UP = { down: false };
export const DOWN = { down: true };

export const dot = (x, y, order, radius = 5) => ({ x, y, radius, order });

/** Columns of strokes, each a list of places; in mode `both` `[contact, places]`. */
export function columnsOf(strokes, contacts = null) {
  const columns = { x_mm: [], y_mm: [], stroke: [] };
  if (contacts) columns.pointer = [];
  strokes.forEach((places, number) => {
    for (const [x, y] of places) {
      columns.x_mm.push(x);
      columns.y_mm.push(y);
      columns.stroke.push(number);
      if (contacts) columns.pointer.push(contacts[number]);
    }
  });
  return columns;
}

/** A straight stroke with a place every millimetre or less. */
export function straight([x0, y0], [x1, y1]) {
  const count = Math.ceil(Math.hypot(x1 - x0, y1 - y0));
  return Array.from({ length: count + 1 }, (_, i) =>
    [x0 + ((x1 - x0) * i) / count, y0 + ((y1 - y0) * i) / count]);
}

export const arc = ([x, y], radius, from, to) =>
  Array.from({ length: 91 }, (_, i) => {
    const angle = from + ((to - from) * i) / 90;
    return [x + radius * Math.cos(angle), y + radius * Math.sin(angle)];
  });

/** A touch at each place. */
export const taps = (...places) => places.map((place) => [place, place]);

export const arrived = (ending, strokes, contacts = null, state = UP) =>
  ending.arrived(columnsOf(strokes, contacts), state);

export const near = (actual, expected, tolerance) =>
  assert.ok(Math.abs(actual - expected) <= tolerance, `${actual} is not ${expected} ± ${tolerance}`);
