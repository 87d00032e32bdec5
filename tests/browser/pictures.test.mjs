import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { Cue, momentOf, runOf } from "../../web/tablet/cue.mjs";
import { drawFirstThen } from "../../web/tablet/firstthen.mjs";
import { answer, drawGuide, setOut } from "../../web/tablet/picture.mjs";
import { signPlaces } from "../../web/tablet/places.mjs";
import { pairOf, pairsOf } from "../../web/tablet/signs.mjs";
import { drawStill } from "../../web/tablet/stills.mjs";
import { placeOn, waysOf } from "../../web/tablet/ways.mjs";
import { paper } from "./paper.mjs";

const SIGNS = readFileSync(new URL("../../web/shared/signs.svg", import.meta.url), "utf8");
const DRAWN = new Set([...SIGNS.matchAll(/<symbol id="([a-z-]+)"/g)].map(([, id]) => `#${id}`));
const PLACE = { px_per_mm: 5.2, origin_mm: [10, 11], screen_mm: [227, 158] };
const RADII = { start_radius_mm: 5, stop_radius_mm: 5 };

const round = (r, x, y) => Array.from({ length: 73 }, (_, i) => [
  x + r * Math.sin((i * Math.PI) / 36), y - r * Math.cos((i * Math.PI) / 36)]);
const dot = (x, y, order, radius = 6) => ({ x, y, radius, order });
const level = { points_mm: [[60, 68], [150, 68]], corridor_mm: 12, ...RADII };
const ring = { points_mm: round(40, 103, 68), closed: true, corridor_mm: 12, ...RADII };
const oars = {
  parts: [50, 150].map((x) => ({ points_mm: [[x, 30], [x, 110]], closed: false, corridor_mm: 18 })),
  ...RADII,
};
const dots = (...places) => ({ targets_mm: places.map(([x, y], i) => dot(x, y, i)) });
const posts = dots([70, 20], [130, 41], [70, 62], [130, 83]);
const beacons = { ...dots([43, 30], [163, 30], [163, 60], [43, 60]), pairs: true };
const windows = dots([60, 50], [100, 50], [140, 50], [60, 90], [100, 90], [140, 90]);
const capstan = { ...ring, targets_mm: [dot(20, 68, 0, 15)] };

const item = (mode, guide, { show = {}, condition = {}, task_id = `${mode}-task` } = {}) =>
  ({ task: { mode, task_id }, guide, show, condition: { hand: "right", ...condition } });

const ALL = [
  item("trace", level), item("trace", ring), item("cut", level), item("tap", windows),
  item("join", posts), item("join", beacons), item("both", oars), item("both", capstan),
];

function shown(drawn, how) {
  const page = paper();
  drawGuide(page.svg, drawn, PLACE, how);
  return page;
}

const reach = (circle) => circle.numberOf("r") + (circle.numberOf("stroke-width") || 0) / 2;
const circlesOf = (svg, name) =>
  svg.querySelectorAll(name).flatMap((group) => group.all.filter((node) => node.name === "circle"));
const near = (actual, expected, tolerance = 1e-9) =>
  assert.ok(Math.abs(actual - expected) <= tolerance, `${actual} is not ${expected} ± ${tolerance}`);

test("the same task has the same pair, and no drawing stands in two pairs", () => {
  assert.deepEqual(pairOf("high-bridge"), pairOf("high-bridge"));
  const eight = pairsOf("night-beacons", 8).flat();
  assert.equal(new Set(eight).size, 16);
  assert.deepEqual(pairsOf("night-beacons", 1), [pairOf("night-beacons")]);
});

