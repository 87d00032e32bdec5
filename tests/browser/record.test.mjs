import assert from "node:assert/strict";
import { test } from "node:test";

import { columnsOf, Record } from "../../web/tablet/record.mjs";

test("a record keeps every sample through many doublings, and any tail of it", () => {
  const record = new Record();
  const count = 30_000;
  for (let i = 0; i < count; i += 1) record.add(4 * i, i / 3, -i, i % 7, NaN, 12, i % 2);
  assert.equal(record.length, count);
  const { t_ms, x_mm, y_mm, stroke, pressure, pointer } = record.columns;
  assert.equal(t_ms.length, count);
  assert.ok(t_ms.every((value, i) => value === 4 * i));
  assert.ok(x_mm.every((value, i) => value === i / 3));
  assert.ok(y_mm.every((value, i) => value === -i));
  assert.ok(stroke.every((value, i) => value === i % 7));
  assert.ok(pressure.every(Number.isNaN));
  assert.equal(pointer, undefined);
  const tail = columnsOf([record.rowsFrom(count - 2), record.rowsFrom(count - 1)]);
  assert.deepEqual(tail.t_ms, [4 * (count - 2), 4 * (count - 1), 4 * (count - 1)]);
  assert.equal(record.rowsFrom(count).rows.length, 0);
});

test("columns that were read grow by what came since", () => {
  const record = new Record();
  record.add(0, 1, 2, 0, NaN, NaN, NaN);
  assert.deepEqual(record.columns.x_mm, [1]);
  record.add(4, 3, 2, 0, NaN, NaN, NaN);
  record.add(8, 5, 2, 1, NaN, NaN, NaN);
  assert.deepEqual([record.columns.x_mm, record.columns.stroke], [[1, 3, 5], [0, 0, 1]]);
});

test("with two contacts each sample tells which one it is of", () => {
  const record = new Record({ pointer: true });
  record.add(0, 1, 2, 0, NaN, NaN, NaN, 1);
  record.add(1, 1, 2, 1, NaN, NaN, NaN, 0);
  assert.deepEqual(record.columns.pointer, [1, 0]);
  assert.deepEqual(record.columns.stroke, [0, 1]);
});
