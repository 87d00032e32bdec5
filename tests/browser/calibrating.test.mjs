import assert from "node:assert/strict";
import { test } from "node:test";

import { Calibrating } from "../../web/tablet/calibrating.mjs";
import { pageOf } from "./elements.mjs";

function opened() {
  const { find } = pageOf("calibrate", {});
  find("card-room").clientWidth = 900;
  Object.assign(globalThis, {
    addEventListener() {}, innerWidth: 1180, innerHeight: 820, devicePixelRatio: 2,
  });
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