test("every drawing that a picture uses is in the set, and there is nothing to read", () => {
  const pages = ALL.map((one) => shown(one));
  for (const phase of ["end", "turn", "rest", "full"]) {
    const page = paper();
    drawStill(page.svg, phase);
    pages.push(page);
  }
  for (const one of ALL) {
    const page = paper();
    drawFirstThen(page.svg, one, null);
    pages.push(page);
  }
  for (const { svg } of pages) {
    const used = svg.all.filter(({ name }) => name === "use").map((use) => use.attributes.href);
    assert.ok(used.length > 0);
    assert.deepEqual(used.filter((href) => !DRAWN.has(href)), []);
    assert.deepEqual(svg.all.filter(({ name }) => name === "text"), []);
  }
});

test("dots reach exactly as far as they count", () => {
  const tapped = circlesOf(shown(item("tap", windows)).svg, ".porthole");
  assert.equal(tapped.length, 6);
  for (const circle of tapped) near(reach(circle), 6);
  const { svg } = shown(item("join", posts));
  assert.equal(svg.querySelectorAll(".post").length, 2);
  for (const name of [".post", ".buoy"]) near(reach(circlesOf(svg, name)[0]), 6);
  near(reach(svg.querySelector(".pool")), 6);
  near(reach(circlesOf(shown(item("both", capstan)).svg, ".hold")[0]), 15);
});

test("a channel is as wide as its corridor, edge included", () => {
  const { svg } = shown(item("trace", level));
  const [edge, water] = [".edge", ".water"].map((name) =>
    svg.querySelector(name).numberOf("stroke-width"));
  near((edge + water) / 2, 12);
  const varied = shown(item("trace", { ...level, corridor_mm: [6, 18] })).svg;
  const radii = [".edge", ".water"].map((name) =>
    [...varied.querySelector(name).attributes.d.matchAll(/a([\d.]+) /g)].map(([, r]) => Number(r)));
  near((radii[0][0] + radii[1][0]) / 2, 3);
  near((radii[0][2] + radii[1][2]) / 2, 9); // [C] two arcs a disc
});

test("a guide is shown as asked, and a line without a corridor as a line", () => {
  const kinds = { corridor: ".water", line: ".thin", dots: ".dots" };
  for (const [guide, name] of Object.entries(kinds)) {
    const { svg } = shown(item("trace", level, { show: { guide } }));
    assert.equal(svg.querySelectorAll(".water, .thin, .dots").length, 1);
    assert.ok(svg.querySelector(name));
  }
  const ends = shown(item("trace", level, { show: { guide: "ends" } })).svg;
  assert.equal(ends.querySelectorAll(".water, .thin, .dots").length, 0);
  assert.equal(ends.querySelectorAll(".buoy, .quay").length, 2);
  const { points_mm } = level;
  assert.ok(shown(item("cut", { points_mm, ...RADII })).svg.querySelector(".thin"));
});

test("each pair of beacons has its own buoy and quay, and other drawings", () => {
  const { svg } = shown(item("join", beacons));
  assert.equal(svg.querySelectorAll(".buoy").length, 2);
  assert.equal(svg.querySelectorAll(".quay").length, 2);
  const signs = svg.querySelectorAll(".sign").map(({ dataset }) => dataset.sign);
  assert.equal(new Set(signs).size, 4);
});

test("two lines for two hands have a start and a stop each", () => {
  const { svg } = shown(item("both", oars));
  const counts = [".buoy", ".quay", ".hold"].map((name) => svg.querySelectorAll(name).length);
  assert.deepEqual(counts, [2, 2, 0]);
});

test("one thing answers at the end of every attempt, whatever was done", () => {
  for (const one of ALL) {
    const { svg } = shown(one);
    setOut(svg);
    answer(svg);
    assert.equal(svg.querySelectorAll(".answered").length, 1);
    assert.equal(svg.querySelector(".answered").querySelectorAll(".sign").length, 1);
  }
});

