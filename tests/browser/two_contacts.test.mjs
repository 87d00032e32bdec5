import assert from "node:assert/strict";
import { test } from "node:test";

import { Pen } from "../../web/tablet/pen.mjs";
import { samplesDocument } from "../../web/tablet/samples.mjs";
import { event } from "./pointing.mjs";

// Two contacts at once. The first is left of 50 mm, the second right of it; below 100 mm
// there is nothing to draw.
const two = () => new Pen({
  toMm: (x_px, y_px) => [x_px, y_px], shown_ms: 1000,
  two: { claim: (x_mm, y_mm) => (y_mm > 100 ? null : Number(x_mm > 50)) },
});
const left = (at, more = {}) =>
  event("touch", at, { pointerId: 4, clientX: 20, clientY: at % 100, ...more });
const right = (at, more = {}) =>
  event("touch", at, { pointerId: 5, clientX: 80, clientY: at % 100, ...more });

test("two fingers draw at once, each with strokes of its own from one count", () => {
  const record = two();
  assert.equal(record.down(right(1000)), "started");
  assert.equal(record.down(left(1001)), "started");
  record.move(right(1002));
  record.move({ ...left(1003), getCoalescedEvents: () => [left(1003), left(1004)] });
  record.up(right(1005));
  assert.equal(record.drawing, true);
  record.move(left(1006));
  record.down(right(1007, { pointerId: 6 }));
  record.up(left(1008));
  record.up(right(1009, { pointerId: 6 }));
  assert.equal(record.drawing, false);
  const { t_ms, stroke, pointer, x_mm } = samplesDocument(record.columns);
  assert.deepEqual(t_ms, [0, 1, 2, 3, 4, 5, 6, 7, 8, 9]);
  assert.deepEqual(pointer, [1, 0, 1, 0, 0, 1, 0, 1, 0, 1]);
  assert.deepEqual(stroke, [0, 1, 0, 1, 1, 0, 1, 2, 1, 2]);
  assert.deepEqual(x_mm, pointer.map((contact) => [20, 80][contact]));
  assert.deepEqual(
    record.facts, { kind: "touch", kinds: ["touch"], coalesced: true, touchesIgnored: 0 });
});

test("a third finger is ignored, and so is one where there is nothing to draw", () => {
  const record = two();
  record.down(left(1000));
  record.down(right(1001));
  assert.equal(record.down(right(1002, { pointerId: 6 })), "ignored");
  assert.equal(record.move(right(1003, { pointerId: 6 })), 0);
  assert.equal(record.up(right(1004, { pointerId: 6 })), false);
  record.up(right(1005));
  assert.equal(record.down(right(1006, { pointerId: 7, clientY: 101 })), "ignored");
  assert.deepEqual(record.columns.t_ms, [0, 1, 5]);
  assert.equal(record.facts.touchesIgnored, 2);
});

test("a finger at a line that is taken is ignored, though the other line is free", () => {
  const record = two();
  record.down(left(1000));
  assert.equal(record.down(left(1001, { pointerId: 6 })), "ignored");
  assert.equal(record.contactOf(4), 0);
  assert.equal(record.contactOf(6), null);
});

test("a cancelled finger ends its own stroke only, and adds no point", () => {
  const record = two();
  record.down(left(1000));
  record.down(right(1001));
  assert.equal(record.cancel(left(1002, { clientX: 0, clientY: 0 })), true);
  assert.equal(record.move(right(1003)), 1);
  assert.equal(record.move(left(1004)), 0);
  assert.deepEqual(record.columns.t_ms, [0, 1, 3]);
});

test("a release ends both strokes", () => {
  const record = two();
  record.down(left(1000));
  record.down(right(1001));
  record.release();
  assert.deepEqual([record.drawing, record.move(left(1002)), record.move(right(1003))], [false, 0, 0]);
});

