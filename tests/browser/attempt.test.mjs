import assert from "node:assert/strict";
import { mock, test } from "node:test";

import { JOURNAL_MS, MOST_SAMPLES, SETTLED_MS } from "../../web/tablet/attempt.mjs";
import { begin } from "./attempting.mjs";

const oars = {
  parts: [50, 150].map((x) => ({ points_mm: [[x, 20], [x, 100]] })), stop_radius_mm: 8,
};

test("a line that has arrived ends after a second and a half of rest", (t) => {
  const { draw, wait, ended, surface } = begin(t);
  draw(10, 110);
  wait(SETTLED_MS - 1);
  assert.deepEqual(ended, []);
  wait(1);
  assert.deepEqual(ended, ["stop_target"]);
  assert.equal(surface.handlers.size, 0, "nothing listens any more");
});

test("a contact before that goes on with the line", (t) => {
  const { draw, down, up, wait, ended, samples } = begin(t);
  draw(10, 110);
  wait(SETTLED_MS - 1);
  down(60);
  wait(10 * SETTLED_MS);
  assert.deepEqual(ended, []);
  up(60);
  wait(10 * SETTLED_MS);
  assert.deepEqual(ended, [], "lifted outside of the stop");
  assert.equal(new Set(samples().stroke).size, 2);
});

test("a palm that is ignored does not put the end off", (t) => {
  const { draw, down, wait, ended } = begin(t);
  draw(10, 110);
  wait(1000);
  down(90, 90, { pointerId: 7, pointerType: "touch" });
  wait(SETTLED_MS - 1000);
  assert.deepEqual(ended, ["stop_target"]);
});

test("a line left alone ends where the plan says so, and only once it was begun", (t) => {
  const { draw, wait, ended } = begin(t, { show: { idle_end_s: 4 } });
  wait(60_000);
  assert.deepEqual(ended, []);
  draw(10, 40);
  wait(3999);
  assert.deepEqual(ended, []);
  wait(1);
  assert.deepEqual(ended, ["idle"]);
});

test("a pen that rests on the screen is not idle", (t) => {
  const { down, wait, ended } = begin(t, { show: { idle_end_s: 4 } });
  down(10);
  wait(60_000);
  assert.deepEqual(ended, []);
});

for (const show of [undefined, {}, { idle_end_s: 0 }, { idle_end_s: null }]) {
  test(`a line left alone does not end by itself with ${JSON.stringify(show)}`, (t) => {
    const { draw, wait, ended } = begin(t, { show });
    draw(10, 40);
    wait(3_600_000);
    assert.deepEqual(ended, []);
  });
}

test("the adult may end a line that is left alone", (t) => {
  const { attempt, draw, wait, ended } = begin(t);
  draw(10, 40);
  wait(3_600_000);
  assert.deepEqual(ended, []);
  attempt.end("adult");
  attempt.end("adult");
  assert.deepEqual(ended, ["adult"], "an attempt ends once");
});

test("a lost capture after a lift is no second lift", (t) => {
  const { draw, surface, wait, ended, samples, ink } = begin(t);
  draw(10, 110);
  wait(1000);
  surface.fire("lostpointercapture", { pointerId: 1, target: surface });
  wait(SETTLED_MS - 1000);
  assert.deepEqual(ended, ["stop_target"], "the wait is that of the lift");
  assert.equal(ink.up.mock.callCount(), 1);
  assert.equal(samples().t_ms.length, 101);
});

test("a lost capture in the middle of a stroke ends it without a point", (t) => {
  const { down, move, surface, attempt, samples } = begin(t);
  down(10);
  move(20);
  surface.fire("lostpointercapture", { pointerId: 1, target: surface, clientX: 0, clientY: 0 });
  move(30);
  assert.equal(attempt.pen.drawing, false);
  assert.deepEqual(samples().x_mm, [10, 20]);
});

test("what lies under a finger gives its capture up to the surface, and the line goes on", (t) => {
  const { down, move, surface, samples } = begin(t);
  down(10);
  surface.fire("lostpointercapture", { pointerId: 1, target: {} });
  move(20);
  assert.deepEqual(samples().x_mm, [10, 20]);
});

test("a cancelled stroke in the stop lets the line arrive without the event's place", (t) => {
  const { down, move, cancel, wait, ended, samples } = begin(t);
  down(10);
  for (let x = 11; x <= 110; x += 1) move(x);
  cancel(0, 0);
  wait(SETTLED_MS);
  assert.deepEqual(ended, ["stop_target"]);
  assert.equal(samples().x_mm.at(-1), 110);
});

test("a pen that comes back without a button ends its stroke and its ink", (t) => {
  const { down, move, attempt, ink, samples } = begin(t);
  down(10);
  move(20);
  move(60, 50, { buttons: 0 });
  move(70, 50, { buttons: 0 });
  assert.equal(attempt.pen.drawing, false);
  assert.deepEqual(ink.up.mock.calls.map(({ arguments: [contact] }) => contact), [0]);
  assert.deepEqual(samples().x_mm, [10, 20]);
});

test("each move is asked once for its coalesced samples, which ink and record share", (t) => {
  const { down, move, ink, samples } = begin(t);
  down(10);
  const list = [11, 12].map((x) => ({ timeStamp: x, clientX: x, clientY: 50, pressure: 0 }));
  const getCoalescedEvents = mock.fn(() => list);
  move(12, 50, { getCoalescedEvents });
  assert.equal(getCoalescedEvents.mock.callCount(), 1);
  assert.deepEqual(ink.move.mock.calls[0].arguments, [list, 0]);
  assert.deepEqual(samples().x_mm, [10, 11, 12]);
  move(90, 90, { pointerId: 7, pointerType: "touch", getCoalescedEvents });
  assert.equal(getCoalescedEvents.mock.callCount(), 1, "a palm's move is not looked into");
});