test("straight on is taken where it is free, and never below the hand that draws", () => {
  const room = { left: 0, top: 0, right: 227, bottom: 158 };
  const [x, y] = signPlaces(level, room, "left").stop.at_mm;
  assert.ok(x > 150 && y === 68);
  const guides = [level, ring, { ...level, points_mm: [[100, 30], [100, 100]] },
    { ...level, points_mm: [[60, 40], [140, 100]] }, { ...level, points_mm: [[140, 40], [60, 100]] }];
  for (const guide of guides) {
    for (const [hand, own] of [["right", 1], ["left", -1]]) {
      const { stop } = signPlaces(guide, room, hand);
      const end = guide.closed ? guide.points_mm[0] : guide.points_mm[1];
      const [dx, dy] = [own * (stop.at_mm[0] - end[0]), stop.at_mm[1] - end[1]];
      assert.equal(stop.side_mm, 13);
      assert.ok(dy <= 1e-9 || dx < -1e-9, `${hand}: ${dx} ${dy}`);
    }
  }
});

test("drawings keep clear of each other on every picture", () => {
  for (const one of ALL) {
    const uses = shown(one).svg.querySelectorAll(".sign").map((sign) => sign.all[0]);
    const boxes = uses.map((use) => [use.numberOf("x"), use.numberOf("y"), use.numberOf("width")]);
    boxes.forEach(([x, y, side], i) => boxes.slice(i + 1).forEach(([x1, y1, other]) => {
      const middles = [x - x1 + (side - other) / 2, y - y1 + (side - other) / 2];
      assert.ok(Math.hypot(...middles) > Math.max(side, other));
    }));
  }
});

test("a place on polylines is found across the gap between them", () => {
  const stretches = [[[0, 0], [10, 0]], [[0, 5], [20, 5]]];
  assert.deepEqual(placeOn(stretches, 4), { at_mm: [4, 0], along: [1, 0], stretch: 0, to_end_mm: 4 });
  assert.deepEqual(placeOn(stretches, 25).at_mm, [15, 5]); // [C] 10 + 15
  assert.deepEqual(placeOn(stretches, 99).at_mm, [20, 5]);
});

test("the cue goes where the hands go", () => {
  assert.equal(waysOf(item("trace", level)).length, 1);
  assert.equal(waysOf(item("both", oars)).length, 2);
  const [{ stretches, signs }] = waysOf(item("join", beacons));
  assert.deepEqual(stretches, [[[43, 30], [163, 30]], [[163, 60], [43, 60]]]);
  assert.notEqual(signs[0], signs[1]);
  assert.deepEqual(waysOf(item("join", posts))[0].stretches[0].length, 4);
});

test("dots to tap in any order have no way, in reading order a way along each row", () => {
  assert.deepEqual(waysOf(item("tap", windows)), []);
  const [{ stretches }] = waysOf(item("tap", windows, { condition: { direction: "left_to_right" } }));
  assert.deepEqual(stretches.map((row) => row.length), [3, 3]);
});

test("a run takes two to three seconds, is gentle at both ends, and comes three times", () => {
  const long = { points_mm: [[0, 0], [4000, 0]] };
  assert.deepEqual([runOf([]), runOf(waysOf(item("trace", long)))], [2000, 3000]);
  const of = { run_ms: 2000, runs: 3 };
  near(momentOf(1000, of).share, 0.5);
  assert.ok(momentOf(100, of).share < 0.01 && momentOf(1900, of).share > 0.99);
  assert.deepEqual(momentOf(2000, of), { share: null, runs: 1, over: false });
  assert.deepEqual(momentOf(9500, of), { share: null, runs: 3, over: true });
});

test("the start's drawing leaves its place, glides, and is back when the run is over", () => {
  const one = item("trace", level, { show: { cue: true } });
  const { svg, frame } = shown(one);
  const told = [];
  const cue = new Cue(svg, one, PLACE, { done: (t_ms) => told.push(t_ms) });
  cue.start(100);
  frame(100 + cue.of.run_ms / 2);
  const home = svg.querySelector(".leaves");
  assert.ok(home.classList.contains("away"));
  assert.equal(svg.querySelector(".cue").attributes.transform, "translate(105 68)"); // [C] half way
  assert.deepEqual(told, []);
  frame(100 + cue.of.run_ms);
  assert.deepEqual(told, [100 + cue.of.run_ms]);
  assert.equal(home.classList.contains("away"), false);
  assert.deepEqual([svg.querySelectorAll(".cue").length, frame(9000)], [0, 0]);
});

