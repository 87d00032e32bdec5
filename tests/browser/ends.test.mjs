import assert from "node:assert/strict";
import { test } from "node:test";

import { landmarksOf } from "../../web/tablet/course.mjs";
import { heads } from "../../web/tablet/ends.mjs";
import { outlineOf, partsOf } from "../../web/tablet/guide.mjs";
import { legsOf } from "../../web/tablet/legs.mjs";
import { drawGuide } from "../../web/tablet/picture.mjs";
import { signPlaces } from "../../web/tablet/places.mjs";
import { paper } from "./paper.mjs";
import { arc, near } from "./strokes.mjs";

const RADII = { start_radius_mm: 5, stop_radius_mm: 5 };
const square = { points_mm: [[60, 30], [140, 30], [140, 110], [60, 110]], closed: true, ...RADII };
const ring = { points_mm: arc([103, 68], 40, 0, 2 * Math.PI), closed: true, ...RADII };
const level = { points_mm: [[13.5, 68], [193.5, 68]], corridor_mm: 12, ...RADII };
const snips = (corridor_mm) => ({
  parts: [41, 66, 91].map((x) => ({ points_mm: [[x, 80.5], [x, 55.5]], corridor_mm })),
});
const item = (guide, show = {}) =>
  ({ task: { mode: "trace", task_id: "some" }, guide, show, condition: { hand: "right" } });

const numbersOf = (d) => [...d.matchAll(/-?[\d.]+/g)].map(([number]) => Number(number));
/** Places of dots, or of corners: every pair of numbers after an M or an L. */
const placesOf = (d) => [...d.matchAll(/[ML]([^MLh]+)/g)].map(([, pair]) => numbersOf(pair));

function dotsOf(guide) {
  const { svg } = paper();
  const place = { px_per_mm: 5.2, origin_mm: [10, 11], screen_mm: [227, 158] };
  drawGuide(svg, item(guide, { guide: "ends" }), place, { quiet: true });
  return svg.querySelectorAll(".dots").flatMap(({ attributes: { d } }) => placesOf(d));
}

test("where only the ends are shown, a closed line has dots at its corners", () => {
  assert.deepEqual(dotsOf(square), square.points_mm);
  // Beginning on a side, it has its corners all the same.
  const [a, b, c, d] = square.points_mm;
  const begun = { ...square, points_mm: [[100, 30], b, c, d, a] };
  assert.deepEqual(dotsOf(begun), begun.points_mm);
});

test("where only the ends are shown, a closed curve has dots all around", () => {
  const dots = dotsOf(ring);
  assert.equal(dots.length, 8); // [C] 360° in eighths
  dots.forEach(([x, y], i) => {
    near(Math.hypot(x - 103, y - 68), 40, 0.05);
    near(((Math.atan2(y - 68, x - 103) * 180) / Math.PI + 360) % 360, 45 * i, 0.1);
  });
});

test("a half-round has dots along its curve and none along its straight side", () => {
  const curve = arc([100, 70], 40, Math.PI, 2 * Math.PI);
  const dots = landmarksOf(partsOf({ points_mm: curve, closed: true }));
  assert.deepEqual(dots[0], curve[0]);
  const straight = dots.filter(([x, y]) => y > 69.9 && Math.abs(x - 100) < 39.9);
  assert.deepEqual([dots.length, straight.length], [5, 0]); // [C] 180° in quarters, two ends
});

test("a small closed curve is not strewn with dots", () => {
  const small = landmarksOf(partsOf({ points_mm: arc([0, 0], 6, 0, 2 * Math.PI), closed: true }));
  assert.equal(small.length, 3); // [C] 37.7 mm at 12 mm or more
});

test("where only the ends are shown, every part has its own; an open line has nothing else", () => {
  assert.deepEqual(dotsOf(snips(12)), snips(12).parts.flatMap(({ points_mm }) => points_mm));
  assert.deepEqual(dotsOf(level), []);
});

test("arrow heads stay on the first part, as many as it has room for", () => {
  paper();
  const tipsOf = (guide) => {
    const [leg] = legsOf(item(guide));
    return placesOf(heads(leg).attributes.d).filter((_, i) => i % 3 === 1);
  };
  // [C] the start's radius is half the corridor: 12 + 5 and 12 + 9.5 of 25 mm
  assert.deepEqual(tipsOf(snips(24)), [[41, 63.5], [41, 59]]);
  assert.deepEqual(tipsOf(snips(12)), [[41, 69.5], [41, 65], [41, 60.5]]);
  const [[x, y], ...more] = tipsOf(snips(60));
  assert.deepEqual([x, y, more.length], [41, 55.5, 0], "at its end, where none has room");
});

// Where a pen's point hides what lies below it, on the hand's own side.
function underHand({ at_mm: [x, y] }, [x0, y0], hand) {
  const degrees = (Math.atan2(y - y0, hand === "left" ? x0 - x : x - x0) * 180) / Math.PI;
  return degrees > 20 && degrees < 115;
}

const swell = Array.from({ length: 101 }, (_, i) =>
  [13.5 + 1.8 * i, 68 - 20 * Math.sin((3 * Math.PI * i) / 100)]);
const seam = Array.from({ length: 9 }, (_, i) => [13.5 + 22.5 * i, i % 2 ? 50.5 : 85.5]);
const ROOMS = [[207.7, 155.8], [227, 157.7], [200, 136], [197, 148]];

for (const [name, points_mm] of Object.entries({ swell, seam })) {
  test(`${name}: no drawing is under the hand that draws, at any width and on any screen`, () => {
    const clearOf = (one, side_mm, corridor_mm) => outlineOf({ points_mm }).every(([x, y]) =>
      Math.hypot(one[0] - x, one[1] - y) >= corridor_mm / 2 + side_mm / 2);
    for (const [width, height] of ROOMS) {
      const [left, top] = [(207 - width) / 2, (136 - height) / 2];
      const room = { left, top, right: left + width, bottom: top + height };
      for (const corridor_mm of [24, 18, 12, 8, 6]) {
        for (const hand of ["right", "left"]) {
          for (const asked of [points_mm, [...points_mm].reverse()]) {
            const places = signPlaces({ points_mm: asked, corridor_mm, ...RADII }, room, hand);
            for (const [end, at] of [["start", asked[0]], ["stop", asked.at(-1)]]) {
              const { at_mm, side_mm } = places[end];
              const said = `${width} mm, ${corridor_mm} mm, ${hand}, ${end}: ${at_mm}`;
              assert.equal(underHand(places[end], at, hand), false, said);
              assert.ok(side_mm >= 10 && clearOf(at_mm, side_mm, corridor_mm), said);
              assert.ok(Math.hypot(at_mm[0] - at[0], at_mm[1] - at[1]) < 32, said);
            }
          }
        }
      }
    }
  });
}