test("pressure 0 on moves loses neither ink nor samples", (t) => {
  const { down, move, up, ink, samples } = begin(t);
  down(10, 50, { pressure: 1 });
  move(20, 50, { pressure: 0 });
  move(30, 50, { pressure: 0 });
  up(30, 50, { pressure: 0 });
  assert.deepEqual(samples().x_mm, [10, 20, 30, 30]);
  assert.equal(ink.move.mock.callCount(), 2);
});

test("a touch on a corner is the adult's, a pen there draws", (t) => {
  const { down, begun, attempt } = begin(t);
  const target = { closest: (name) => (name === ".corner" ? {} : null) };
  down(5, 5, { pointerType: "touch", target });
  assert.deepEqual([attempt.drawn, begun.mock.callCount()], [false, 0]);
  down(5, 5, { target });
  assert.deepEqual([attempt.drawn, begun.mock.callCount()], [true, 1]);
});

test("a palm before the pen is wiped off the screen and out of the progress", (t) => {
  const { draw, down, move, up, ink, wait, ended, begun } = begin(t);
  const palm = { pointerId: 7, pointerType: "touch" };
  down(10, 50, palm);
  for (let x = 11; x < 100; x += 1) move(x, 50, palm);
  wait(JOURNAL_MS);
  down(100);
  up(110);
  assert.equal(ink.clear.mock.callCount(), 1);
  wait(10 * SETTLED_MS);
  assert.deepEqual(ended, [], "the palm drew the rest");
  draw(10, 110);
  wait(SETTLED_MS);
  assert.deepEqual(ended, ["stop_target"]);
  assert.equal(begun.mock.callCount(), 1);
});

test("both: two captures, two lines of ink, and an end when both are up", (t) => {
  const { down, move, up, surface, ink, wait, ended, samples } = begin(t, { guide: oars, mode: "both" });
  const finger = (pointerId) => ({ pointerId, pointerType: "touch" });
  down(150, 20, finger(5));
  down(50, 20, finger(4));
  down(100, 60, finger(6));
  for (let y = 21; y <= 100; y += 1) {
    move(50, y, finger(4));
    move(150, y, finger(5));
  }
  up(50, 100, finger(4));
  wait(10 * SETTLED_MS);
  assert.deepEqual(ended, [], "one is still down");
  up(150, 100, finger(5));
  wait(SETTLED_MS);
  assert.deepEqual(ended, ["stop_target"]);
  assert.deepEqual(surface.captured, [5, 4]);
  assert.deepEqual(ink.down.mock.calls.map(({ arguments: [, contact] }) => contact), [1, 0]);
  assert.deepEqual(ink.up.mock.calls.map(({ arguments: [contact] }) => contact), [0, 1]);
  assert.equal(samples().t_ms.length, 2 + 160 + 2);
});

test("tap: the end says that all dots were aimed at", (t) => {
  const guide = { targets_mm: [{ x: 20, y: 50, radius: 5, order: 0 }, { x: 80, y: 50, radius: 5, order: 1 }] };
  const { down, up, wait, ended } = begin(t, { guide, mode: "tap" });
  for (const x of [20, 82]) {
    down(x);
    up(x);
  }
  wait(SETTLED_MS);
  assert.deepEqual(ended, ["all_dots"]);
});

test("a pause ends the stroke and stops the wait; going on takes the wait up again", (t) => {
  const { attempt, draw, down, move, wait, ended, samples } = begin(t);
  draw(10, 110);
  attempt.pause();
  wait(10 * SETTLED_MS);
  assert.deepEqual(ended, []);
  down(105);
  attempt.pause();
  move(60);
  assert.equal(samples().x_mm.at(-1), 105, "the pen is down, but not in a stroke");
  attempt.resume();
  wait(SETTLED_MS);
  assert.deepEqual(ended, ["stop_target"]);
});

test("short strokes too many for the server end at a lift", (t) => {
  const { down, move, up, ended } = begin(t);
  const burst = Array.from({ length: 1000 }, () => ({ timeStamp: 1, clientX: 20, clientY: 50 }));
  for (let count = 0; count < 200 && ended.length === 0; count += 1) {
    down(10);
    move(20, 50, { getCoalescedEvents: () => burst });
    up(20);
  }
  assert.deepEqual(ended, ["sample_limit"]);
});

test("a moved screen ends the stroke, draws the line again and maps what follows anew", (t) => {
  const { attempt, down, move, ink, samples } = begin(t);
  down(10);
  move(20);
  attempt.moved({ toMm: (x, y) => [x + 100, y], toPx: (x, y) => [x - 100, y] });
  assert.deepEqual(ink.redraw.mock.calls[0].arguments[0].x_mm, [10, 20]);
  down(40);
  assert.deepEqual([samples().x_mm, samples().stroke], [[10, 20, 140], [0, 0, 1]]);
});

test("a line too long for the server ends before it is refused", (t) => {
  const { down, move, ended, samples, wait } = begin(t);
  down(10);
  const burst = Array.from({ length: 1000 }, () => ({ timeStamp: 1, clientX: 20, clientY: 50 }));
  for (let count = 0; count < 200 && ended.length === 0; count += 1) {
    move(20, 50, { getCoalescedEvents: () => burst });
    wait(JOURNAL_MS);
  }
  assert.deepEqual(ended, ["sample_limit"]);
  assert.ok(samples().t_ms.length > MOST_SAMPLES && samples().t_ms.length <= 200_000);
});