test("two drawings glide at once for two hands", () => {
  const one = item("both", oars);
  const { svg, frame } = shown(one);
  const cue = new Cue(svg, one, PLACE);
  cue.start(0);
  frame(cue.of.run_ms / 2);
  assert.deepEqual(svg.querySelectorAll(".cue").map(({ attributes }) => attributes.transform),
    ["translate(50 70)", "translate(150 70)"]);
  assert.equal(svg.querySelectorAll(".away").length, 2);
});

test("whoever sets out stops the cue: nothing moves, nothing is missing", () => {
  const one = item("trace", ring);
  for (const stop of [(svg) => setOut(svg), (svg, cue) => cue.stop()]) {
    const { svg, frame } = shown(one);
    const cue = new Cue(svg, one, PLACE);
    cue.start(0);
    frame(700);
    assert.equal(svg.querySelectorAll(".cue").length, 1);
    // Arrow heads and the drawing at home make room for the one that glides.
    assert.equal(svg.querySelectorAll(".away").length, 2);
    stop(svg, cue);
    frame(900);
    assert.deepEqual([svg.querySelectorAll(".cue, .away").length, frame(1100)], [0, 0]);
  }
});

test("a still cue has arrow heads and moves nothing", () => {
  const counted = [
    [item("trace", level), 1], [item("join", beacons), 2], [item("both", oars), 2],
  ];
  for (const [one, count] of counted) {
    const { svg, frame } = shown(one);
    const cue = new Cue(svg, one, PLACE, { still: true });
    cue.start(0);
    frame(600);
    assert.equal(svg.querySelectorAll(".way").length, count);
    assert.equal(svg.querySelectorAll(".cue, .away").length, 0);
    setOut(svg);
    assert.equal(svg.querySelectorAll(".way").length, 0);
  }
});

test("with a go signal, a still cue shows the way in that very frame", () => {
  const one = item("trace", level, { show: { cue: true } });
  const { svg, frame } = shown(one);
  let go_ms = null;
  const cue = new Cue(svg, one, PLACE, { still: true, done: (t_ms) => { go_ms = t_ms; } });
  cue.start(0);
  frame(600);
  assert.equal(svg.querySelectorAll(".way").length, 0);
  assert.ok(svg.querySelector(".leaves").classList.contains("away"));
  frame(cue.of.run_ms);
  assert.equal(go_ms, cue.of.run_ms);
  assert.deepEqual([".way", ".away"].map((name) => svg.querySelectorAll(name).length), [1, 0]);
});

test("dots to tap get their go signal too: the drawing beside them comes", () => {
  const one = item("tap", windows, { show: { cue: true } });
  const { svg, frame } = shown(one);
  const told = [];
  const cue = new Cue(svg, one, PLACE, { done: (t_ms) => told.push(t_ms) });
  cue.start(0);
  frame(500);
  assert.equal(svg.querySelectorAll(".away").length, 1);
  frame(2000);
  assert.deepEqual([told, svg.querySelectorAll(".away").length], [[2000], 0]);
});

test("first and then are two cards that differ; after the last comes the harbour", () => {
  const { svg } = paper();
  drawFirstThen(svg, ALL[0], ALL[3]);
  assert.equal(svg.querySelectorAll(".card").length, 2);
  assert.equal(svg.querySelectorAll(".then").length, 2);
  assert.equal(svg.querySelectorAll(".dot").length, 6);
  drawFirstThen(svg, ALL[0], null);
  const last = svg.children[2].all.filter(({ name }) => name === "use");
  assert.deepEqual(last.map((use) => use.attributes.href), ["#sign-lighthouse", "#sign-boat"]);
});
