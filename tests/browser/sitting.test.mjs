import assert from "node:assert/strict";
import { test } from "node:test";

import { remaining } from "../../web/tablet/day.mjs";
import { far, item, narrowRoom, sittingWith } from "./sitting_room.mjs";

test("a plan that runs out while first and then are shown ends the sitting's pictures", async (t) => {
  const { sitting, tablet, screen, wait, find } = sittingWith(t, [item("swell")]);
  await sitting.begin("plan", null);
  assert.equal(sitting.phase, "first");
  tablet.plans = [];
  wait(2200);
  assert.deepEqual([sitting.phase, screen.still], ["end", "end"]);
  sitting.openStrip();
  assert.equal(find("strip-title").textContent, "This plan has run out");
});

test("a newer plan counts from its first guide on: no old picture under a new version", async (t) => {
  const { sitting, tablet, screen, wait, down, up, kept } = sittingWith(t, [item("swell")]);
  await sitting.begin("plan", null);
  const [plan] = tablet.plans;
  const items = [item("swell", { state: "closed" }), item("buoy")];
  tablet.plans = [{ ...plan, version: 2, items }];
  wait(2200);
  assert.deepEqual([sitting.phase, screen.first.item_id], ["first", "buoy"]);
  wait(2200);
  screen.frame();
  down(10);
  up(10);
  sitting.endLine("adult");
  assert.deepEqual(kept.map(({ plan: { item_id, version } }) => [item_id, version]), [["buoy", 2]]);
});

test("a page that stood open through a sleep still tells when a line began", async (t) => {
  const { sitting, toGuide, down, up, kept } = sittingWith(t, [item("swell")]);
  const slept_ms = 3 * 3600 * 1000;
  const { now } = Date;
  t.mock.method(Date, "now", () => now() + slept_ms);
  await toGuide();
  down(10);
  up(10);
  sitting.endLine("adult");
  assert.ok(Math.abs(Date.parse(kept[0].started_at) - Date.now()) < 5000);
});

test("a line that ended out of sight under an open strip holds nobody up", async (t) => {
  for (const act of ["done", "again", "skip", "close"]) {
    const { sitting, toGuide, down, hide, press, kept, wait } = sittingWith(t, [item("swell")]);
    await toGuide();
    down(10);
    sitting.openStrip();
    hide(true);
    assert.deepEqual(kept.map(({ ended_by }) => ended_by), ["left_page"]);
    hide(false);
    press(act);
    assert.notEqual(sitting.phase, "thanks", act);
    wait(10_000);
    t.mock.timers.reset();
  }
});

test("a tablet that is turned under an open strip shows nothing before it is closed", async (t) => {
  const { sitting, screen, page, press } = sittingWith(t, [item("swell")]);
  const { place } = screen;
  screen.place = () => null;
  await sitting.begin("plan", null);
  assert.equal(sitting.phase, "turn");
  sitting.openStrip();
  screen.place = place;
  page.fire("resize");
  assert.equal(sitting.phase, "turn");
  press("close");
  assert.equal(sitting.phase, "first");
});

test("an end that was cut off as the page was left is made good, with the same bytes", async (t) => {
  const { sitting, tablet, toGuide, down, hide, kept } = sittingWith(t, [item("swell")]);
  await toGuide();
  down(10);
  const { keepTrial } = tablet;
  const tried = [];
  tablet.keepTrial = (document) => {
    tried.push(JSON.stringify(document));
    throw new Error("cut off");
  };
  assert.throws(() => sitting.endLine("left_page"), /cut off/);
  tablet.keepTrial = keepTrial;
  assert.deepEqual([sitting.phase, sitting.progress.seq], ["drawing", 0]);
  hide(true);
  hide(true);
  assert.deepEqual(kept.map((document) => JSON.stringify(document)), tried);
  assert.deepEqual([sitting.phase, sitting.progress.seq], ["thanks", 1]);
});

test("what one child left open does not listen when the next sits down", async (t) => {
  const { sitting, toGuide, down, kept } = sittingWith(t, [item("swell")]);
  await toGuide();
  const begun = sitting.begin("plan", null);
  down(10);
  assert.equal(sitting.phase, null);
  await begun;
  assert.deepEqual(kept, []);
});

test("a go signal of a picture that is gone is given to nobody", async (t) => {
  const { sitting, screen, toGuide } = sittingWith(t, [item("swell", { show: { cue: true } })]);
  await toGuide();
  const { go } = screen.asked;
  sitting.startOver();
  assert.equal(sitting.attempt, null);
  assert.doesNotThrow(() => go(performance.now()));
});

test("a plan that is only looked at on a tablet without room for it is not begun", async (t) => {
  const room = narrowRoom(t, [far, item("farther", { guide: far.guide })]);
  await room.sitting.begin("plan", null);
  assert.equal(room.sitting.phase, "end");
  room.sitting.openStrip();
  room.press("close");
  room.sitting.openStrip();
  room.press("leave");
  assert.equal(room.left(), 1);
  assert.deepEqual([room.kept, room.marks, room.sitting.progress.seq], [[], [], 0]);
});

test("what does not fit is told once anything was drawn or skipped, also at the next look", async (t) => {
  const room = narrowRoom(t, [item("swell"), far]);
  await room.toGuide();
  room.sitting.openStrip();
  room.press("skip");
  assert.equal(room.sitting.phase, "end");
  assert.deepEqual(room.kept.map(({ plan }) => plan.item_id), ["swell", "swell", "far"]);
  t.mock.timers.reset();
  // Drawn, and the page was loaded again before the end was seen.
  const again = narrowRoom(t, [item("swell", { repetitions: 1 }), far]);
  again.tablet.progressOf = async (plan_id) => ({
    plan_id, seq: 1, items: { swell: { attempts: 1, counted: 1 } }, steps: {},
  });
  await again.sitting.begin("plan", null);
  assert.deepEqual(again.kept.map(({ plan, seq }) => [plan.item_id, seq]), [["far", 2]]);
});

