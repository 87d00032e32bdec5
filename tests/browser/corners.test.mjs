import assert from "node:assert/strict";
import { mock, test } from "node:test";

import { Corners, FORGET_MS, HOLD_MS } from "../../web/tablet/corners.mjs";

/** Corners on a mocked clock; `press` and `lift` by pointer, `opened()` counts. */
function corners(context) {
  context.mock.timers.enable({ apis: ["setTimeout"] });
  const opened = mock.fn();
  // Named here, so that the mocked ones are taken.
  const held = new Corners({
    opened, later: (run, ms) => setTimeout(run, ms), never: (timer) => clearTimeout(timer),
  });
  return {
    press: (pointerId, corner, more = {}) =>
      held.down({ pointerId, pointerType: "touch", timeStamp: 0, ...more }, corner),
    lift: (pointerId) => held.up({ pointerId }),
    wait: (ms) => context.mock.timers.tick(ms),
    opened: () => opened.mock.callCount(),
  };
}

test("two corners held for a second open the strip, once", (t) => {
  const { press, wait, opened } = corners(t);
  press(1, "left");
  wait(400);
  press(2, "right");
  wait(HOLD_MS - 1);
  assert.equal(opened(), 0);
  wait(1);
  assert.equal(opened(), 1);
  wait(5 * HOLD_MS);
  assert.equal(opened(), 1);
});

test("one corner does not, nor two fingers in one corner", (t) => {
  const { press, wait, opened } = corners(t);
  press(1, "left");
  wait(5 * HOLD_MS);
  press(2, "left");
  wait(5 * HOLD_MS);
  assert.equal(opened(), 0);
});

test("a finger that lifts too early takes the strip back, and may try again", (t) => {
  const { press, lift, wait, opened } = corners(t);
  press(1, "left");
  press(2, "right");
  wait(HOLD_MS - 1);
  lift(2);
  wait(HOLD_MS);
  assert.equal(opened(), 0);
  press(3, "right");
  wait(HOLD_MS);
  assert.equal(opened(), 1);
});

test("the lift of a finger elsewhere changes nothing", (t) => {
  const { press, lift, wait, opened } = corners(t);
  press(1, "left");
  press(2, "right");
  lift(9);
  wait(HOLD_MS);
  assert.equal(opened(), 1);
});

test("a corner whose lift was never seen is forgotten", (t) => {
  const { press, wait, opened } = corners(t);
  press(1, "left");
  press(2, "right", { timeStamp: FORGET_MS + 1 });
  wait(HOLD_MS);
  assert.equal(opened(), 0);
});

test("after the strip has opened both corners must be held anew", (t) => {
  const { press, wait, opened } = corners(t);
  press(1, "left");
  press(2, "right");
  wait(HOLD_MS);
  press(3, "right");
  wait(HOLD_MS);
  assert.equal(opened(), 1);
});

test("a third finger neither puts the strip off nor opens it twice", (t) => {
  const { press, wait, opened } = corners(t);
  press(1, "left");
  press(2, "right");
  wait(HOLD_MS / 2);
  press(3, "left");
  wait(HOLD_MS / 2);
  assert.equal(opened(), 1);
  wait(5 * HOLD_MS);
  assert.equal(opened(), 1);
});

test("with every finger lifted nothing opens, however many there were", (t) => {
  const { press, lift, wait, opened } = corners(t);
  press(1, "left");
  press(2, "right");
  press(3, "left");
  for (const pointerId of [1, 2, 3]) lift(pointerId);
  wait(5 * HOLD_MS);
  assert.equal(opened(), 0);
});

test("a mouse holds one corner, having one pointer only", (t) => {
  const { press, wait, opened } = corners(t);
  press(1, "left", { pointerType: "mouse" });
  wait(HOLD_MS);
  assert.equal(opened(), 1);
});
