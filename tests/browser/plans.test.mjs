import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { test } from "node:test";

import { randomId, sha256, sha256Plain } from "../../web/shared/sha256.mjs";
import { Corners, HOLD_MS } from "../../web/tablet/corners.mjs";
import {
  attempted, atStep, freshProgress, itemAfter, nextItem, offered, oneLess, oneMore, remaining,
  signsOf, skipped, stepped, stepsFrom,
} from "../../web/tablet/day.mjs";
import { Pen } from "../../web/tablet/pen.mjs";
import { minutesSince, notDone } from "../../web/tablet/rest.mjs";
import { Saying } from "../../web/tablet/saying.mjs";
import { askedOf, trialDocument } from "../../web/tablet/trial.mjs";

const item = (item_id, more = {}) => ({
  item_id, state: "open", repetitions: 2, task: { mode: "trace", name: "Swell", extra: [1] },
  guide: { points_mm: [[0, 0], [9, 0]], corridor_mm: 8 }, condition: { hand: "left" }, ...more,
});

test("two pictures stand for a child", () => {
  assert.deepEqual(signsOf({ session_label: ["kite", "boat"] }), ["kite", "boat"]);
  assert.deepEqual(signsOf({ session_label: "Kite boat" }), ["kite", "boat"]);
});

const can = (more = {}) => ({
  fits: (guide) => guide.points_mm[1][0] < 200, touches: 5, pressure: null, ...more,
});
const wide = { guide: { points_mm: [[0, 0], [900, 0]] } };

test("closed items are not offered; those that cannot be drawn here are named with the reason", () => {
  const plan = { items: [
    item("a"), item("b", { state: "closed" }), item("c", wide), item("d", { guide: null }),
    item("e", { task: { mode: "both" } }), item("f", { task: { mode: "trace", needs: ["pressure"] } }),
  ] };
  const ids = (list) => list.map(({ item_id }) => item_id);
  const first = offered(plan, can());
  assert.deepEqual(ids(first.items), ["a", "e", "f"]);
  assert.deepEqual(first.left_out.map(({ item: { item_id }, why }) => [item_id, why]),
    [["c", "too_large"], ["d", "no_guide"]]);
  assert.deepEqual(ids(offered(plan, can({ touches: 1 })).items), ["a", "f"]);
  assert.deepEqual(ids(offered(plan, can({ pressure: false })).items), ["a", "e"]);
  assert.deepEqual(ids(offered(plan, can({ pressure: true })).items), ["a", "e", "f"]);
});

test("a step is one rung away from the plan at most, and back", () => {
  const rung = (width) => ({ task: { mode: "trace", use: "practice" }, guide: { corridor_mm: width } });
  const asked = item("a", { steps: { easier: rung(18), harder: rung(8) } });
  let progress = freshProgress("p");
  const any = () => true;
  assert.deepEqual(stepsFrom(asked, progress, any), ["easier", "harder"]);
  assert.deepEqual(stepsFrom(asked, progress, (guide) => guide.corridor_mm < 12), ["harder"]);
  progress = stepped(progress, asked, "easier");
  assert.equal(atStep(asked, progress).guide.corridor_mm, 18);
  assert.equal(atStep(asked, progress).step, "easier");
  assert.equal(stepped(progress, asked, "easier"), null);
  assert.deepEqual(stepsFrom(asked, progress, any), ["harder"]);
  progress = stepped(progress, asked, "harder");
  assert.deepEqual(atStep(asked, progress), asked);
  assert.deepEqual(stepsFrom(item("b"), progress, any), []);
});

test("items come in order, each as often as planned", () => {
  const items = [item("a"), item("b", { repetitions: 1 })];
  let progress = freshProgress("p");
  const seen = [];
  for (let next = nextItem(items, progress); next; next = nextItem(items, progress)) {
    const done = attempted(progress, next);
    seen.push([next.item_id, done.repetition, done.seq]);
    progress = done.progress;
  }
  assert.deepEqual(seen, [["a", 1, 1], ["a", 2, 2], ["b", 1, 3]]);
});