test("after a release each finger that stayed down goes on with its own part", () => {
  const record = two();
  record.down(left(1000));
  record.down(right(1001));
  record.release();
  assert.deepEqual(record.again(right(1002)), [], "the strip is open");
  record.goOn(1003);
  // Both slide over the middle: what they are nearest to now does not count.
  assert.equal(record.again(right(1004, { clientX: 30 })).length, 1);
  assert.equal(record.drawing, true);
  assert.equal(record.again(left(1005, { clientX: 70 })).length, 1);
  record.move(right(1006));
  record.up(left(1007));
  assert.deepEqual(record.columns.t_ms, [0, 1, 4, 5, 6, 7]);
  assert.deepEqual(record.columns.pointer, [0, 1, 1, 0, 1, 0]);
  assert.deepEqual(record.columns.stroke, [0, 1, 2, 3, 2, 3]);
});

test("a pointer that was down at a release and lands anew has no claim to its old part", () => {
  const record = two();
  const tip = (at, more = {}) => event("pen", at, { clientX: 20, clientY: 50, ...more });
  record.down(tip(1000));
  record.release();
  record.goOn(1001);
  assert.equal(record.down(tip(1002, { clientY: 101 })), "ignored", "there is nothing to draw");
  assert.deepEqual(record.again(tip(1003)), []);
  record.down(tip(1004, { clientX: 80 }));
  record.release();
  record.goOn(1005);
  record.again(tip(1006));
  assert.deepEqual(record.columns.pointer, [0, 1, 1]);
});

test("after a release one finger goes on, and another takes the part of the one that rests", () => {
  const record = two();
  record.down(left(1000));
  record.down(right(1001));
  record.release();
  record.goOn(1002);
  record.again(right(1003));
  assert.equal(record.down(left(1004, { pointerId: 9 })), "started");
  assert.deepEqual(record.again(left(1005)), [], "it has lost its part");
  assert.deepEqual(record.columns.pointer, [0, 1, 1, 0]);
});

test("a pen and a finger draw together: neither is a palm, and the trial is a finger's", () => {
  const record = two();
  const tip = (at, more = {}) => event("pen", at, { clientX: 80, clientY: 50, ...more });
  record.move(tip(990, { buttons: 0 }));
  assert.equal(record.down(left(1000)), "started", "hovering tells nothing of the other hand");
  assert.equal(record.down(tip(1001)), "started");
  assert.equal(record.setAside, null);
  record.move(left(1002));
  record.move(tip(1003, { pressure: 0.5 }));
  assert.deepEqual(record.columns.pointer, [0, 1, 0, 1]);
  assert.deepEqual(record.columns.pressure, [NaN, 0.25, NaN, 0.5]);
  assert.equal(record.kind, "touch");
  assert.deepEqual(record.kinds, ["touch", "pen"]);
});

test("the trial stays a pen's until a finger joins, and a second pen never does", () => {
  const record = two();
  const tip = (at, more = {}) => event("pen", at, { clientX: 80, clientY: 50, ...more });
  record.down(tip(1000));
  assert.equal(record.kind, "pen");
  assert.equal(record.down(tip(1001, { pointerId: 8, clientX: 20 })), "ignored");
  record.down(left(1002));
  record.up(tip(1003));
  assert.equal(record.kind, "touch");
  assert.equal(record.down(tip(1004)), "started");
  assert.equal(record.kind, "touch");
});

test("a mouse tries two lines one after the other, and mixes with no finger", () => {
  const record = two();
  const at = (clientX, more = {}) => event("mouse", 1000, { clientX, clientY: 50, ...more });
  record.down(at(20));
  assert.equal(record.down(right(1001)), "ignored");
  record.up(at(20));
  assert.equal(record.down(at(80, { button: 2 })), "ignored");
  assert.equal(record.down(at(80)), "started");
  assert.deepEqual(record.columns.pointer, [0, 0, 1]);
  assert.equal(record.kind, "mouse");
});

test("a finger lifted unseen gives its place back, the other draws on", () => {
  const record = two();
  record.down(left(1000));
  record.down(right(1001));
  record.move(right(3500));
  const again = { pointerId: 9, isPrimary: true };
  assert.equal(record.down(left(3501, again)), "started");
  assert.equal(record.move(left(3502)), 0);
  assert.equal(record.move(right(3503)), 1);
  assert.deepEqual(record.columns.pointer, [0, 1, 1, 0, 1]);
});
