import assert from "node:assert/strict";
import { test } from "node:test";

import { SETTLED_MS } from "../../web/tablet/attempt.mjs";
import { LINE_MM } from "../../web/tablet/palm.mjs";
import { samplesDocument } from "../../web/tablet/samples.mjs";
import { trialDocument } from "../../web/tablet/trial.mjs";
import { begin } from "./attempting.mjs";
import { event, pen } from "./pointing.mjs";

// A touch from 0 to a place on the x axis [mm], in small steps, and its lift.
const swipe = (record, from_ms, to_mm, more = {}) => {
  const at = (i) => event("touch", from_ms + i, { clientX: to_mm * 5 * i / 40, clientY: 0, ...more });
  record.down(at(0));
  for (let i = 1; i < 40; i += 1) record.move(at(i));
  record.up(at(40));
};

test("a line that a finger drew stays when a pen comes, and the pen goes on with it", () => {
  const record = pen();
  swipe(record, 1000, LINE_MM);
  assert.equal(record.down(event("pen", 1500)), "started");
  record.move(event("pen", 1510));
  record.up(event("pen", 1520, { pressure: 0, buttons: 0 }));
  const { t_ms, stroke, pressure, tilt_x } = samplesDocument(record.columns);
  assert.deepEqual([t_ms.length, t_ms.slice(41)], [44, [500, 510, 520]]);
  assert.deepEqual([...new Set(stroke)], [0, 1]);
  assert.deepEqual(pressure.slice(40), [null, 0.25, 0.25, null]);
  assert.deepEqual(tilt_x.slice(40), [null, 12, 12, 12]);
  assert.deepEqual(
    [record.kind, record.kinds, record.setAside, record.touchesIgnored],
    ["touch", ["touch", "pen"], null, 0]);
});

test("touches that got nowhere are set aside, however often and long they trembled", () => {
  const record = pen();
  swipe(record, 1000, LINE_MM - 0.01);
  // [C] 200 steps of 4 mm there and back: a path of 800 mm that ends nowhere.
  record.down(event("touch", 1100, { clientX: 300 }));
  for (let i = 1; i <= 200; i += 1) {
    record.move(event("touch", 1100 + i, { clientX: 300 + 20 * (i % 2), clientY: 55 }));
  }
  record.up(event("touch", 1301, { clientX: 300 }));
  assert.equal(record.down(event("pen", 1500)), "restarted");
  assert.deepEqual([record.columns.t_ms, record.setAside.t_ms.length], [[500], 41 + 202]);
  assert.deepEqual([record.kind, record.kinds, record.touchesIgnored], ["pen", ["pen"], 2]);
});

test("a touch that is down when the pen lands, or was taken away by the browser, is no line", () => {
  for (const end of [() => {}, (record) => record.cancel(event("touch", 1050))]) {
    const record = pen();
    record.down(event("touch", 1000, { clientX: 0 }));
    record.move(event("touch", 1040, { clientX: 500 }));
    end(record);
    assert.equal(record.down(event("pen", 1500)), "restarted");
    assert.deepEqual([record.columns.t_ms, record.kinds], [[500], ["pen"]]);
  }
});

test("a finger's line that a moved screen or the strip broke off stays too", () => {
  const record = pen();
  record.down(event("touch", 1000, { clientX: 0 }));
  record.move(event("touch", 1040, { clientX: 5 * LINE_MM }));
  record.release();
  record.goOn(1050);
  record.again(event("touch", 1060, { clientX: 5 * LINE_MM + 5 }));
  record.up(event("touch", 1070, { clientX: 5 * LINE_MM + 10 }));
  assert.equal(record.down(event("pen", 1500)), "started");
  assert.deepEqual([record.columns.t_ms.length, record.setAside], [5, null]);
});

test("a palm under the pen ends when the pen comes to a finger's line, and does not come back", () => {
  const record = pen();
  swipe(record, 1000, 100);
  const palm = (at) => event("touch", at, { pointerId: 8 });
  assert.equal(record.down(palm(1400)), "started");
  record.down(event("pen", 1500));
  assert.equal(record.move(palm(1501)), 0);
  assert.equal(record.up(palm(1502)), false);
  assert.equal(record.down(palm(1503)), "ignored");
  assert.equal(record.down(event("pen", 1504, { pointerId: 11 })), "ignored", "a second pen");
  assert.equal(record.move(event("pen", 1510)), 1, "the pen draws on");
  record.up(event("pen", 1600, { buttons: 0 }));
  assert.equal(record.down(palm(1601)), "ignored", "the pen is near");
  record.move(event("pen", 2000, { buttons: 0 }));
  assert.equal(record.down(palm(3000)), "ignored", "it hovers");
  assert.equal(record.down(palm(3001)), "started", "a finger again");
  record.up(palm(3002));
  assert.equal(record.down(event("pen", 3100)), "started");
  assert.deepEqual(record.columns.t_ms.slice(41), [400, 500, 510, 600, 2001, 2002, 2100]);
  assert.deepEqual(record.columns.stroke.slice(41), [1, 2, 2, 2, 3, 3, 4]);
  assert.deepEqual([record.kind, record.touchesIgnored], ["touch", 3]);
});