test("one more after a spoilt line: its number is new, the count of planned ones is not used", () => {
  let { progress } = attempted(freshProgress("p"), item("a"));
  progress = oneMore(progress, item("a"));
  assert.equal(remaining(progress, item("a")), 2);
  assert.deepEqual(attempted(progress, item("a")).repetition, 2);
});

test("a line that was not spoilt after all uses up its attempt again", () => {
  let { progress } = attempted(freshProgress("p"), item("a"));
  progress = oneLess(oneMore(progress, item("a")), item("a"));
  assert.equal(remaining(progress, item("a")), 1);
});

test("what comes then is the next item that is not finished", () => {
  const items = [item("a"), item("b"), item("c")];
  const progress = skipped(freshProgress("p"), items[1]);
  assert.equal(itemAfter(items, progress, items[0]).item_id, "c");
  assert.equal(itemAfter(items.slice(0, 2), progress, items[0]), null);
});

test("a skipped item is not offered again", () => {
  const progress = skipped(freshProgress("p"), item("a"));
  assert.equal(nextItem([item("a"), item("b")], progress).item_id, "b");
});

test("a trial carries task, guide and condition of its item unchanged", () => {
  const plan = { plan_id: "p", version: 3 };
  const document = trialDocument({
    trial_id: "t", seq: 4, plan, item: item("a"), repetition: 2,
    device: {
      tablet_id: "x", scale: { px_per_mm: 5.2, calibrated: false }, screen_mm: [227, 157],
      origin_mm: [10, 10.5], secure: true, api: true, clock_offset_ms: null,
    },
    pen: new Pen({ toMm: (x, y) => [x, y], shown_ms: 0 }),
    started_at: "2026-03-03T09:14:07.120Z", ended_by: "adult", marks: [],
  });
  const { task, guide, condition } = item("a");
  assert.deepEqual([document.task, document.guide, document.condition], [task, guide, condition]);
  assert.deepEqual(document.plan, { plan_id: "p", version: 3, item_id: "a", repetition: 2 });
  assert.equal(document.device.pointer_type, "none");
  assert.equal("calibration_id" in document.device, false);
  assert.equal("clock_offset_ms" in document.device, false);
  assert.deepEqual(document.samples, { t_ms: [], x_mm: [], y_mm: [], stroke: [] });
});

const place = { screen_mm: [227, 157], origin_mm: [10, 10.5] };

test("the midline lies where the adult said, in millimetres of the task area", () => {
  const at = (tablet_at, guide) =>
    askedOf(item("a", { guide }), { tablet_at, surface: "flat" }, place).guide;
  const bare = item("a").guide;
  // [C] a screen of 227 mm whose task area begins 10 mm from the left.
  assert.equal(at("centred", bare).midline_x_mm, 103.5);
  assert.equal(at("left", bare).midline_x_mm, 217);
  assert.equal(at("right", bare).midline_x_mm, -10);
  assert.equal(at("centred", { ...bare, midline_x_mm: 90 }).midline_x_mm, 103.5);
  assert.equal(at("left", { ...bare, midline_x_mm: 90 }).midline_x_mm, 217);
  assert.equal(at("left", bare).midline_source, "entered");
  assert.deepEqual(askedOf(item("a"), null, place), item("a"));
  const supposed = { ...bare, midline_x_mm: 90, midline_source: "entered" };
  assert.deepEqual(askedOf(item("a", { guide: supposed }), null, place), item("a"));
});

test("the newest mark carries all that was said of a trial", () => {
  const sent = [];
  const saying = new Saying(
    { keepMark: (id, mark) => sent.push(mark), keepObservation: (id, seen) => sent.push(seen) },
    { plan_id: "p", trial_id: "t", item: item("a") });
  saying.hand("left");
  saying.mark("helped");
  saying.mark("helped", { help: { cues: { verbal: 2 } } });
  saying.mark("spoilt", { why: "sneeze" });
  saying.mark("ok");
  saying.saw("distress");
  saying.saw("distress");
  assert.deepEqual(sent, [
    { hand_used: "left" },
    { hand_used: "left", outcome: "finished", help: { given: true } },
    { hand_used: "left", outcome: "finished", help: { given: true, cues: { verbal: 2 } } },
    { hand_used: "left", outcome: "spoilt", why: "sneeze", help: { given: true, cues: { verbal: 2 } } },
    { hand_used: "left", outcome: "finished" },
    { kind: "distress", trial_id: "t" },
  ]);
});

