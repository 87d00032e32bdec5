import assert from "node:assert/strict";
import { test } from "node:test";

import { Calibrating } from "../../web/tablet/calibrating.mjs";
import { pageOf } from "./elements.mjs";

function page() {
  const { find } = pageOf("calibrate", {});
  find("card-room").clientWidth = 900;
  Object.assign(globalThis, {
    addEventListener() {}, innerWidth: 1180, innerHeight: 820, devicePixelRatio: 2,
  });
  return find;
}

function opened() {
  const find = page();
  const [kept, gone] = [[], []];
  let written;
  const calibrating = new Calibrating(find, {
    kept: (calibration) => {
      kept.push(calibration);
      return new Promise((resolve) => { written = resolve; });
    },
  });
  calibrating.open(null, () => gone.push(gone.length));
  return { find, kept, gone, calibrating, written: () => written() };
}

/** A tablet whose storage takes nothing until `tries.full` is false. */
function refusing() {
  const find = page();
  const tries = { full: true, count: 0 };
  const calibrating = new Calibrating(find, {
    kept: async () => {
      tries.count += 1;
      if (tries.full) throw new Error("storage is full");
    },
  });
  return { find, gone: [], calibrating, tries };
}

test("two taps keep the scale once and go on once, after it is written", async () => {
  const { find, kept, gone, written } = opened();
  find("card-keep").click();
  find("card-keep").click();
  find("card-skip").click();
  await new Promise(setImmediate);
  assert.deepEqual([kept.length, gone.length], [1, 0]);
  written();
  await new Promise(setImmediate);
  find("card-keep").click();
  await new Promise(setImmediate);
  assert.deepEqual([kept.length, gone.length], [1, 1]);
});

test("a scale that cannot be kept is said, and the screen can be left", async () => {
  for (const way of ["card-skip", "card-keep"]) {
    const { find, gone, calibrating, tries } = refusing();
    calibrating.open(null, () => gone.push(gone.length));
    find("card-keep").click();
    await new Promise(setImmediate);
    assert.match(find("card-fault").textContent, /could not be kept on this tablet/);
    assert.deepEqual(gone, []);
    tries.full = false;
    find(way).click();
    find(way).click();
    await new Promise(setImmediate);
    assert.deepEqual(gone, [0], way);
    assert.equal(tries.count, way === "card-keep" ? 2 : 1);
    calibrating.open(null, () => {});
    assert.equal(find("card-fault").textContent, "");
  }
});

test("a scale that fails after the screen was opened anew takes nobody back", async () => {
  const { find, gone, calibrating } = refusing();
  calibrating.open(null, () => gone.push("old"));
  find("card-keep").click();
  calibrating.open(null, () => gone.push("new"));
  await new Promise(setImmediate);
  find("card-skip").click();
  await new Promise(setImmediate);
  assert.deepEqual(gone, ["new"]);
});

test("the next time it is opened it may be kept again", async () => {
  const { find, kept, gone, calibrating, written } = opened();
  find("card-skip").click();
  await new Promise(setImmediate);
  assert.deepEqual([kept.length, gone.length], [0, 1]);
  calibrating.open(null, () => gone.push("again"));
  find("card-keep").click();
  written();
  await new Promise(setImmediate);
  assert.deepEqual([kept.length, gone.at(-1)], [1, "again"]);
});

test("a field that grows below the buttons is brought out, once the handle is let go", () => {
  const { find } = opened();
  const by_px = [];
  globalThis.scrollBy = (_, y_px) => by_px.push(y_px);
  find("card-bar").box = { top: 740 };
  find("card-handle").box = { bottom: 740 };
  find("card-more").click();
  assert.deepEqual(by_px, []);
  find("card-handle").box = { bottom: 812.5 };
  find("card-more").click();
  find("card-size").value = "700";
  find("card-size").fire("input");
  assert.deepEqual(by_px, [73, 73]); // [C] 812.5 - 740, in whole pixels
  const [down, move, up] = ["pointerdown", "pointermove", "pointerup"].map((name) =>
    (more) => find("card-handle").heard.get(name).forEach((hear) =>
      hear({ pointerId: 1, clientX: 0, clientY: 0, preventDefault() {}, ...more })));
  find("card-handle").setPointerCapture = () => {};
  down({});
  move({ clientX: 4 });
  assert.equal(by_px.length, 2);
  up({});
  up({});
  assert.equal(by_px.length, 3);
});
