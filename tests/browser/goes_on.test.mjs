import assert from "node:assert/strict";
import { test } from "node:test";

import { SETTLED_MS } from "../../web/tablet/attempt.mjs";
import { begin } from "./attempting.mjs";

test("a pen that stays down while the screen moves goes on with a stroke of its own", (t) => {
  const { attempt, down, move, up, ink, surface, samples, wait, ended } = begin(t);
  down(10);
  for (let x = 11; x <= 60; x += 1) move(x);
  attempt.moved({ toMm: (x, y) => [x, y], toPx: (x, y) => [x, y] });
  wait(SETTLED_MS - 1);
  move(62, 50, { getCoalescedEvents: () =>
    [61, 62].map((x) => ({ timeStamp: 1000 + x, clientX: x, clientY: 50 })) });
  wait(10 * SETTLED_MS);
  assert.deepEqual(ended, [], "it is down");
  for (let x = 63; x <= 110; x += 1) move(x);
  up(110);
  assert.deepEqual(samples().x_mm, [...Array.from({ length: 101 }, (_, i) => 10 + i), 110]);
  assert.deepEqual(samples().stroke.map((one) => one === 0), samples().x_mm.map((x) => x <= 60));
  assert.deepEqual(surface.captured, [1, 1]);
  assert.deepEqual(ink.down.mock.calls.map(({ arguments: [{ clientX }, contact] }) =>
    [clientX, contact]), [[10, 0], [61, 0]]);
  const further = ink.move.mock.calls[50].arguments;
  assert.deepEqual([further[0].map(({ clientX }) => clientX), further[1]], [[61, 62], 0]);
  wait(SETTLED_MS);
  assert.deepEqual(ended, ["stop_target"]);
});

test("a finger that stays down through the strip draws again, but only once it is closed", (t) => {
  const { attempt, down, move, up, cancel, samples, ink, wait, ended } =
    begin(t, { show: { idle_end_s: 4 } });
  const finger = { pointerId: 7, pointerType: "touch", buttons: 0 };
  down(10, 50, finger);
  move(20, 50, finger);
  attempt.pause();
  move(30, 50, finger);
  assert.deepEqual([samples().x_mm, ink.move.mock.callCount()], [[10, 20], 1]);
  attempt.resume();
  wait(3999);
  // What came in between is not told later.
  move(50, 50, { ...finger, getCoalescedEvents: () =>
    [[12, 40], [1000, 50]].map(([timeStamp, x]) => ({ timeStamp, clientX: x, clientY: 50 })) });
  assert.deepEqual([samples().x_mm, samples().stroke], [[10, 20, 50], [0, 0, 1]]);
  wait(60_000);
  assert.deepEqual(ended, [], "it is down again");
  cancel(0, 0, finger);
  up(60, 50, finger);
  wait(4000);
  assert.deepEqual([samples().x_mm, ended], [[10, 20, 50], ["idle"]]);
});

for (const [how, lift] of Object.entries({
  "a lift": ({ up }) => up(30),
  "a cancel": ({ cancel }) => cancel(0, 0),
  "a move without a button": ({ move }) => move(30, 50, { buttons: 0 }),
})) {
  test(`${how} while the strip is open is the end of a pointer`, (t) => {
    const room = begin(t, { show: { idle_end_s: 4 } });
    const { attempt, down, move, samples, wait, ended } = room;
    down(10);
    move(20);
    attempt.pause();
    lift(room);
    attempt.resume();
    wait(1000);
    move(40, 50, { buttons: 1 });
    assert.deepEqual(samples().x_mm, [10, 20]);
    wait(3000);
    assert.deepEqual(ended, ["idle"], "the wait is that of the strip");
  });

  test(`${how} after the strip, before a move, forgets the pointer and puts off no end`, (t) => {
    const room = begin(t, { show: { idle_end_s: 4 } });
    const { attempt, down, move, samples, wait, ended, ink } = room;
    down(10);
    move(20);
    attempt.pause();
    attempt.resume();
    wait(1000);
    lift(room);
    move(40);
    assert.deepEqual([samples().x_mm, ink.up.mock.callCount()], [[10, 20], 0]);
    wait(3000);
    assert.deepEqual(ended, ["idle"]);
  });
}

test("a capture that the strip takes away is no lift", (t) => {
  const { attempt, down, move, surface, samples } = begin(t);
  down(10);
  attempt.pause();
  surface.fire("lostpointercapture", { pointerId: 1, target: surface });
  attempt.resume();
  move(20);
  assert.deepEqual([samples().x_mm, samples().stroke, surface.captured], [[10, 20], [0, 1], [1, 1]]);
});

test("a pen's new contact after a pause is one stroke, not two", (t) => {
  const { attempt, down, move, samples } = begin(t);
  down(10);
  attempt.pause();
  attempt.resume();
  down(30);
  move(40);
  assert.deepEqual([samples().x_mm, samples().stroke], [[10, 30, 40], [0, 1, 1]]);
});

test("a palm moves after the strip as before it: nothing comes of it", (t) => {
  const { attempt, down, move, samples, attempt: { pen } } = begin(t);
  const palm = { pointerId: 7, pointerType: "touch" };
  down(10);
  down(90, 90, palm);
  attempt.pause();
  attempt.resume();
  move(91, 91, palm);
  assert.deepEqual([samples().x_mm, pen.drawing], [[10], false]);
});
