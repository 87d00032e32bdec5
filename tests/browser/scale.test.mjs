import assert from "node:assert/strict";
import { test } from "node:test";

import { CARD_MM, layOut, longerBy } from "../../web/tablet/ruler.mjs";
import {
  calibrationOf, checkedAgain, likelyPxPerMm, mayStand, NOMINAL_PX_PER_MM, orientationOf, scaleOf,
} from "../../web/tablet/scale.mjs";

const near = (actual, expected, tolerance = 1e-9) =>
  assert.ok(Math.abs(actual - expected) <= tolerance, `${actual} is not ${expected}`);
const calibration = calibrationOf({
  long_px: 520, long_mm: 100, ratio: 2, orientation: "landscape", id: "c",
  at: "2026-03-03T09:00:00Z",
});

test("a ruler gives the scale as a card does", () => {
  near(calibration.px_per_mm, 5.2); // [C] 520 / 100
});

test("a scale that still holds keeps its id and is found true both ways up", () => {
  const at = "2026-03-12T09:00:00Z";
  const again = checkedAgain(calibration, { orientation: "portrait", at });
  assert.equal(again.calibration_id, "c");
  assert.equal(again.made_at, calibration.made_at);
  const scaleIn = (orientation) => scaleOf(again, {
    ratio: 2, pinch: 1, orientation, now_ms: Date.parse(at),
  });
  assert.deepEqual([scaleIn("portrait").why, scaleIn("portrait").calibrated], [null, true]);
  assert.deepEqual([scaleIn("landscape").why, scaleIn("landscape").calibrated], ["old", true]);
});

test("after a zoom the field begins as large as the card should be", () => {
  // [C] twice the device pixels in a CSS pixel: half as many CSS pixels in a millimetre.
  near(likelyPxPerMm(calibration, 4), 2.6);
  assert.equal(likelyPxPerMm(null, 2), NOMINAL_PX_PER_MM);
  assert.equal(mayStand(calibration, 4), false);
  assert.equal(mayStand(calibration, 2), true);
  assert.equal(mayStand(null, 2), false);
});

test("a screen that is wider than high is held across", () => {
  assert.equal(orientationOf(1180, 820), "landscape");
  assert.equal(orientationOf(390, 844), "portrait");
});

test("a card lies across where it has room, and stands upright on a phone", () => {
  const across = layOut("card", 848);
  assert.deepEqual([across.across_mm, across.down_mm], CARD_MM);
  const upright = layOut("card", 334);
  assert.deepEqual([upright.across_mm, upright.down_mm], [...CARD_MM].reverse());
  // [C] the short side fills the room: 334 / 53.98 × 85.60
  near(upright.most_px, 529.64, 0.01);
});

test("a ruler is 100 mm long where it has room, else 50 mm", () => {
  assert.equal(layOut("ruler", 848).long_mm, 100);
  const short = layOut("ruler", 334);
  assert.equal(short.long_mm, 50);
  assert.ok(short.most_px <= 334);
});

test("the handle changes the long side by as much as it moves along it", () => {
  const card = layOut("card", 848);
  near(longerBy(card, { right_px: 10, down_px: 0, way: "card" }), 10);
  // [C] the short side grew by 10: 10 × 85.60 / 53.98
  near(longerBy(card, { right_px: 3, down_px: 10, way: "card" }), 15.858, 1e-3);
  const ruler = layOut("ruler", 848);
  near(longerBy(ruler, { right_px: 10, down_px: 99, way: "ruler" }), 10);
});