test("what is left of a plan becomes trials without a line, numbered on", () => {
  const { progress } = attempted(freshProgress("p"), item("a"));
  const left = notDone({
    plan: { plan_id: "p", version: 1 }, items: [item("a"), item("b")], progress,
    asked: (asked) => ({
      item: asked,
      device: { scale: { px_per_mm: 5, calibrated: true }, ...place, secure: true },
    }),
    at: "2026-03-03T09:14:07.120Z",
  });
  assert.deepEqual(
    left.map(({ document: { seq, plan, samples } }) =>
      [seq, plan.item_id, plan.repetition, samples.t_ms.length]),
    [[2, "a", 2, 0], [3, "b", 1, 0], [4, "b", 2, 0]]);
  assert.deepEqual(left.map(({ progress: { seq } }) => seq), [2, 3, 4]);
  assert.equal(nextItem([item("a"), item("b")], left[2].progress), null);
  assert.equal(nextItem([item("a"), item("b")], left[1].progress).item_id, "b");
});

test("a rest is counted in minutes, to a tenth", () => {
  assert.equal(minutesSince(0, 6 * 60_000 + 20_000), 6.3);
  assert.equal(minutesSince(1000, 0), 0);
  assert.equal(minutesSince(0, 3 * 86_400_000), 1440, "as much as the server takes");
});

test("own SHA-256 equals the library's for every length around its blocks", () => {
  for (let length = 0; length < 200; length += 1) {
    const bytes = Uint8Array.from({ length }, (_, i) => (i * 37 + length) % 256);
    // [X] node:crypto
    assert.equal(sha256Plain(bytes), createHash("sha256").update(bytes).digest("hex"));
  }
});

test("SHA-256 of the standard's first example", async () => {
  const expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
  assert.equal(sha256Plain(new TextEncoder().encode("abc")), expected); // [P] FIPS 180-4 example
  assert.equal(await sha256("abc"), expected);
});

test("random ids are version 4 UUIDs, also made from bare random bytes", () => {
  const form = /^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/;
  assert.match(randomId(), form);
  const whole = crypto.randomUUID;
  try {
    Object.defineProperty(crypto, "randomUUID", { value: undefined, configurable: true });
    const ids = new Set(Array.from({ length: 100 }, () => randomId()));
    for (const id of ids) assert.match(id, form);
    assert.equal(ids.size, 100);
  } finally {
    Object.defineProperty(crypto, "randomUUID", { value: whole, configurable: true });
  }
});

/** Corners with a hand-driven clock. */
function cornersWith() {
  const state = { opened: 0, run: null, wait_ms: null };
  const corners = new Corners({
    opened: () => { state.opened += 1; },
    later: (run, wait_ms) => Object.assign(state, { run, wait_ms }) && 1,
    never: () => { state.run = null; },
  });
  return { corners, state };
}
const touch = (pointerId) => ({ pointerId, pointerType: "touch" });

test("two corners held for a second open the strip", () => {
  const { corners, state } = cornersWith();
  corners.down(touch(1), "left");
  assert.equal(state.run, null);
  corners.down(touch(2), "right");
  assert.equal(state.wait_ms, HOLD_MS);
  state.run();
  assert.equal(state.opened, 1);
});

test("one finger, two fingers in one corner, or a hold let go open nothing", () => {
  const { corners, state } = cornersWith();
  corners.down(touch(1), "left");
  corners.down(touch(2), "left");
  assert.equal(state.run, null);
  corners.down(touch(3), "right");
  corners.up(touch(3));
  assert.equal(state.run, null);
  assert.equal(state.opened, 0);
});

test("a mouse holds one corner", () => {
  const { corners, state } = cornersWith();
  corners.down({ pointerId: 1, pointerType: "mouse" }, "left");
  assert.equal(state.wait_ms, HOLD_MS);
});
