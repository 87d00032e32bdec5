import assert from "node:assert/strict";
import { test } from "node:test";

import { attempted, remaining } from "../../web/tablet/day.mjs";
import { graded, item, sittingWith } from "./sitting_room.mjs";

test("what is skipped before its first line is told to be so, once for each repetition", async (t) => {
  const swell = item("swell");
  const { sitting, screen, toGuide, press, kept, marks } = sittingWith(t, [swell, item("buoy")]);
  await toGuide();
  sitting.openStrip();
  press("skip");
  assert.deepEqual(kept.map(({ plan, seq, ended_by, samples }) =>
    [plan.item_id, plan.repetition, seq, ended_by, samples.t_ms.length]),
  [["swell", 1, 1, "not_done", 0], ["swell", 2, 2, "not_done", 0]]);
  assert.deepEqual(marks, kept.map(({ trial_id }) =>
    ({ trial_id, outcome: "not_done", why: "skipped" })));
  assert.deepEqual([remaining(sitting.progress, swell), screen.first.item_id], [0, "buoy"]);
});

test("of an item that is skipped after some lines only the others are not done", async (t) => {
  for (const broken of [false, true]) {
    const swell = item("swell", { repetitions: 3 });
    const { sitting, toGuide, down, press, kept, marks, wait, screen } = sittingWith(t, [swell]);
    await toGuide();
    down(10);
    if (!broken) {
      sitting.endLine("stop_target");
      wait(2600);
      screen.frame();
    }
    sitting.openStrip();
    press("skip");
    assert.deepEqual(kept.map(({ plan, ended_by }) => [plan.repetition, ended_by]),
      [[1, broken ? "adult" : "stop_target"], [2, "not_done"], [3, "not_done"]]);
    assert.deepEqual(marks.map(({ outcome }) => outcome),
      [...(broken ? ["stopped"] : []), "not_done", "not_done"]);
    assert.equal(sitting.phase, "end");
    t.mock.timers.reset();
  }
});

test("an item that is skipped after its plan ran out is not told under a plan nobody has", async (t) => {
  const { sitting, tablet, toGuide, press, kept } = sittingWith(t, [item("swell")]);
  await toGuide();
  sitting.openStrip();
  tablet.plans = [];
  press("skip");
  assert.deepEqual([kept, sitting.phase], [[], "end"]);
});

test("a step taken in the last line, or in its thank-you, brings one line at the new step", async (t) => {
  for (const when of ["drawing", "thanks"]) {
    const once = graded("swell", { repetitions: 1 });
    const { sitting, screen, toGuide, down, press, choice } =
      sittingWith(t, [once, item("buoy")]);
    await toGuide();
    down(10);
    if (when === "thanks") sitting.endLine("stop_target");
    assert.equal(sitting.phase, when);
    sitting.openStrip();
    press("easier");
    assert.equal(remaining(sitting.progress, once), 1, when);
    assert.deepEqual([screen.asked.item.item_id, screen.asked.item.step], ["swell", "easier"], when);
    // That line was asked again already.
    sitting.openStrip();
    choice("mark", "spoilt").click();
    assert.equal(remaining(sitting.progress, once), 1, when);
    t.mock.timers.reset();
  }
});

test("a step before the first line, or with lines left in the thank-you, asks for no more", async (t) => {
  for (const when of ["waiting", "thanks"]) {
    const twice = graded("swell");
    const { sitting, toGuide, down, press } = sittingWith(t, [twice]);
    await toGuide();
    if (when === "thanks") {
      down(10);
      sitting.endLine("stop_target");
    }
    sitting.openStrip();
    press("easier");
    assert.equal(remaining(sitting.progress, twice), when === "thanks" ? 1 : 2, when);
    t.mock.timers.reset();
  }
});

test("a step where a newer plan has none left asks for one more of that item alone", async (t) => {
  const twice = graded("swell");
  const { sitting, screen, toGuide, press } = sittingWith(t, [twice, item("buoy")]);
  await toGuide();
  // Drawn by an earlier page: this one has no line of it to repeat.
  sitting.keepProgress(attempted(attempted(sitting.progress, twice).progress, twice).progress);
  assert.equal(sitting.last ?? null, null);
  sitting.openStrip();
  press("easier");
  assert.equal(remaining(sitting.progress, twice), 1);
  assert.deepEqual([screen.asked.item.item_id, screen.asked.item.step], ["swell", "easier"]);
});

test("a line that became quiet while it was drawn says from when on, and until when", async (t) => {
  const { sitting, toGuide, down, up, press, kept, wait, screen } = sittingWith(t, [item("swell")]);
  await toGuide();
  sitting.openStrip();
  press("quiet");
  press("quiet");
  press("close");
  screen.frame();
  down(10);
  for (let taps = 0; taps < 2; taps += 1) {
    sitting.openStrip();
    press("quiet");
    press("close");
  }
  up(10);
  sitting.endLine("stop_target");
  sitting.openStrip();
  press("quiet");
  const [{ shown, marks }] = kept;
  assert.equal(shown.quiet, false);
  assert.deepEqual(marks.map(({ kind }) => kind), [
    "strip_opened", "quiet_on", "strip_closed", "strip_opened", "quiet_off", "strip_closed"]);
  const times = marks.map(({ t_ms }) => t_ms);
  assert.deepEqual(times, [...times].sort((one, other) => one - other));
  press("close");
  wait(2600);
  screen.frame();
  down(10);
  sitting.endLine("adult");
  assert.deepEqual([kept[1].shown.quiet, kept[1].marks], [true, []]);
});
