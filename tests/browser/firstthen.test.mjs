import assert from "node:assert/strict";
import { test } from "node:test";

import { drawFirstThen } from "../../web/tablet/firstthen.mjs";
import { paper } from "./paper.mjs";
import { arc } from "./strokes.mjs";

const RADII = { start_radius_mm: 5, stop_radius_mm: 5 };
const seam = {
  points_mm: Array.from({ length: 9 }, (_, i) => [13.5 + 22.5 * i, i % 2 ? 50.5 : 85.5]), ...RADII,
};
const snips = {
  parts: [41, 66, 91, 116, 141, 166].map((x) => ({ points_mm: [[x, 80.5], [x, 55.5]] })),
};
const level = { points_mm: [[13.5, 68], [193.5, 68]], ...RADII };
const square = { points_mm: [[60, 30], [140, 30], [140, 110], [60, 110]], closed: true, ...RADII };
const ring = { points_mm: arc([103, 68], 40, 0, 2 * Math.PI), closed: true, ...RADII };
const capstan = {
  ...ring, points_mm: arc([103, 68], 30, 0, 2 * Math.PI),
  targets_mm: [{ x: 20, y: 68, radius: 15, order: 0 }],
};

/** The first card: bands with their places, dots, drawings and the discs that clear for them. */
function cardOf(guide, { kind = "corridor", mode = "trace" } = {}) {
  const { svg } = paper();
  const item = { task: { mode, task_id: "some" }, guide, show: { guide: kind }, condition: {} };
  drawFirstThen(svg, item, null);
  const [card] = svg.children;
  const pairs = (d) => [...d.matchAll(/[ML](-?[\d.]+) (-?[\d.]+)/g)].map(([, x, y]) =>
    [Number(x), Number(y)]);
  const named = (name) => card.querySelectorAll(name);
  const paths = (name) => named(name).map((node) =>
    ({ width: node.numberOf("stroke-width"), at: pairs(node.attributes.d) }));
  const uses = card.all.filter(({ name }) => name === "use").map((use) => {
    const [x, y, side] = ["x", "y", "width"].map((key) => use.numberOf(key));
    return { x: x + side / 2, y: y + side / 2, side };
  });
  return {
    edges: paths(".edge"), dots: paths(".dots"), uses,
    clear: named(".clear").map((node) => ["cx", "cy", "r"].map((key) => node.numberOf(key))),
  };
}

const apart = ([x0, y0], [x1, y1]) => Math.hypot(x1 - x0, y1 - y0);
const least = (one, places) => Math.min(...places.map((place) => apart(one, place)));

/** Nearest that a drawing comes to a band: middle lines, a place every 1 or less. */
function fine(at) {
  return at.slice(1).flatMap(([x, y], i) => {
    const [x0, y0] = at[i];
    const count = Math.ceil(apart(at[i], [x, y]));
    return Array.from({ length: count + 1 }, (_, k) =>
      [x0 + ((x - x0) * k) / count, y0 + ((y - y0) * k) / count]);
  });
}

test("a seam with many corners is drawn so thin that its way can be seen", () => {
  const [{ width, at }] = cardOf(seam).edges;
  const leg = apart(at[0], at[1]);
  assert.ok(width >= 3 && width <= leg / 4 + 1e-3, `${width} of ${leg}`);
});

test("what has room keeps its full width on the card", () => {
  for (const guide of [level, square, ring]) assert.equal(cardOf(guide).edges[0].width, 9);
});

test("parts stand apart on the card", () => {
  const { edges } = cardOf(snips);
  assert.equal(edges.length, 6);
  const between = apart(edges[0].at[0], edges[1].at[0]);
  assert.ok(edges[0].width < between / 2, `${edges[0].width} of ${between}`);
});

for (const [name, guide] of Object.entries({ seam, snips })) {
  for (const kind of ["corridor", "line", "dots"]) {
    test(`${name}, shown as ${kind}: its drawings hide nothing, and each is at its end`, () => {
      const { uses, clear } = cardOf(guide, { kind });
      const { edges } = cardOf(guide);
      assert.deepEqual([uses.length, clear.length], [2, 0]);
      const places = edges.flatMap(({ at }) => fine(at));
      const ends = [edges[0].at[0], edges.at(-1).at.at(-1)];
      for (const { x, y, side } of uses) {
        assert.ok(least([x, y], places) >= side / 2 + edges[0].width / 2);
        assert.ok(x - side / 2 >= 6 && x + side / 2 <= 102);
        assert.ok(y - side / 2 >= 36 && y + side / 2 <= 124);
      }
      const [first, last] = uses.map(({ x, y }) => ends.map((end) => apart(end, [x, y])));
      assert.ok(first[0] < first[1] && last[1] < last[0]);
    });
  }
}

test("a drawing on the end of a long line stands where it stood: on that end", () => {
  const { uses, clear, edges } = cardOf(level);
  assert.equal(clear.length, 2);
  for (const end of edges[0].at) assert.ok(uses.some(({ x, y }) => apart(end, [x, y]) < 1e-3));
});

test("shown by its ends, a closed line has the dots on the card that it has on the screen", () => {
  // One of four corners, one of eight eighths lies under the drawing; of the smallest ring
  // its neighbours would be bitten.
  for (const [guide, count, mode] of [[square, 3], [ring, 7], [capstan, 5, "both"]]) {
    const { dots: [dots], clear: [[x, y, r]] } = cardOf(guide, { kind: "ends", mode });
    assert.equal(dots.at.length, count);
    assert.ok(least([x, y], dots.at) >= r + dots.width / 2, "none is bitten");
  }
  assert.deepEqual(cardOf(level, { kind: "ends" }).dots, []);
});

test("shown by its ends, every part has both of its own on the card", () => {
  const { dots: [{ at }] } = cardOf(snips, { kind: "ends" });
  assert.equal(at.length, 12);
});