test("a mark that is given during a rest does not end it", async (t) => {
  const { sitting, screen, toGuide, down, choice, press } = sittingWith(t, [item("swell")]);
  await toGuide();
  down(10);
  sitting.openStrip();
  press("rest");
  sitting.openStrip();
  choice("mark", "ok").click();
  assert.deepEqual([sitting.phase, screen.still, sitting.strip.open], ["rest", "rest", false]);
});

test("a line that is asked again for one reason is not asked again for another", async (t) => {
  for (const act of ["rest", "again", "done"]) {
    const { sitting, toGuide, down, choice, press } = sittingWith(t, [item("swell")]);
    await toGuide();
    down(10);
    sitting.openStrip();
    press(act);
    sitting.openStrip();
    choice("mark", "spoilt").click();
    assert.equal(remaining(sitting.progress, item("swell")), 2, act);
    sitting.openStrip();
    choice("mark", "ok").click();
    const left = act === "done" ? 1 : 2;
    assert.equal(remaining(sitting.progress, item("swell")), left, `${act}, not spoilt after all`);
    t.mock.timers.reset();
  }
});

test("a skipped item is not asked again because its last line was spoilt; “again” asks", async (t) => {
  const swell = item("swell");
  const { sitting, toGuide, down, up, choice, press, screen } =
    sittingWith(t, [swell, item("buoy")]);
  await toGuide();
  down(10);
  up(10);
  sitting.openStrip();
  press("done");
  sitting.openStrip();
  press("skip");
  assert.equal(screen.first.item_id, "buoy");
  for (const mark of ["spoilt", "ok", "spoilt"]) {
    sitting.openStrip();
    choice("mark", mark).click();
    assert.equal(remaining(sitting.progress, swell), 0, mark);
  }
  sitting.openStrip();
  press("again");
  assert.equal(remaining(sitting.progress, swell), 1);
});

test("a line asked again as spoilt, then skipped, stays skipped; “again” asks for one", async (t) => {
  const swell = item("swell");
  const { sitting, toGuide, down, choice, press } = sittingWith(t, [swell, item("buoy")]);
  await toGuide();
  down(10);
  sitting.openStrip();
  choice("mark", "spoilt").click();
  sitting.openStrip();
  press("skip");
  sitting.openStrip();
  choice("mark", "ok").click();
  assert.equal(remaining(sitting.progress, swell), 0);
  sitting.openStrip();
  press("again");
  assert.equal(remaining(sitting.progress, swell), 1);
});

test("a touch before the go signal is told to the adult and kept; one after it is none", async (t) => {
  const cued = item("swell", { show: { cue: true } });
  const early = { before: true, after: false, "no signal to come": false };
  for (const [when, expected] of Object.entries(early)) {
    const asked = when === "no signal to come" ? item("swell") : cued;
    const { sitting, screen, toGuide, down, find, press, kept } = sittingWith(t, [asked]);
    await toGuide();
    if (when === "after") screen.asked.go(performance.now());
    down(10);
    sitting.openStrip();
    const said = / · touched before the go signal$/;
    assert.equal(said.test(find("strip-about").textContent), expected, when);
    press("done");
    sitting.openStrip();
    assert.equal(said.test(find("strip-about").textContent), expected, when);
    const [document] = kept;
    assert.equal("cue_ms" in document, when === "after");
    assert.equal(document.marks.some(({ kind }) => kind === "touched_before_go"), expected, when);
    t.mock.timers.reset();
  }
});

test("a palm that lifts from the line before does not take first and then away; a tap does", async (t) => {
  const { sitting, toGuide, down, up, wait } =
    sittingWith(t, [item("swell", { repetitions: 1 }), item("buoy")]);
  await toGuide();
  const palm = { pointerId: 7, pointerType: "touch" };
  down(10);
  down(90, palm);
  sitting.endLine("stop_target");
  wait(2600);
  assert.equal(sitting.phase, "first");
  up(90, palm);
  up(10);
  assert.equal(sitting.phase, "first");
  const corner = { target: { closest: () => ({}) } };
  down(5, { ...palm, ...corner });
  up(5, palm);
  assert.equal(sitting.phase, "first");
  down(90, palm);
  assert.equal(sitting.phase, "first");
  up(90, palm);
  assert.equal(sitting.phase, "waiting");
});

test("without a word on where the child sits no line has a midline, whatever the plan supposed", async (t) => {
  const { guide } = item("swell");
  const supposed = item("swell", { guide: { ...guide, midline_x_mm: 60, midline_source: "entered" } });
  for (const setup of [null, { tablet_at: "centred", surface: "flat" }]) {
    const { sitting, toGuide, down, kept } = sittingWith(t, [supposed]);
    await toGuide(setup);
    down(10);
    sitting.endLine("adult");
    const [drawn] = kept;
    // [C] the middle of a screen of 207 mm whose task area begins at its left edge.
    assert.deepEqual(drawn.guide, setup === null ? guide
      : { ...guide, midline_x_mm: 103.5, midline_source: "entered" });
    assert.deepEqual(drawn.condition, setup ?? {});
    t.mock.timers.reset();
  }
});
