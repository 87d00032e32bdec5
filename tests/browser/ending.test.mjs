import assert from "node:assert/strict";
import { test } from "node:test";

import { endingOf } from "../../web/tablet/ending.mjs";
import { arc, arrived, columnsOf, dot, DOWN, near, straight, taps } from "./strokes.mjs";

const line = { points_mm: [[10, 50], [110, 50]], closed: false, corridor_mm: 12, stop_radius_mm: 5 };
const trace = (guide = line, mode = "trace") => endingOf({ guide, task: { mode } });

for (const mode of ["trace", "cut"]) {
  test(`${mode}: a lift in the stop after half of the guide has arrived`, () => {
    assert.equal(arrived(trace(line, mode), [straight([55, 50], [110, 50])]), "stop_target");
  });
}

test("a line is not over before half of its guide, nor outside its stop, nor while it is drawn", () => {
  assert.equal(arrived(trace(), [straight([65, 50], [110, 50])]), null);
  assert.equal(arrived(trace(), [straight([10, 50], [104, 50])]), null);
  assert.equal(arrived(trace(), [straight([10, 50], [110, 50])], null, DOWN), null);
  assert.equal(arrived(trace(), []), null);
});

test("what was drawn before a lift counts, what a finger jumped over does not", () => {
  const first = straight([10, 50], [40, 50]);
  assert.equal(arrived(trace(), [first, straight([85, 50], [110, 50])]), "stop_target");
  assert.equal(arrived(trace(), [first, straight([100, 50], [110, 50])]), null);
});

test("a line that has left its stop again has not arrived", () => {
  const back = [...straight([10, 50], [110, 50]), ...straight([110, 50], [90, 50])];
  assert.equal(arrived(trace(), [back]), null);
});

test("a closed guide is not over where it begins, but once half of it is drawn", () => {
  const hatch = { points_mm: [[0, 0], [70, 0], [70, 70], [0, 70]], closed: true, corridor_mm: 12 };
  const side = straight([0, 0], [70, 0]);
  assert.equal(arrived(trace(hatch), [[[0, 0], [1, 0]]]), null);
  assert.equal(arrived(trace(hatch), [side]), null);
  const round = [...side, ...straight([70, 0], [70, 70]), ...straight([70, 70], [0, 70]),
    ...straight([0, 70], [0, 0])];
  assert.equal(arrived(trace(hatch), [round]), "stop_target");
});

test("a restart forgets what was drawn", () => {
  const ending = trace();
  ending.update(columnsOf([straight([10, 50], [110, 50])]));
  near(ending.share, 1, 0.01);
  ending.restart();
  assert.equal(ending.share, 0);
  assert.equal(arrived(ending, [straight([100, 50], [110, 50])]), null);
});

// The smallest distance of the third is 60 mm, of the others 40 mm.
const holes = { targets_mm: [dot(20, 30, 0), dot(60, 30, 1), dot(120, 30, 2)] };
const tap = (guide = holes) => endingOf({ guide, task: { mode: "tap" } });

test("tap: over once every dot was aimed at, hit or not, in any order", () => {
  const ending = tap();
  assert.equal(arrived(ending, taps([120, 30], [20, 48])), null);
  near(ending.share, 2 / 3, 1e-9);
  assert.equal(arrived(ending, taps([120, 30], [20, 48], [70, 30])), "all_dots");
});

test("tap: not while a finger is down, and not before anything was tapped", () => {
  const all = taps([20, 30], [60, 30], [120, 30]);
  assert.equal(arrived(tap(), all, null, DOWN), null);
  assert.equal(arrived(tap(), []), null);
  assert.equal(arrived(tap({ targets_mm: [] }), []), null);
});

test("tap: a tap aims at a dot up to half way to the dot's neighbour", () => {
  const rest = [[60, 30], [120, 30]];
  assert.equal(arrived(tap(), taps(...rest, [20, 50])), "all_dots"); // [C] 20 mm of 40 / 2
  assert.equal(arrived(tap(), taps(...rest, [20, 50.1])), null);
  assert.equal(arrived(tap(), taps([20, 30], [60, 30], [120, 60])), "all_dots"); // [C] 60 / 2
  assert.equal(arrived(tap(), taps([20, 30], [60, 30], [120, 60.1])), null);
});

