import assert from "node:assert/strict";
import { test } from "node:test";

import { item, sittingWith } from "./sitting_room.mjs";

const CENTRED = { tablet_at: "centred", surface: "flat" };

/** A sitting in which a line is drawn; `lie(change)` resizes the page. */
async function drawing(t, setup) {
  const room = sittingWith(t, [item("swell")]);
  const first = room.screen.placed;
  room.screen.layOut = (_, place) => { room.screen.placed = place; };
  await room.sitting.begin("plan", setup);
  t.mock.timers.tick(2200);
  room.screen.frame();
  room.down(10);
  const lie = (change) => {
    const place = { ...first, ...change };
    room.screen.place = () => place;
    room.page.fire("resize");
  };
  return { ...room, lie };
}

/** The document of the line, ended by an adult if it was not before. */
function ended({ sitting, kept }) {
  sitting.endLine("adult");
  return kept[0];
}

test("a line goes on under a bar that comes: the document says where it lay before and after", async (t) => {
  const room = await drawing(t, CENTRED);
  const lower = { origin_mm: [0, -4.00004], screen_mm: [207, 128.00009] };
  room.lie(lower);
  room.down(20);
  const document = ended(room);
  assert.equal(document.ended_by, "adult");
  assert.deepEqual(document.device.area_at_mm, [0, 0]);
  assert.deepEqual(document.device.screen_mm, [207, 136]);
  const [{ t_ms, ...moved }, ...more] = document.marks;
  assert.deepEqual([moved, more],
    [{ kind: "area_moved", area_at_mm: [0, -4], screen_mm: [207, 128.0001] }, []]);
  const [before_ms, after_ms] = document.samples.t_ms;
  assert.ok(before_ms <= t_ms && t_ms <= after_ms, `${before_ms} ${t_ms} ${after_ms}`);
});

test("of a bar that glides only the last place is noted; a resize in place is none", async (t) => {
  const room = await drawing(t, CENTRED);
  for (const y of [-1, -2, -3, -3]) room.lie({ origin_mm: [0, y] });
  room.down(20);
  room.lie({ origin_mm: [0, 0] });
  const { marks } = ended(room);
  assert.deepEqual(marks.map(({ area_at_mm }) => area_at_mm), [[0, -3], [0, 0]]);
});

/** A pen that is down moves to a place. */
const slide = ({ screen }, x) => screen.surface.fire("pointermove", {
  pointerId: 1, pointerType: "pen", button: -1, buttons: 1, pressure: 0.4,
  timeStamp: performance.now(), clientX: x, clientY: 50,
});

test("a pen that stays down under a bar that comes draws on, in as few strokes as can be", async (t) => {
  const room = await drawing(t, CENTRED);
  slide(room, 20);
  const lower = { origin_mm: [0, -4] };
  room.lie(lower);
  slide(room, 30);
  // The same size once more, as the page and what is seen of it tell one after the other.
  room.lie(lower);
  slide(room, 40);
  const { samples, marks } = ended(room);
  assert.deepEqual([samples.x_mm, samples.stroke], [[10, 20, 30, 40], [0, 0, 1, 1]]);
  assert.deepEqual(marks.map(({ kind }) => kind), ["area_moved"]);
});

test("a pen that stays down while the strip is open draws on when it is closed", async (t) => {
  const room = await drawing(t, CENTRED);
  room.sitting.openStrip();
  slide(room, 20);
  room.lie({ origin_mm: [0, -4] });
  slide(room, 30);
  room.press("close");
  slide(room, 40);
  const { samples, marks } = ended(room);
  assert.deepEqual([samples.x_mm, samples.stroke], [[10, 40], [0, 1]]);
  assert.deepEqual(
    marks.map(({ kind }) => kind), ["strip_opened", "area_moved", "strip_closed"]);
});

test("a line ends where the middle of the body would be elsewhere on it", async (t) => {
  const wider = { screen_mm: [227, 136], origin_mm: [10, 0] };
  const ends = { centred: "adult", left: "left_page", right: "left_page" };
  for (const [tablet_at, expected] of Object.entries(ends)) {
    const room = await drawing(t, { ...CENTRED, tablet_at });
    room.lie(wider);
    // [C] 227 / 2 - 10 = 207 / 2, but 227 - 10 is not 207 and -10 is not 0.
    assert.equal(ended(room).ended_by, expected, tablet_at);
    t.mock.timers.reset();
  }
  const nobody_said = await drawing(t, null);
  nobody_said.lie(wider);
  assert.equal(ended(nobody_said).ended_by, "adult");
});