test("a finger's line counts also if its lift came while the strip was open, or never", () => {
  const line = (record) => {
    record.down(event("touch", 1000, { clientX: 0 }));
    record.move(event("touch", 1040, { clientX: 500 }));
  };
  const behind_the_strip = pen();
  line(behind_the_strip);
  behind_the_strip.release();
  behind_the_strip.up(event("touch", 1100));
  behind_the_strip.goOn(1200);
  assert.equal(behind_the_strip.down(event("pen", 1500)), "started");
  const unseen = pen();
  line(unseen);
  assert.equal(unseen.down(event("touch", 4000, { pointerId: 9, isPrimary: true })), "started");
  assert.equal(unseen.down(event("pen", 4500)), "started");
  assert.deepEqual(unseen.columns.stroke, [0, 0, 1, 2]);
});

test("the document says which pointers took part, if more than one did", () => {
  const record = pen();
  swipe(record, 1000, 100);
  const device = { scale: { px_per_mm: 5, calibrated: true }, screen_mm: [207, 136], origin_mm: [0, 0] };
  const base = { plan: {}, item: { task: {} }, device };
  const said = (from) => trialDocument({ ...base, pen: from, marks: [] }).device;
  assert.deepEqual([said(record).pointer_type, "pointer_types" in said(record)], ["touch", false]);
  record.down(event("pen", 1500));
  assert.equal(said(record).pointer_type, "touch");
  assert.deepEqual(said(record).pointer_types, ["touch", "pen"]);
  // As a journal gives it back; one that an older page left does not know.
  const kept = { ...record.facts, columns: record.columns, setAside: null };
  assert.deepEqual(said(kept).pointer_types, ["touch", "pen"]);
  delete kept.kinds;
  assert.equal("pointer_types" in said(kept), false);
});

test("a pen that comes after a finger's line wipes nothing and draws on", (t) => {
  const { draw, down, move, up, ink, wait, ended, begun, samples } = begin(t);
  draw(10, 110, { pointerId: 7, pointerType: "touch" });
  wait(SETTLED_MS - 1);
  down(60);
  move(61);
  up(62);
  assert.equal(ink.clear.mock.callCount(), 0);
  assert.deepEqual(ink.down.mock.calls.map(({ arguments: [{ clientX }] }) => clientX), [10, 60]);
  wait(10 * SETTLED_MS);
  assert.deepEqual(ended, [], "lifted outside of the stop");
  assert.equal(samples().x_mm.length, 101 + 3);
  // Half of the line was drawn by the finger, and counts.
  draw(100, 110);
  wait(SETTLED_MS);
  assert.deepEqual([ended, begun.mock.callCount()], [["stop_target"], 1]);
});

test("a line that a finger drew in short pieces stays too, once it is half the guide", (t) => {
  const { draw, down, ink } = begin(t);
  const finger = { pointerId: 7, pointerType: "touch" };
  for (let x = 10; x < 62; x += 13) draw(x, x + 13, finger);
  down(90);
  assert.equal(ink.clear.mock.callCount(), 0);
  t.mock.timers.reset();
  t.mock.restoreAll();
  const shorter = begin(t);
  for (let x = 10; x < 49; x += 13) shorter.draw(x, x + 13, finger);
  shorter.down(90);
  assert.equal(shorter.ink.clear.mock.callCount(), 1);
});

const dots = {
  targets_mm: [20, 50, 80, 110].map((x, order) => ({ x, y: 50, radius: 5, order })),
};

test("dots that a finger tapped stay when a pen comes, a hand's chance touch does not", (t) => {
  const finger = { pointerId: 7, pointerType: "touch" };
  const tapping = (xs) => {
    const room = begin(t, { guide: dots, mode: "tap" });
    for (const [x, more] of [...xs.map((at) => [at, finger]), [110, {}]]) {
      room.down(x, 50, more);
      room.up(x, 50, more);
    }
    t.mock.timers.reset();
    t.mock.restoreAll();
    return [new Set(room.samples().stroke).size, room.ink.clear.mock.callCount()];
  };
  assert.deepEqual(tapping([20, 82]), [3, 0]);
  assert.deepEqual(tapping([52]), [1, 1]);
  assert.deepEqual(tapping([52, 50, 49]), [1, 1], "one dot, touched three times");
});
