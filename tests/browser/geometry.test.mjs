import assert from "node:assert/strict";
import { test } from "node:test";

import {
  boxOf, dotsOf, endsOf, insideSquare, partsOf, targetsOf,
} from "../../web/tablet/guide.mjs";
import { Progress } from "../../web/tablet/progress.mjs";
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

const AT = "2026-03-03T09:00:00Z";
const AT_MS = Date.parse(AT);
const DAY_MS = 24 * 60 * 60 * 1000;
const calibration = calibrationOf({
  long_px: 445.12, long_mm: 85.6, ratio: 2, orientation: "landscape", id: "c", at: AT,
});
const scaleWith = (more) => scaleOf(calibration, {
  ratio: 2, pinch: 1, orientation: "landscape", now_ms: AT_MS + DAY_MS, ...more,
});

test("a card's long side gives the scale", () => {
  near(calibration.px_per_mm, 5.2, 1e-12); // [C] 445.12 / 85.60
});

test("a calibration holds only at the pixel ratio and zoom it was made at", () => {
  assert.equal(scaleWith({}).calibrated, true);
  assert.equal(scaleWith({ ratio: 2.5 }).why, "zoomed");
  assert.equal(scaleWith({ pinch: 1.4 }).calibrated, false);
});

test("a calibration is asked again once the screen is turned, and after a week", () => {
  assert.deepEqual(scaleWith({ orientation: "portrait" }),
    { px_per_mm: calibration.px_per_mm, calibration_id: "c", calibrated: true, why: "turned" });
  assert.equal(scaleWith({ now_ms: AT_MS + 7 * DAY_MS }).why, null);
  const old = scaleWith({ now_ms: AT_MS + 7 * DAY_MS + 1 });
  assert.deepEqual([old.calibrated, old.why], [true, "old"]);
});

test("without a calibration the scale is nominal and said to be unchecked", () => {
  const scale = scaleOf(null, { ratio: 1, pinch: 1, orientation: "landscape", now_ms: AT_MS });
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

test("every part has ends of its own", () => {
  const oars = {
    parts: [[53, 28, 108], [153, 28, 108]].map(([x, top, bottom]) => ({
      points_mm: [[x, top], [x, bottom]], closed: false, corridor_mm: 18,
    })),
    start_radius_mm: 6,
  };
  const [left, right] = partsOf(oars).map((part) => endsOf(part, oars));
  assert.deepEqual(left, {
    start: { at_mm: [53, 28], radius_mm: 6 }, stop: { at_mm: [53, 108], radius_mm: 9 },
  });
  assert.deepEqual([right.start.at_mm, right.stop.at_mm], [[153, 28], [153, 108]]);
  const { start, stop } = targetsOf(oars);
  assert.deepEqual([start.at_mm, stop.at_mm], [[53, 28], [153, 108]]);
  // [C] 53 - 9 to 153 + 9, and half a corridor above and below
  assert.deepEqual(boxOf(oars, 0), { x: 44, y: 19, width: 118, height: 98 });
});

test("an end without a size of its own is 5 mm around, or as wide as the corridor", () => {
  const ends = (corridor_mm) =>
    endsOf(partsOf({ points_mm: [[0, 0], [9, 0]], corridor_mm })[0], {}).stop.radius_mm;
  assert.deepEqual([ends(6), ends(24), ends([6, 24]), ends(undefined)], [5, 12, 12, 5]);
});

const dots = {
  targets_mm: [
    { x: 90, y: 40, radius: 6, order: 2 }, { x: 20, y: 30, radius: 9, order: 0 },
    { x: 50, y: 80, radius: 6, order: 1 },
  ],
};

test("a guide of dots has no parts, and ends at its last dot", () => {
  assert.deepEqual(partsOf(dots), []);
  assert.deepEqual(dotsOf(dots).map(({ at_mm }) => at_mm), [[20, 30], [50, 80], [90, 40]]);
  assert.deepEqual(targetsOf(dots), {
    start: { at_mm: [20, 30], radius_mm: 9 }, stop: { at_mm: [90, 40], radius_mm: 6 },
  });
});

test("the box holds every dot, and the disc beside a line", () => {
  // [C] 20 - 9 to 90 + 6, 30 - 9 to 80 + 6
  assert.deepEqual(boxOf(dots, 0), { x: 11, y: 21, width: 85, height: 65 });
  const capstan = { ...circle, targets_mm: [{ x: 30, y: 68, radius: 15, order: 0 }] };
  const { x, width } = boxOf(capstan, 0);
  near(x, 15, 1e-9); // [C] 30 - 15
  near(x + width, 149, 1e-9); // [C] 103 + 40 + 6
});

test("the box holds targets that are larger than the corridor", () => {
  const oar = { points_mm: [[50, 20], [50, 80]], corridor_mm: 8, start_radius_mm: 9, stop_radius_mm: 7 };
  // [C] 9 mm around the start, 7 mm below the stop
  assert.deepEqual(boxOf(oar, 0), { x: 41, y: 11, width: 18, height: 76 });
});

test("the stop counts as far as its square is drawn", () => {
  const { stop } = targetsOf(line);
  assert.equal(insideSquare(stop, 198.5, 73), true);
  assert.equal(insideSquare(stop, 198.6, 68), false);
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

test("a lift over 20 mm, or a leap of 40 mm in one stroke, does not count as drawn", () => {
  const stretches = (from, to) => [...alongLine(0, 0.2), ...alongLine(from, 0.6).map(([x, y]) => [x, y, to])];
  const share = (points) => {
    const progress = new Progress(line);
    progress.update(drawn(points));
    return progress.share;
  };
  // [C] 20 and 40 of 180 mm
  near(share(stretches(0.2 + 20 / 180, 1)), 0.6 - 20 / 180, 0.03);
  near(share(stretches(0.2 + 40 / 180, 0)), 0.6 - 40 / 180, 0.03);
  near(share(stretches(0.2 + 20 / 180, 0)), 0.6, 0.03);
});

test("going round a circle counts across its start", () => {
  const progress = new Progress(circle);
  progress.update(drawn(circle.points_mm));
  near(progress.share, 1, 0.02);
});

test("a fast line over a circle's start counts from one side to the other", () => {
  const progress = new Progress(circle);
  const at = (degrees) => [103 + 40 * Math.cos((degrees * Math.PI) / 180),
    68 + 40 * Math.sin((degrees * Math.PI) / 180)];
  progress.update(drawn([at(-15), at(15)]));
  near(progress.share, 30 / 360, 0.02);
});

test("of two contacts each counts for its own progress only", () => {
  const progress = new Progress(line, { contact: 1 });
  const other = alongLine(0.6, 1);
  const points = alongLine(0, 0.5).flatMap((point, i) => [point, other[i]]);
  const stroke = points.map((_, i) => i % 2);
  progress.update({ ...drawn(points), stroke, pointer: stroke.map((one) => 1 - one) });
  near(progress.share, 0.5, 0.02);
});

test("scribbling on one spot is not progress", () => {
  const progress = new Progress(line);
  const scribble = Array.from({ length: 400 }, (_, i) => [60 + 6 * Math.sin(i), 68 + 6 * Math.cos(i)]);
  progress.update(drawn(scribble));
  assert.ok(progress.share < 0.1);
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