test("tap: two taps at one dot do for that dot only, and sliding to the next is no tap", () => {
  assert.equal(arrived(tap(), taps([20, 30], [22, 30], [120, 30])), null);
  assert.equal(arrived(tap(), [straight([20, 30], [60, 30]), [[120, 30]]]), null);
});

test("tap: a dot alone is aimed at within 15 mm or three radii", () => {
  const one = (radius) => tap({ targets_mm: [dot(50, 50, 0, radius)] });
  assert.equal(arrived(one(4), taps([65, 50])), "all_dots");
  assert.equal(arrived(one(4), taps([65.1, 50])), null);
  assert.equal(arrived(one(10), taps([80, 50])), "all_dots");
});

const posts = {
  targets_mm: [dot(20, 20, 0), dot(80, 40, 1), dot(20, 60, 2), dot(80, 80, 3)],
};
const join = (guide = posts) => endingOf({ guide, task: { mode: "join" } });

test("join: over with a lift in the last dot, after half of the dots", () => {
  assert.equal(arrived(join(), [straight([20, 60], [80, 80])]), "stop_target"); // [C] 2 of 4
  const ending = join();
  assert.equal(arrived(ending, [straight([50, 70], [80, 80])]), null); // [C] 1 of 4
  near(ending.share, 0.25, 1e-9);
  assert.equal(arrived(join(), [straight([20, 60], [80, 80])], null, DOWN), null);
});

test("join: the last dot is round, and a lift beside it is not in it", () => {
  const start = [[20, 20], [80, 40], [20, 60]];
  assert.equal(arrived(join(), [[...start, [83, 84]]]), "stop_target"); // [C] 5 mm: 3, 4
  assert.equal(arrived(join(), [[...start, [84, 84]]]), null);
});

test("join: a fast line meets a dot between two samples, a lift over it does not", () => {
  // [C] (50, 45) lies half way from (20, 10) to (80, 80)
  const guide = { targets_mm: [dot(50, 45, 0), dot(5, 90, 1), dot(5, 5, 2), dot(80, 80, 3)] };
  assert.equal(arrived(join(guide), [[[20, 10], [80, 80]]]), "stop_target");
  assert.equal(arrived(join(guide), [[[20, 10]], [[80, 80]]]), null);
});

test("join: a line the other way round is over when it has met all dots and stands in one", () => {
  const way = [[80, 80], [20, 60], [80, 40], [20, 20]];
  assert.equal(arrived(join(), [way]), "all_dots");
  assert.equal(arrived(join(), [[way[1], way[0], way[3], way[2]]]), "all_dots");
  assert.equal(arrived(join(), [way.slice(0, 3)]), null);
  assert.equal(arrived(join(), [way.filter((_, i) => i !== 1)]), null);
  assert.equal(arrived(join(), [[...way, [20, 12]]]), null, "lifted beside it");
});

// Two Oars as on a screen of 207 mm.
const oars = {
  parts: [53.5, 153.5].map((x) => ({
    points_mm: [[x, 28], [x, 108]], closed: false, corridor_mm: 18,
  })),
  start_radius_mm: 9, stop_radius_mm: 9,
};
const both = (guide) => endingOf({ guide, task: { mode: "both" } });
const pull = (x, to = 108) => straight([x, 28], [x, to]);

test("both: over once each contact was lifted in its own stop after half of its own part", () => {
  assert.equal(arrived(both(oars), [pull(53.5), pull(153.5)], [0, 1]), "stop_target");
  assert.equal(arrived(both(oars), [pull(53.5)], [0]), null);
  assert.equal(arrived(both(oars), [pull(53.5), pull(153.5, 90)], [0, 1]), null);
  assert.equal(arrived(both(oars), [pull(53.5), pull(153.5).slice(50)], [0, 1]), null);
  assert.equal(arrived(both(oars), [pull(53.5), pull(153.5)], [0, 1], DOWN), null);
  assert.equal(arrived(both(oars), [pull(153.5), pull(53.5)], [0, 1]), null, "the other's part");
});

test("both: the share is that of the hand that is behind", () => {
  const ending = both(oars);
  ending.update(columnsOf([pull(53.5), pull(153.5, 48)], [0, 1]));
  near(ending.share, 0.25, 0.03); // [C] 20 of 80 mm
});

