import assert from "node:assert/strict";
import { test } from "node:test";

import { remaining } from "../../web/tablet/day.mjs";
import { endForgottenRests } from "../../web/tablet/rest.mjs";
import { MemoryStore } from "../../web/tablet/store.mjs";
import { far, graded, item, narrowRoom, sittingWith } from "./sitting_room.mjs";

const paper = item("paper", { guide: null });
const pressed = item("tide", { task: { mode: "trace", name: "Slow Tide", needs: ["pressure"] } });

test("what cannot be drawn here is told once, with the reason, when nothing else is left", async (t) => {
  const room = narrowRoom(t, [item("swell", { repetitions: 1 }), far, paper, pressed]);
  await room.toGuide();
  room.down(10);
  assert.deepEqual(room.marks, []);
  room.sitting.openStrip();
  room.press("done");
  room.wait(2600);
  assert.equal(room.sitting.phase, "end");
  const [drawn, ...told] = room.kept;
  assert.equal(drawn.plan.item_id, "swell");
  assert.deepEqual(told.map(({ plan, seq }) => [plan.item_id, plan.repetition, seq]),
    [["far", 1, 2], ["tide", 1, 3]]);
  assert.deepEqual(told.map(({ ended_by, samples }) => [ended_by, samples.t_ms]),
    [["not_done", []], ["not_done", []]]);
  assert.deepEqual(room.marks, [
    { trial_id: told[0].trial_id, outcome: "not_done", why: "too large for this screen" },
    { trial_id: told[1].trial_id, outcome: "not_done", why: "needs a pen that reports pressure" },
  ]);
  // Nothing of the plan is used up by it, and it is not told again.
  assert.equal(remaining(room.sitting.progress, far), 2);
  room.sitting.next();
  room.sitting.openStrip();
  room.press("leave");
  assert.equal(room.kept.length, 3);
});

test("what cannot be drawn here is told too when the adult goes on before the last picture", async (t) => {
  const room = narrowRoom(t, [item("swell", { repetitions: 1 }), far]);
  await room.toGuide();
  room.down(10);
  room.sitting.openStrip();
  room.press("leave");
  assert.deepEqual(room.kept.map(({ plan }) => plan.item_id), ["swell", "far"]);
});

test("an end for today tells both: what was not drawn for its reason, what cannot be for its own", async (t) => {
  const room = narrowRoom(t, [item("swell", { repetitions: 1 }), far]);
  await room.toGuide();
  room.sitting.openStrip();
  room.press("rest");
  room.sitting.openStrip();
  room.choice("why", "tired").click();
  room.press("finish");
  await new Promise(setImmediate);
  assert.deepEqual(room.kept.map(({ plan }) => plan.item_id), ["swell", "far"]);
  assert.deepEqual(room.marks.map(({ why }) => why), ["tired", "too large for this screen"]);
  assert.equal(room.left(), 1);
});

test("what is not done carries the step and the place at which it was really asked", async (t) => {
  const { guide } = item("swell");
  const supposed = { ...guide, midline_x_mm: 60, midline_source: "entered" };
  const swell = graded("swell", { guide: supposed });
  const said = { tablet_at: "left", surface: "sloped" };
  for (const setup of [said, null]) {
    const room = sittingWith(t, [swell, item("buoy", { guide: supposed })]);
    await room.toGuide(setup);
    room.sitting.openStrip();
    room.press("easier");
    room.sitting.openStrip();
    room.press("rest");
    room.sitting.openStrip();
    room.press("finish");
    await new Promise(setImmediate);
    assert.deepEqual(room.kept.map(({ plan }) => [plan.item_id, plan.step]),
      [["swell", "easier"], ["swell", "easier"], ["buoy", undefined], ["buoy", undefined]]);
    assert.deepEqual(room.kept.map((one) => one.guide.corridor_mm), [18, 18, 12, 12]);
    for (const { guide: asked, condition } of room.kept) {
      assert.deepEqual(condition, setup ?? {});
      // [C] the right edge of a screen of 207 mm, or nothing that anybody said.
      assert.equal(asked.midline_x_mm, setup ? 207 : undefined);
      assert.equal("midline_source" in asked, setup !== null);
    }
    t.mock.timers.reset();
  }
});

