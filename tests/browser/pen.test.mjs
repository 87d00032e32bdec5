import assert from "node:assert/strict";
import { test } from "node:test";

import { samplesOf } from "../../web/tablet/pen.mjs";
import { samplesDocument, sensesPressure } from "../../web/tablet/samples.mjs";
import { event, pen } from "./pointing.mjs";

const moves = (kind, times, more = {}) => {
  const list = times.map((at) => event(kind, at));
  return { ...list[list.length - 1], getCoalescedEvents: () => list, ...more };
};

test("coalesced samples are taken instead of their event, never beside it", () => {
  const record = pen();
  record.down(event("pen", 1000));
  assert.equal(record.move(moves("pen", [1005, 1010, 1015])), 3);
  record.up(event("pen", 1020, { pressure: 0, buttons: 0 }));
  assert.deepEqual(record.columns.t_ms, [0, 5, 10, 15, 20]);
  assert.equal(record.coalesced, true);
});

test("the event itself is taken when it has no coalesced samples", () => {
  const record = pen();
  record.down(event("pen", 1000));
  record.move({ ...event("pen", 1016), getCoalescedEvents: () => [] });
  record.move(event("pen", 1033));
  assert.deepEqual(record.columns.t_ms, [0, 16, 33]);
  assert.equal(record.coalesced, false);
});

test("samples that the browser predicts are never asked for", () => {
  const record = pen();
  record.down(event("pen", 1000));
  const getPredictedEvents = () => assert.fail("a guess is no sample");
  record.move(moves("pen", [1005, 1010], { getPredictedEvents }));
  record.move({ ...event("pen", 1015), getPredictedEvents });
  assert.deepEqual(record.columns.t_ms, [0, 5, 10, 15]);
});

test("without moves nothing is said of coalescing", () => {
  assert.equal(pen().coalesced, null);
});

test("places are millimetres with fractions, times run from the first sight of the guide", () => {
  const record = pen(990.5);
  record.down(event("pen", 1000.25, { clientX: 103.37, clientY: 51.125 }));
  assert.deepEqual(record.columns.x_mm, [20.674]); // [C] 103.37 / 5
  assert.deepEqual(record.columns.y_mm, [10.225]); // [C] 51.125 / 5
  assert.deepEqual(record.columns.t_ms, [9.75]); // [C] 1000.25 - 990.5
});

test("the lift keeps its place and has no pressure", () => {
  const record = pen();
  record.down(event("pen", 1000));
  record.up(event("pen", 1010, { pressure: 0, buttons: 0 }));
  assert.deepEqual(record.columns.pressure, [0.25, NaN]);
  assert.equal(record.columns.x_mm.length, 2);
});

for (const kind of ["mouse", "touch"]) {
  test(`a ${kind} has neither pressure nor tilt`, () => {
    const record = pen();
    record.down(event(kind, 1000));
    record.move(moves(kind, [1008, 1016]));
    record.up(event(kind, 1020, { buttons: 0 }));
    assert.deepEqual(Object.keys(samplesDocument(record.columns)), ["t_ms", "x_mm", "y_mm", "stroke"]);
    assert.equal(record.kind, kind);
  });
}

test("a pen keeps pressure and tilt in the document", () => {
  const record = pen();
  record.down(event("pen", 1000));
  const samples = samplesDocument(record.columns);
  assert.deepEqual([samples.pressure, samples.tilt_x, samples.tilt_y], [[0.25], [12], [-40]]);
});

test("moves with pressure 0 and a pressed tip are contact", () => {
  const record = pen();
  record.down(event("pen", 1000, { pressure: 1 }));
  assert.equal(record.move(event("pen", 1010, { pressure: 0 })), 1);
  assert.deepEqual(record.columns.pressure, [1, 0]);
});

test("a palm during a pen stroke adds nothing and ends nothing", () => {
  const record = pen();
  record.down(event("pen", 1000));
  assert.equal(record.down(event("touch", 1002)), "ignored");
  record.move(moves("touch", [1004, 1006]));
  record.up(event("touch", 1007));
  assert.equal(record.cancel(event("touch", 1008)), false);
  assert.equal(record.drawing, true);
  record.move(event("pen", 1010));
  assert.deepEqual(record.columns.t_ms, [0, 10]);
  assert.equal(record.touchesIgnored, 1);
});

test("a palm after a pen stroke starts no stroke", () => {
  const record = pen();
  record.down(event("pen", 1000));
  record.up(event("pen", 1010));
  assert.equal(record.down(event("touch", 9000)), "ignored");
  assert.equal(record.drawing, false);
});

test("a palm that lands before the pen is set aside, not lost and not among the samples", () => {
  const record = pen();
  record.down(event("touch", 1000));
  record.move(event("touch", 1008));
  assert.equal(record.down(event("pen", 1020)), "restarted");
  record.move(event("touch", 1024));
  record.move(event("pen", 1030));
  assert.deepEqual(record.columns.t_ms, [20, 30]);
  assert.deepEqual(record.columns.stroke, [0, 0]);
  assert.deepEqual(record.setAside.t_ms, [0, 8]);
  assert.equal(record.touchesIgnored, 1);
  assert.equal(record.kind, "pen");
});

test("a touch just after a pen hovered is the hand that holds it", () => {
  const record = pen();
  record.move(event("pen", 1000, { buttons: 0 }));
  assert.equal(record.down(event("touch", 1500)), "ignored");
  assert.equal(record.down(event("touch", 2600)), "started");
});

