import assert from "node:assert/strict";
import { test } from "node:test";

import { endingOf } from "../../web/tablet/ending.mjs";
import { arrived, columnsOf, dot, DOWN, near, straight, taps } from "./strokes.mjs";

const line = { points_mm: [[10, 50], [110, 50]], closed: false, corridor_mm: 12, stop_radius_mm: 5 };
const trace = (guide, mode = "trace") => endingOf({ guide, task: { mode } });

test("of several parts half of each counts, and where the last lift was is told", () => {
  const guide = { parts: [line, { points_mm: [[10, 90], [50, 90]] }] };
  const ending = trace(guide);
  // [C] 40 of 140 mm
  assert.equal(arrived(ending, [straight([10, 90], [50, 90])]), null);
  near(ending.share, 40 / 140, 0.01);
  const both = [straight([50, 50], [110, 50]), straight([10, 90], [50, 90])];
  assert.equal(arrived(trace(guide), both), "stop_target");
  assert.equal(arrived(trace(guide), [...both, straight([60, 50], [110, 50])]), "all_parts");
  assert.equal(arrived(trace(guide), both, null, DOWN), null);
  // [C] 100 of 140 mm, none of the shorter part
  assert.equal(arrived(trace(guide), [straight([10, 50], [110, 50])]), null);
  assert.equal(arrived(trace(guide), [both[0], straight([10, 90], [27, 90])]), null);
});

test("parts that lie on one another, wholly or in part, are drawn by one line", () => {
  const [there, stem] = [[[10, 50], [110, 50]], [[50, 10], [50, 90]]];
  for (const [first, second] of [
    [there, [...there].reverse()], [there, there], [stem, [[50, 50], [50, 90], [80, 90]]],
  ]) {
    const guide = { parts: [{ points_mm: first }, { points_mm: second }] };
    const strokes = [first, second].map((points) =>
      points.slice(1).flatMap((to, i) => straight(points[i], to)));
    assert.equal(arrived(trace(guide), strokes), "stop_target");
  }
});

// Ticket Snips as on a screen of 207 mm.
const snips = {
  parts: [41, 66, 91, 116, 141, 166].map((x) => ({ points_mm: [[x, 80.5], [x, 55.5]] })),
};
const snip = (number, from = 80.5, to = 55.5) =>
  straight([41 + 25 * number, from], [41 + 25 * number, to]);

test("snips are over in any order and either way, and not while one is missing", () => {
  const orders = { stop_target: [0, 1, 2, 3, 4, 5], all_parts: [5, 4, 3, 2, 1, 0] };
  for (const [ended_by, order] of Object.entries(orders)) {
    assert.equal(arrived(trace(snips, "cut"), order.map((i) => snip(i))), ended_by);
    assert.equal(arrived(trace(snips, "cut"), order.map((i) => snip(i, 55.5, 80.5))), "all_parts");
    for (let missing = 0; missing < 6; missing += 1) {
      const rest = order.filter((i) => i !== missing).map((i) => snip(i));
      assert.equal(arrived(trace(snips, "cut"), rest), null);
    }
  }
  assert.equal(arrived(trace(snips, "cut"), [0, 1, 5].map((i) => snip(i))), null);
});

test("a line across all snips is none of them, however few places it has", () => {
  assert.equal(arrived(trace(snips), [straight([30, 68], [177, 68])]), null);
  assert.equal(arrived(trace(snips), [snips.parts.map(({ points_mm: [[x]] }) => [x, 68])]), null);
});

test("a closed part among several is drawn across its first point as well", () => {
  const around = [[0, 0], [40, 0], [40, 40], [0, 40]];
  const beside = { points_mm: [[80, 0], [80, 40]] };
  const guide = { parts: [{ points_mm: around, closed: true }, beside] };
  const ending = trace(guide);
  // [C] 30 of 160 mm: a few places on both sides of where it begins
  assert.equal(arrived(ending, [[[0, 15], [0, 0], [15, 0]], straight([80, 0], [80, 40])]), null);
  near(ending.progress.shares[0], 30 / 160, 0.03);
  near(ending.progress.shares[1], 1, 0.01);
});

const posts = {
  targets_mm: [dot(20, 20, 0), dot(80, 40, 1), dot(20, 60, 2), dot(80, 80, 3)],
};
const join = (guide) => endingOf({ guide, task: { mode: "join" } });

test("join: pairs end by the same rule, at the last dot of all", () => {
  const pairs = join({ ...posts, pairs: true });
  assert.equal(arrived(pairs, [straight([20, 20], [80, 40])]), null);
  const both = [straight([20, 20], [80, 40]), straight([20, 60], [80, 80])];
  assert.equal(arrived(pairs, both), "stop_target");
});

// Night Beacons as on a screen of 207 mm.
const beacons = {
  pairs: true,
  targets_mm: [23, 53, 83, 113].flatMap((y, i) =>
    [43.5, 163.5].map((x, side) => dot(i % 2 ? 207 - x : x, y, 2 * i + side, 8))),
};
const row = (i, way = 1) => {
  const [from, to] = beacons.targets_mm.slice(2 * i, 2 * i + 2).map(({ x, y }) => [x, y]);
  return way > 0 ? straight(from, to) : straight(to, from);
};

test("join: pairs are over in any order and either way, and not while one is missing", () => {
  for (const order of [[0, 1, 2, 3], [3, 2, 1, 0], [2, 0, 3, 1]]) {
    const lines = order.map((i) => row(i));
    assert.equal(arrived(join(beacons), lines), order.at(-1) === 3 ? "stop_target" : "all_dots");
    assert.equal(arrived(join(beacons), order.map((i) => row(i, -1))), "all_dots");
    assert.equal(arrived(join(beacons), lines, null, DOWN), null);
    for (let missing = 0; missing < 4; missing += 1) {
      assert.equal(arrived(join(beacons), lines.filter((_, at) => at !== missing)), null);
    }
  }
  assert.equal(arrived(join(beacons), [row(0), row(3)]), null);
});

test("join: dots that were met without their pair's line are no pair", () => {
  const column = (x) => straight([x, 23], [x, 113]);
  assert.equal(arrived(join(beacons), [column(43.5), column(163.5)]), null);
  assert.equal(arrived(join(beacons), taps(...beacons.targets_mm.map(({ x, y }) => [x, y]))), null);
});

for (const [name, make, stroke] of [
  ["pairs", () => join(beacons), row(3)], ["parts", () => trace(snips), snip(0)],
]) {
  test(`${name}: a restart forgets what was drawn`, () => {
    const ending = make();
    ending.update(columnsOf([stroke]));
    assert.ok(Math.max(...ending.progress.shares) > 0.9);
    ending.restart();
    assert.ok(ending.progress.shares.every((share) => share === 0));
    assert.equal(ending.share, 0);
  });
}