test("what has no place on the screen has no midline there either", async (t) => {
  const room = narrowRoom(t, [item("swell", { repetitions: 1 }), far]);
  const { place } = room.screen;
  room.screen.place = (guide) => (guide === far.guide ? null : place());
  room.screen.device = () => ({ scale: room.screen.scale, screen_mm: [207, 136], origin_mm: [0, 0] });
  await room.toGuide({ tablet_at: "centred", surface: "floor" });
  room.down(10);
  room.sitting.openStrip();
  room.press("leave");
  const told = room.kept.at(-1);
  assert.equal(told.plan.item_id, "far");
  assert.equal("midline_x_mm" in told.guide, false);
  assert.deepEqual(told.condition, { tablet_at: "centred", surface: "floor" });
});

test("nothing is told while something is left to draw, or under a scale that does not hold", async (t) => {
  const room = narrowRoom(t, [item("swell"), far]);
  await room.toGuide();
  room.sitting.openStrip();
  room.press("leave");
  assert.deepEqual(room.kept, []);
  t.mock.timers.reset();
  const zoomed = narrowRoom(t, [far]);
  zoomed.screen.scale = { ...zoomed.screen.scale, why: "zoomed" };
  await zoomed.sitting.begin("plan", null);
  zoomed.press("close");
  assert.equal(zoomed.sitting.phase, "end");
  assert.deepEqual(zoomed.kept, []);
});

async function tabletWith(plans, resting) {
  const store = new MemoryStore();
  for (const plan_id of resting) {
    await store.change([{ store: "progress", put: { plan_id, seq: 3, items: {}, rest_ms: 1 } }]);
  }
  await store.change([{ store: "progress", put: { plan_id: "drawn", seq: 1, items: {}, rest_ms: null } }]);
  const seen = [];
  return {
    seen, store, day: {}, plans: plans.map((plan_id) => ({ plan_id })),
    progressOf: (plan_id) => store.get("progress", plan_id),
    keepProgress: (progress) => store.change([{ store: "progress", put: progress }]),
    keepObservation: (plan_id, what) => seen.push({ plan_id, ...what }),
  };
}

test("a rest whose plan has run out is sent, once, without minutes that nobody knows", async () => {
  const tablet = await tabletWith(["today"], ["yesterday", "today", "open"]);
  await endForgottenRests(tablet, "open");
  const told = [{ plan_id: "yesterday", kind: "rest", text: "not ended on the tablet" }];
  assert.deepEqual(tablet.seen, told);
  await endForgottenRests(tablet, "open");
  assert.deepEqual(tablet.seen, told);
  const { seq, rest_ms } = await tablet.progressOf("yesterday");
  assert.deepEqual([seq, rest_ms], [3, null]);
  assert.equal((await tablet.progressOf("today")).rest_ms, 1);
});

test("while no plans are known, no rest is taken to be forgotten", async () => {
  const tablet = await tabletWith([], ["today"]);
  tablet.day = null;
  await endForgottenRests(tablet);
  assert.deepEqual(tablet.seen, []);
});

test("a rest that a full disk still holds is not told again", async () => {
  const tablet = await tabletWith(["today"], ["yesterday"]);
  const reached = await tablet.progressOf("yesterday");
  tablet.progressOf = async () => ({ ...reached, rest_ms: null });
  await endForgottenRests(tablet);
  assert.deepEqual(tablet.seen, []);
});

test("two looks for forgotten rests at once keep each rest once", async (t) => {
  const room = narrowRoom(t, [item("swell")]);
  const { store, seen, ...rests } = await tabletWith(["plan"], ["yesterday", "before"]);
  Object.assign(room.tablet, {
    store, keepObservation: rests.keepObservation,
    progressOf: async (plan_id) =>
      await store.get("progress", plan_id) ?? { plan_id, seq: 0, items: {}, steps: {} },
    // Slow storage: the second look comes while the first still writes.
    keepProgress: async (progress) => {
      await new Promise(setImmediate);
      await rests.keepProgress(progress);
    },
  });
  await Promise.all([room.sitting.begin("plan", null), room.sitting.begin("plan", null)]);
  for (let turn = 0; turn < 20; turn += 1) await new Promise(setImmediate);
  assert.deepEqual(seen.map(({ plan_id }) => plan_id), ["yesterday", "before"]);
});

test("forgotten rests are looked for when the page opens, and with each child", async (t) => {
  const room = narrowRoom(t, [item("swell")]);
  const rests = [{ plan_id: "yesterday", rest_ms: 1 }];
  const { progressOf } = room.tablet;
  room.tablet.progressOf = async (plan_id) =>
    ({ ...await progressOf(plan_id), rest_ms: plan_id === "yesterday" ? 1 : null });
  room.tablet.store.all = async () => rests.splice(0);
  await room.sitting.begin("plan", null);
  await new Promise(setImmediate);
  assert.deepEqual(room.seen.map(({ plan_id }) => plan_id), ["yesterday"]);
});