test("a second finger joins no stroke and takes none over", () => {
  const record = pen();
  record.down(event("touch", 1000));
  assert.equal(record.down(event("touch", 1010, { pointerId: 9 })), "ignored");
  record.move(event("touch", 1020, { pointerId: 9 }));
  record.up(event("touch", 1030, { pointerId: 9 }));
  assert.equal(record.drawing, true);
  assert.deepEqual(record.columns.t_ms, [0]);
});

test("only the main button of a mouse draws, and letting it go ends the stroke", () => {
  const record = pen();
  assert.equal(record.down(event("mouse", 1000, { button: 2, buttons: 2 })), "ignored");
  record.down(event("mouse", 1010));
  assert.equal(record.move(event("mouse", 1020, { buttons: 2 })), 0);
  assert.equal(record.drawing, false);
});

test("a pen's side button does not stop its line", () => {
  const record = pen();
  assert.equal(record.down(event("pen", 1000, { button: 2, buttons: 2 })), "started");
  assert.equal(record.move(event("pen", 1010, { buttons: 3 })), 1);
});

test("pointercancel ends the stroke without its own place", () => {
  const record = pen();
  record.down(event("pen", 1000));
  record.move(event("pen", 1010));
  assert.equal(record.cancel(event("pen", 1020, { clientX: 0, clientY: 0 })), true);
  assert.equal(record.drawing, false);
  assert.deepEqual(record.columns.t_ms, [0, 10]);
});

test("lost capture after a lift changes nothing", () => {
  const record = pen();
  record.down(event("pen", 1000));
  record.up(event("pen", 1010));
  assert.equal(record.cancel(event("pen", 1011)), false);
  assert.deepEqual(record.columns.t_ms, [0, 10]);
});

test("every contact is a new stroke", () => {
  const record = pen();
  for (const at of [1000, 1100]) {
    record.down(event("pen", at));
    record.up(event("pen", at + 20));
  }
  assert.deepEqual(record.columns.stroke, [0, 0, 1, 1]);
});

test("samplesOf answers with the event where the browser lacks coalesced events", () => {
  const plain = event("pen", 1000);
  assert.deepEqual(samplesOf(plain), [plain]);
});

test("a finger's move is contact whatever its buttons say", () => {
  const record = pen();
  record.down(event("touch", 1000));
  assert.equal(record.move(event("touch", 1010, { buttons: 0 })), 1);
});

test("a pen that moves without a button has been lifted unseen, and only hovers", () => {
  const record = pen();
  record.down(event("pen", 1000));
  assert.equal(record.move(event("pen", 1010, { buttons: 0 })), 0);
  assert.equal(record.drawing, false);
  assert.deepEqual(record.columns.t_ms, [0]);
});

test("a contact of a pointer that is still down ends its old stroke and begins a new one", () => {
  const record = pen();
  record.down(event("pen", 1000));
  record.move(event("pen", 1010));
  assert.equal(record.down(event("pen", 1500)), "started");
  record.up(event("pen", 1520));
  assert.deepEqual(record.columns.t_ms, [0, 10, 500, 520]);
  assert.deepEqual(record.columns.stroke, [0, 0, 1, 1]);
});

test("a first finger takes the place of one that was lifted unseen", () => {
  const record = pen();
  record.down(event("touch", 1000, { isPrimary: true }));
  record.move(event("touch", 1500));
  const next = { pointerId: 9, isPrimary: true };
  assert.equal(record.down(event("touch", 3500, next)), "ignored", "it rested, perhaps");
  assert.equal(record.down(event("touch", 3501, { ...next, isPrimary: false })), "ignored");
  assert.equal(record.down(event("touch", 3501, next)), "started");
  assert.equal(record.move(event("touch", 3510)), 0, "the old one is gone");
  assert.deepEqual(record.columns.stroke, [0, 0, 1]);
});

test("a palm is a first finger of its own kind, and takes nothing from a resting pen", () => {
  const record = pen();
  record.down(event("pen", 1000, { isPrimary: true }));
  assert.equal(record.down(event("touch", 9000, { isPrimary: true })), "ignored");
  assert.equal(record.move(event("pen", 9010)), 1);
});

test("a pressure that is 0 on every move is no measurement, and is left out", () => {
  const record = pen();
  for (const at of [1000, 1100]) {
    record.down(event("pen", at, { pressure: 1 }));
    record.move(event("pen", at + 10, { pressure: 0 }));
    record.move(event("pen", at + 20, { pressure: 0 }));
    record.up(event("pen", at + 30, { pressure: 0, buttons: 0 }));
  }
  assert.deepEqual(record.columns.pressure, [1, 0, 0, NaN, 1, 0, 0, NaN]);
  assert.equal(sensesPressure(record.columns), false);
  assert.equal("pressure" in samplesDocument(record.columns), false);
  assert.equal(samplesDocument(record.columns).t_ms.length, 8);
});

test("one move above 0 is a measurement, and its zeros are kept beside it", () => {
  const pressure = [1, 0, 0.01, null];
  assert.equal(sensesPressure({ pressure, stroke: [0, 0, 0, 0] }), true);
  // Of two strokes that take turns, the last reading is a move too.
  assert.equal(sensesPressure({ pressure: [1, 1, 0, 0.5], stroke: [0, 1, 0, 1] }), true);
});

test("of taps the contact must tell: 1 throughout says no more than that it touched", () => {
  const stroke = [0, 0, 1, 1];
  assert.equal(sensesPressure({ pressure: [1, null, 1, null], stroke }), false);
  assert.equal(sensesPressure({ pressure: [1, null, 0.3, null], stroke }), true);
  assert.equal(sensesPressure({ pressure: [null, null, null, null], stroke }), null);
});

test("with one hand there is no column of contacts", () => {
  const record = pen();
  record.down(event("pen", 1000));
  assert.equal("pointer" in samplesDocument(record.columns), false);
});
