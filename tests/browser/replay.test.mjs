import assert from "node:assert/strict";
import { test } from "node:test";

import {
  kept, outline, pauseRadius, pieces, pointsOf, ringsOf, ticks, topOf,
} from "../../web/desk/replay_draw.mjs";
import {
  Course, advanced, momentsOf, passageOf, placeAfter, readout, seconds, strokesOf,
} from "../../web/desk/replay_time.mjs";

const words = (text) => text.replaceAll("\u00a0", " ");

/** Two strokes along x at 100 mm/s, 10 ms apart, with a lift of 60 ms between them. */
function samples(more = {}) {
  const t_ms = [1000, 1010, 1020, 1080, 1090, 1100];
  return {
    t_ms, x_mm: [0, 1, 2, 5, 6, 7], y_mm: [0, 0, 0, 0, 0, 4], stroke: [0, 0, 0, 1, 1, 1],
    pointer: null, pressure: null, distance_mm: [0, 1, 2, null, 4, 5],
    speed_mm_s: [40, 41, 42, 43, 44, 45], ...more,
  };
}

const none = { pauses: [], departures: [], crossings: [] };

test("a time is found between its neighbours whatever the length, by halves", () => {
  const times = Array.from({ length: 100_000 }, (_, i) => 4 * i);
  assert.equal(placeAfter(times, -1), 0);
  assert.equal(placeAfter(times, 0), 1);
  assert.equal(placeAfter(times, 7), 2);
  assert.equal(placeAfter(times, 399_996), 100_000);
  let looks = 0;
  const counted = new Proxy(times, { get: (all, key) => { looks += key !== "length"; return all[key]; } });
  assert.equal(placeAfter(counted, 123_457, 0, 100_000), 30_865);
  assert.ok(looks <= 17, `${looks} looks`);
});

test("equal times all lie before the place after them", () => {
  assert.equal(placeAfter([1, 2, 2, 2, 3], 2), 4);
  assert.equal(placeAfter([1, 2, 2, 2, 3], 2, 0, 3), 3);
});

test("strokes are runs of equal numbers, with their times and their hand", () => {
  assert.deepEqual(strokesOf(samples({ pointer: [0, 0, 0, 1, 1, 1] })), [
    { from: 0, to: 3, pointer: 0, start_ms: 1000, end_ms: 1020 },
    { from: 3, to: 6, pointer: 1, start_ms: 1080, end_ms: 1100 },
  ]);
});

test("between two samples the pen is on the straight line from one to the other", () => {
  const course = new Course(samples());
  assert.equal(course.penAt(999), null);
  const pen = course.penAt(1095);
  assert.deepEqual([pen.x_mm, pen.y_mm, pen.down], [6.5, 2, true]);
  assert.equal(course.valueAt("speed_mm_s", pen), 44.5);
});

test("in a lift the pen is up, and nothing is read between two strokes", () => {
  const course = new Course(samples());
  const pen = course.penAt(1050);
  assert.deepEqual([pen.x_mm, pen.down], [2, false]);
  assert.equal(course.valueAt("speed_mm_s", pen), null);
  assert.equal(words(readout(course, 1050)), "1.1 s · pen up");
});

test("what is not known on both sides is left out of what is read", () => {
  const course = new Course(samples());
  assert.equal(words(readout(course, 1015)), "1.0 s · 42 mm/s · 1.5 mm from the line");
  assert.equal(words(readout(course, 1085)), "1.1 s · 44 mm/s");
  const bare = new Course(samples({ distance_mm: null, speed_mm_s: null }));
  assert.equal(words(readout(bare, 1015)), "1.0 s");
});

test("two hands that overlap in time are each found on their own line", () => {
  const both = new Course({
    t_ms: [0, 100, 200, 50, 150, 250], x_mm: [0, 1, 2, 90, 80, 70], y_mm: [0, 0, 0, 5, 5, 5],
    stroke: [0, 0, 0, 1, 1, 1], pointer: [0, 0, 0, 1, 1, 1],
    distance_mm: null, speed_mm_s: [10, 10, 10, 20, 20, 20], pressure: null,
  });
  assert.deepEqual([both.start_ms, both.end_ms], [0, 250]);
  assert.equal(both.penAt(150, 0).x_mm, 1.5);
  assert.equal(both.penAt(150, 1).x_mm, 80);
  assert.equal(words(readout(both, 225)), "0.2 s · first contact: pen up · second contact: 20 mm/s");
});

test("a hundred thousand strokes make a course, and its ends are known", () => {
  const count = 150_000;
  const column = Array.from({ length: count }, (_, i) => i);
  const course = new Course({ ...samples(), t_ms: column, x_mm: column, y_mm: column, stroke: column });
  assert.deepEqual([course.start_ms, course.end_ms, course.strokes.length], [0, count - 1, count]);
  assert.equal(course.penAt(77_777).x_mm, 77_777);
});

test("moments stand in order of time and say what happened; those without a time are left out", () => {
  const found = momentsOf(new Course(samples()), {
    pauses: [{ start_ms: 1005, end_ms: 1405 }],
    departures: [
      { start_ms: 1002, end_ms: 1010, max_beyond_mm: 2.14 },
      { start_ms: null, end_ms: null, max_beyond_mm: 9 },
    ],
    crossings: [{ t_ms: 1090, towards: "left", lifted: true }],
  }, true);
  assert.deepEqual(found.map(({ kind, words: said }) => [kind, words(said)]), [
    ["stroke", "stroke 1 of 2"],
    ["departure", "outside the path, up to 2.1 mm past its edge"],
    ["pause", "pause, 0.4 s long"],
    ["stroke", "stroke 2 of 2"],
    ["crossing", "midline, to the left, after a lift"],
  ]);
});