test("both: an earlier stroke of the same hand counts, the last lift decides", () => {
  const strokes = [pull(53.5), pull(153.5, 70), straight([153.5, 70], [153.5, 108])];
  assert.equal(arrived(both(oars), strokes, [0, 1, 1]), "stop_target");
  assert.equal(arrived(both(oars), [...strokes, pull(53.5, 40)], [0, 1, 1, 0]), null);
});

const FREE = [false, false];

test("both: a touch is the contact of the part it is nearest to, whichever comes first", () => {
  const ending = both(oars);
  assert.equal(ending.claim(60, 30, FREE), 0);
  assert.equal(ending.claim(140, 100, FREE), 1);
  assert.equal(ending.claim(140, 100, [true, false]), 1);
  assert.equal(ending.claim(60, 30, [false, true]), 0);
});

test("both: a touch at a part that has its finger is ignored, and so is a third", () => {
  const ending = both(oars);
  assert.equal(ending.claim(60, 30, [true, false]), null);
  assert.equal(ending.claim(150, 30, [false, true]), null);
  assert.equal(ending.claim(100, 60, [true, true]), null);
});

test("both: of two parts close together the free one is taken when it is near as well", () => {
  const close = { parts: [50, 65].map((x) => ({ points_mm: [[x, 28], [x, 108]] })) };
  const ending = both(close);
  assert.equal(ending.claim(52, 30, FREE), 0);
  assert.equal(ending.claim(52, 30, [true, false]), 1);
  assert.equal(ending.claim(40, 30, [true, false]), null); // [C] 25 mm from the other
});

// Capstan: a disc to hold at the left, a ring to follow at its right, from its right edge.
const capstan = {
  points_mm: arc([130, 68], 30, 0, 2 * Math.PI), closed: true, corridor_mm: 18,
  targets_mm: [dot(34, 68, 0, 15)], start_radius_mm: 9, stop_radius_mm: 9,
};

test("both: beside a disc contact 0 follows the ring and contact 1 holds", () => {
  const ending = both(capstan);
  assert.equal(ending.claim(40, 70, FREE), 1);
  assert.equal(ending.claim(160, 68, FREE), 0);
  assert.equal(ending.claim(160, 68, [false, true]), 0);
  assert.equal(ending.claim(74, 68, FREE), 1); // [C] 25 mm from the disc, 26 mm from the ring
  assert.equal(ending.claim(76, 68, FREE), 0); // [C] 27 mm and 24 mm
  assert.equal(ending.claim(44, 60, [false, true]), null, "a second finger on the disc");
  assert.equal(ending.claim(160, 68, [true, false]), null, "a second finger on the ring");
});

test("both: with a disc to hold it is over when the follower arrived and both are up", () => {
  const hold = [[34, 68], [34, 69]];
  const round = arc([130, 68], 30, 0, 2 * Math.PI);
  assert.equal(arrived(both(capstan), [hold, round], [1, 0]), "stop_target");
  assert.equal(arrived(both(capstan), [hold, round], [1, 0], DOWN), null);
  assert.equal(arrived(both(capstan), [hold, arc([130, 68], 30, 0, 2)], [1, 0]), null);
  assert.equal(arrived(both(capstan), [round], [1]), null, "what holds does not follow");
});

test("both: without a disc any place away from the line holds", () => {
  const ending = both({ ...capstan, targets_mm: undefined });
  assert.equal(ending.claim(20, 68, FREE), 1);
  assert.equal(ending.claim(155, 68, FREE), 0);
});

for (const [name, make, strokes, contacts] of [
  ["tap", tap, taps([20, 30], [60, 30], [120, 30])],
  ["join", join, [straight([20, 60], [80, 80])]],
  ["both", () => both(oars), [pull(53.5), pull(153.5)], [0, 1]],
]) {
  test(`${name}: a restart forgets what was drawn`, () => {
    const ending = make();
    ending.update(columnsOf(strokes, contacts));
    assert.ok(ending.share > 0);
    ending.restart();
    assert.equal(ending.share, 0);
  });
}

test("only mode both tells two contacts apart", () => {
  assert.equal(trace().claim, undefined);
  assert.equal(tap().claim, undefined);
  assert.equal(join().claim, undefined);
});
