import assert from "node:assert/strict";
import { test } from "node:test";

import { boxOf, insideStop, partsOf, pointAlong, Progress, targetsOf } from "../../web/tablet/guide.mjs";
import { signPlaces } from "../../web/tablet/places.mjs";
import {
  areaOrigin, calibrationOf, mappingOf, NOMINAL_PX_PER_MM, scaleOf,
} from "../../web/tablet/scale.mjs";

const line = {
  points_mm: [[13.5, 68], [193.5, 68]], closed: false, corridor_mm: 12,
  start_radius_mm: 5, stop_radius_mm: 5,
};
const circle = {
  points_mm: Array.from({ length: 73 }, (_, i) => [
    103 + 40 * Math.cos((i * Math.PI) / 36), 68 + 40 * Math.sin((i * Math.PI) / 36)]),
  closed: true, corridor_mm: 12, start_radius_mm: 5, stop_radius_mm: 5,
};
circle.points_mm[72] = [...circle.points_mm[0]];

const drawn = (points) => ({
  x_mm: points.map(([x]) => x), y_mm: points.map(([, y]) => y), stroke: points.map(([, , s = 0]) => s),
});
const alongLine = (from, to, count = 60) =>
  Array.from({ length: count + 1 }, (_, i) => [13.5 + ((from + ((to - from) * i) / count) * 180), 68]);
const near = (actual, expected, tolerance) =>
  assert.ok(Math.abs(actual - expected) <= tolerance, `${actual} is not ${expected} ± ${tolerance}`);

test("a card's long side gives the scale", () => {
  const calibration = calibrationOf({ long_px: 445.12, ratio: 2, id: "c", at: "now" });
  near(calibration.px_per_mm, 5.2, 1e-12); // [C] 445.12 / 85.60
});

test("a calibration holds only at the pixel ratio and zoom it was made at", () => {
  const calibration = { calibration_id: "c", px_per_mm: 5.2, ratio: 2 };
  assert.equal(scaleOf(calibration, { ratio: 2, pinch: 1 }).calibrated, true);
  assert.equal(scaleOf(calibration, { ratio: 2.5, pinch: 1 }).why, "zoomed");
  assert.equal(scaleOf(calibration, { ratio: 2, pinch: 1.4 }).calibrated, false);
});

test("without a calibration the scale is nominal and said to be unchecked", () => {
  const scale = scaleOf(null, { ratio: 1, pinch: 1 });
  near(scale.px_per_mm, 3.7795, 1e-4); // [C] 96 / 25.4
  assert.equal(scale.px_per_mm, NOMINAL_PX_PER_MM);
  assert.equal(scale.calibrated, false);
});

test("the task area lies in the middle of a screen that is large enough", () => {
  assert.deepEqual(areaOrigin(boxOf(line), [227, 156]), [10, 10]);
});

test("on a smaller screen the area moves just far enough, and never shrinks", () => {
  // [C] centred: y = -26; the bridge's lowest point 120 mm must stay on 84 mm of screen.
  assert.deepEqual(areaOrigin({ x: 10, y: 40, width: 100, height: 80 }, [207, 84]), [0, -36]);
});

test("a guide that does not fit has no place", () => {
  assert.equal(areaOrigin(boxOf(line), [160, 156]), null);
});

test("screen and task area map onto each other exactly", () => {
  const { toMm, toPx } = mappingOf(5.21, [9.5, 10.25]);
  const [x, y] = toMm(...toPx(100.123, 50.456));
  near(x, 100.123, 1e-9);
  near(y, 50.456, 1e-9);
});

test("a closed part drops its repeated last point", () => {
  assert.equal(partsOf(circle)[0].points_mm.length, 72);
});

test("targets are the asked ends with the guide's own radii", () => {
  const { start, stop } = targetsOf(line);
  assert.deepEqual([start.at_mm, stop.at_mm], [[13.5, 68], [193.5, 68]]);
  assert.deepEqual([start.radius_mm, stop.radius_mm], [5, 5]);
  assert.deepEqual(targetsOf(circle).stop.at_mm, circle.points_mm[0]);
});

test("the box holds the corridor with its round ends", () => {
  const { x, y, width, height } = boxOf(line, 0);
  assert.deepEqual([x, y, width, height], [7.5, 62, 192, 12]); // [C] 6 mm on every side
});

test("the stop counts as far as its square is drawn", () => {
  assert.equal(insideStop(line, 198.5, 73), true);
  assert.equal(insideStop(line, 198.6, 68), false);
});

test("progress is the share of the line that was passed", () => {
  const progress = new Progress(line);
  progress.update(drawn(alongLine(0, 0.4)));
  near(progress.share, 0.4, 0.02);
});

test("progress takes up where the last look ended", () => {
  const progress = new Progress(line);
  const points = alongLine(0, 1);
  progress.update(drawn(points.slice(0, 20)));
  progress.update(drawn(points));
  near(progress.share, 1, 0.02);
});

test("a jump over a lift does not count as drawn", () => {
  const progress = new Progress(line);
  progress.update(drawn([...alongLine(0, 0.2), ...alongLine(0.8, 1).map(([x, y]) => [x, y, 1])]));
  near(progress.share, 0.4, 0.03);
});

test("going round a circle counts across its start", () => {
  const progress = new Progress(circle);
  progress.update(drawn(circle.points_mm));
  near(progress.share, 1, 0.02);
});

test("scribbling on one spot is not progress", () => {
  const progress = new Progress(line);
  const scribble = Array.from({ length: 400 }, (_, i) => [60 + 6 * Math.sin(i), 68 + 6 * Math.cos(i)]);
  progress.update(drawn(scribble));
  assert.ok(progress.share < 0.1);
});

test("a point along a guide has its place and direction", () => {
  assert.deepEqual(pointAlong(line, 10), { at: [23.5, 68], along: [1, 0] });
});

test("drawings stand on the screen, clear of the corridor and of each other", () => {
  for (const guide of [line, circle, { ...line, corridor_mm: 24 }]) {
    const places = signPlaces(guide, { left: 0, top: 0, right: 207, bottom: 136 });
    const { at_mm: [x, y], side_mm } = places.stop;
    assert.equal(side_mm, 13);
    assert.ok(x - 6.5 >= 0 && x + 6.5 <= 207 && y - 6.5 >= 0 && y + 6.5 <= 136);
    const distance = Math.min(...guide.points_mm.map(([px, py]) => Math.hypot(px - x, py - y)));
    assert.ok(distance >= guide.corridor_mm / 2 + 6.5 - 1e-9);
    const apart = Math.hypot(x - places.start.at_mm[0], y - places.start.at_mm[1]);
    assert.ok(apart > 13);
  }
});

test("without room beside an end its drawing is small and inside the target", () => {
  const { start } = signPlaces(line, { left: 7, top: 60, right: 200, bottom: 76 });
  assert.deepEqual(start, { at_mm: [13.5, 68], side_mm: 7 });
});