test("without a true scale no moment says millimetres", () => {
  const events = { ...none, departures: [{ start_ms: 1, end_ms: 2, max_beyond_mm: 2 }] };
  const found = momentsOf(new Course(samples()), events, false);
  assert.ok(found.every(({ words: said }) => !said.includes("mm")));
});

test("playing goes at the speed chosen, and stops at the end", () => {
  const course = new Course(samples());
  assert.deepEqual(advanced(course, 1000, 40, 0.25), { t_ms: 1010, ended: false });
  assert.deepEqual(advanced(course, 1000, 40, 4), { t_ms: 1100, ended: true });
  assert.equal(course.within(5), 1000);
});

test("seconds are read to a tenth", () => assert.equal(words(seconds(3249)), "3.2 s"));

test("thinning keeps both ends and leaves no gap larger than it may", () => {
  const x_mm = Array.from({ length: 1001 }, (_, i) => i / 100);
  const found = kept({ x_mm, y_mm: x_mm.map(() => 0) }, 0, 1001, 0.2);
  assert.equal(found[0], 0);
  assert.equal(found.at(-1), 1000);
  assert.ok(found.length < 60, `${found.length} kept`);
  const gaps = found.slice(1).map((place, i) => x_mm[place] - x_mm[found[i]]);
  assert.ok(Math.max(...gaps) <= 0.2 + 0.01 + 1e-9);
});

test("thinning does not lose a turn in one place: it goes by the length of the line", () => {
  const found = kept({ x_mm: [0, 1, 0, 1, 0], y_mm: [0, 0, 0, 0, 0] }, 0, 5, 0.5);
  assert.deepEqual(found, [0, 1, 2, 3, 4]);
  assert.deepEqual(kept({ x_mm: [3], y_mm: [3] }, 0, 1, 0.5), [0]);
});

test("pieces share their ends and hold everything", () => {
  assert.deepEqual(pieces([1, 2, 3, 4, 5], 2), [[1, 2, 3], [3, 4, 5]]);
  assert.deepEqual(pieces([1, 2, 3, 4], 2), [[1, 2, 3], [3, 4]]);
  assert.deepEqual(pieces([1], 2), [[1]]);
});

test("a single place becomes a line from itself to itself, which round ends make a dot", () => {
  assert.equal(pointsOf([[1, 2]]), "1,2 1,2");
  assert.equal(pointsOf([[1, 2], [1 / 3, 0]]), "1,2 0.333,0");
  assert.equal(ringsOf([[[0, 0], [1, 0], [1, 1]]]), "M0,0 1,0 1,1Z");
});

test("a curve of a hundred thousand values keeps its peak and its trough on few points", () => {
  const times = Array.from({ length: 100_000 }, (_, i) => i);
  const values = times.map(() => 10);
  values[43_210] = 99;
  values[43_211] = -5;
  const [line, ...more] = outline(times, values, { from: 0, to: 100_000 }, (t) => t / 200);
  assert.equal(more.length, 0);
  assert.ok(line.length <= 4 * 501, `${line.length} points`);
  assert.ok(line.some(([, value]) => value === 99));
  assert.ok(line.some(([, value]) => value === -5));
  assert.ok(line.every(([x], i) => i === 0 || x >= line[i - 1][0]));
});

test("a curve breaks where values are not known, and stays within its stroke", () => {
  const found = outline([0, 1, 2, 3, 4, 5], [1, 2, null, 4, 5, 6], { from: 0, to: 5 }, (t) => 10 * t);
  assert.deepEqual(found, [[[0, 1], [10, 2]], [[30, 4], [40, 5]]]);
  assert.deepEqual(outline([0, 1], [null, null], { from: 0, to: 2 }, (t) => t), []);
});

test("axes have round numbers, no more than asked for", () => {
  assert.deepEqual(ticks(0, 100, 4), [0, 50, 100]);
  assert.deepEqual(ticks(0, 1, 4), [0, 0.5, 1]);
  assert.deepEqual(ticks(0.6, 5.1, 6), [1, 2, 3, 4, 5]);
  assert.deepEqual(ticks(3, 3, 5), [3]);
  for (let span = 0.3; span < 5000; span *= 1.7) {
    for (const most of [3, 5, 9]) assert.ok(ticks(0.1, 0.1 + span, most).length <= most, `${span}`);
  }
});

test("a single wild value does not set the axis of speed", () => {
  const values = Array.from({ length: 1000 }, () => 50);
  values[3] = 9000;
  values[4] = null;
  assert.equal(topOf(values), 60);
  assert.equal(topOf([null]), 20);
});

test("the area of a pause grows with its length, between two bounds", () => {
  const area = (length_ms) => pauseRadius(length_ms) ** 2;
  assert.ok(Math.abs(area(4000) / area(2000) - 2) < 1e-9);
  assert.equal(pauseRadius(0), pauseRadius(100));
  assert.equal(pauseRadius(1e6), pauseRadius(1e7));
});

test("a crossing stands where the pen met the midline, not where it was found beyond it", () => {
  const course = new Course(samples({ y_mm: [0, 4, 0, 0, 0, 0] }));
  const crossing = { t_ms: 1090, x_mm: 6, y_mm: 0 };
  assert.deepEqual(passageOf(course, crossing, 0.5), { x_mm: 0.5, y_mm: 2 });
  assert.deepEqual(passageOf(course, crossing, -3), { x_mm: 6, y_mm: 0 });
});
