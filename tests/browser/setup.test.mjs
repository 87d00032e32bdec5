import assert from "node:assert/strict";
import { test } from "node:test";

import { freshProgress, oneMore, stepped } from "../../web/tablet/day.mjs";
import { noticesOf, readinessOf } from "../../web/tablet/notices.mjs";
import { waitingOf } from "../../web/tablet/refused.mjs";
import { lineFor, lineLeftOut, saidOf, SetUp } from "../../web/tablet/setup.mjs";
import { cautionsOf, describe, NO_SCISSORS, SCISSORS } from "../../web/tablet/words.mjs";
import { pageOf } from "./elements.mjs";

const line = (corridor_mm, closed = false) =>
  ({ points_mm: [[0, 0], [90, 0], [90, 40]], closed, corridor_mm });
const dots = (count, radius) =>
  Array.from({ length: count }, (_, order) => ({ x: 20 * order, y: 0, radius, order }));
const item = (mode, guide, condition = {}, more = {}) =>
  ({ task: { mode, name: "Swell" }, guide, condition, ...more });

test("an item is told by its size, hand and direction", () => {
  const condition = { hand: "right", direction: "left_to_right" };
  assert.equal(describe(item("trace", line(12), condition)),
    "6 mm each side · right hand · left to right");
  assert.equal(describe(item("trace", line(12), { hand: "free", direction: "none" })),
    "6 mm each side · either hand");
  assert.equal(describe(item("trace", line([12, 8, 6]))), "");
  assert.equal(describe(item("cut", line(12.7))), "a cutting line · 6.35 mm each side");
});

test("dots are told by their number and size", () => {
  assert.equal(describe(item("tap", { targets_mm: dots(10, 6) })), "10 dots to tap · 12 mm across");
  assert.equal(describe(item("join", { targets_mm: dots(6, 4) })), "6 dots to join · 8 mm across");
  assert.equal(describe(item("join", { targets_mm: dots(8, 5), pairs: true })),
    "4 pairs of dots to join · 10 mm across");
});

test("two hands are told by what they do", () => {
  const oars = { parts: [line(18), line(18)] };
  assert.equal(describe(item("both", oars, { hand: "both" })),
    "two lines at once · 9 mm each side · both hands");
  const capstan = { ...line(18, true), targets_mm: dots(1, 15) };
  assert.equal(describe(item("both", capstan, { direction: "clockwise" })),
    "a disc 30 mm across to hold · 9 mm each side · clockwise");
});

const fresh = freshProgress("plan");

test("a line of the list says how often, and why something is not there", () => {
  const swell = item("trace", line(8));
  assert.equal(lineFor(swell, fresh).detail, "4 mm each side · once");
  assert.equal(lineFor({ ...swell, repetitions: 5 }, fresh).detail,
    "4 mm each side · 5\u00a0times");
  assert.deepEqual(lineLeftOut({ item: swell, why: "too_large" }),
    { name: "Swell", detail: "not here: too large for this screen" });
  assert.match(lineLeftOut({ item: swell, why: "pressure" }).detail, /a pen that reports pressure/);
});

test("a line of the list says what is still to come: how often, and at which step", () => {
  const swell = item("trace", line(8), {}, { item_id: "a", repetitions: 5 });
  const drawn = (counted, asked = swell) => {
    const progress = { ...fresh, items: { a: { attempts: counted, counted } } };
    return lineFor(asked, progress).detail;
  };
  const said = Object.fromEntries([2, 3, 4, 5].map((count) => [count, drawn(count)]));
  assert.deepEqual(said, {
    2: "4 mm each side · 3\u00a0more times", 3: "4 mm each side · twice more",
    4: "4 mm each side · once more", 5: "4 mm each side · none left",
  });
  assert.equal(drawn(0), "4 mm each side · 5\u00a0times");
  // One more than planned is wanted, as after "Again" before anything counted.
  assert.match(lineFor(swell, oneMore(fresh, swell)).detail, / · 6\u00a0times$/);
  const asked = { ...swell, steps: { easier: { task: swell.task, guide: line(12) } } };
  assert.equal(lineFor(asked, stepped(fresh, asked, "easier")).detail,
    "6 mm each side · 5\u00a0times");
});

test("the set-up lists what is left of a plan that was begun", () => {
  const swell = item("trace", line(8), {}, { item_id: "a", repetitions: 2 });
  const progress = { ...fresh, items: { a: { attempts: 1, counted: 1 } } };
  const { find } = setUpWith({ items: [swell], progress });
  const [row] = find("setup-items").children;
  assert.equal(row.textContent, "Swell4 mm each side · once more");
});

test("scissors are cautioned against once, and only where there is a cutting line", () => {
  const cut = item("cut", line(12.7));
  assert.deepEqual(cautionsOf([item("trace", line(12))]), []);
  assert.deepEqual(cautionsOf([cut, cut]), [SCISSORS, NO_SCISSORS]);
});

function setUpWith({ last = null, items = [item("trace", line(12))], progress = fresh } = {}) {
  const page = pageOf("setup", {
    at: ["left", "centred", "right"], surface: ["flat", "sloped", "upright", "floor"],
  });
  const told = [];
  const setUp = new SetUp(page.find, { back: () => told.push("back") });
  const plan = { session_label: ["boat", "kite"] };
  setUp.open({
    plan, items, left_out: [], progress, last, done: (chosen) => told.push(chosen),
  });
  return { ...page, told, press: (id) => page.find(`setup-${id}`).click() };
}

test("whose turn it is stays in sight", () => {
  const signs = setUpWith().find("setup-signs");
  assert.equal(signs.getAttribute("aria-label"), "boat and kite");
  assert.equal(signs.children.length, 2);
});

test("nothing is recorded that no adult said", () => {
  const { find, choice, told, press } = setUpWith();
  assert.equal(find("setup-same").hidden, true);
  press("go");
  choice("at", "left").click();
  press("go");
  assert.deepEqual(told, []);
  choice("surface", "sloped").click();
  press("go");
  assert.deepEqual(told, [{ tablet_at: "left", surface: "sloped" }]);
});

test("the line stands where the middle of the child is to be", () => {
  const { find, choice } = setUpWith();
  assert.equal(find("setup-line").dataset.side, "centred");
  choice("at", "right").click();
  assert.equal(find("setup-line").dataset.side, "right");
});

test("the same as last time is one tap, and the line stands there", () => {
  const last = { tablet_at: "right", surface: "floor" };
  const { find, told, press } = setUpWith({ last });
  assert.equal(find("setup-same").hidden, false);
  assert.equal(find("setup-last").textContent, `Tablet ${saidOf(last)}`);
  assert.equal(find("setup-line").dataset.side, "right");
  press("same");
  assert.deepEqual(told, [last]);
});

test("not now confirms nothing, back draws nothing", () => {
  const { told, press } = setUpWith({ last: { tablet_at: "left", surface: "flat" } });
  press("skip");
  press("back");
  assert.deepEqual(told, [null, "back"]);
});

test("a plan without anything for this tablet says so", () => {
  assert.equal(setUpWith().find("setup-none").hidden, true);
  assert.equal(setUpWith({ items: [] }).find("setup-none").hidden, false);
});

const well = {
  secure: true, scale_why: null, lasting: true, unsaved: false, room: "room", persisted: true,
  recovered: 0,
};

test("a tablet with nothing to say says nothing", () => {
  assert.deepEqual(noticesOf(well), []);
});

test("each trouble has its sentence, and of those about storage only the worst is told", () => {
  const only = (more) => {
    const [first, ...rest] = noticesOf({ ...well, ...more });
    assert.deepEqual(rest, []);
    return first;
  };
  assert.match(only({ secure: false }), /open connection/);
  assert.match(only({ scale_why: "never" }), /not checked/);
  assert.match(only({ scale_why: "turned" }), /held another way.* still counts/);
  assert.match(only({ scale_why: "old" }), /still counts/);
  assert.match(only({ persisted: false }), /home screen/);
  assert.match(only({ persisted: false, room: "full" }), /nearly full/);
  assert.match(only({ room: "full", unsaved: true }), /storage is full/);
  assert.match(only({ lasting: false, unsaved: true }), /keeps nothing/);
  assert.equal(only({ recovered: 1 }),
    "One try was interrupted when the page closed. It was kept.");
  assert.equal(only({ recovered: 2 }),
    "2 tries were interrupted when the page closed. They were kept.");
});

test("a tablet is said to be ready only while page and plans are kept", () => {
  const now_ms = new Date(2026, 2, 3, 9, 0).getTime();
  const until_ms = new Date(2026, 2, 3, 18, 30).getTime();
  const ready = { cached: true, lasting: true, until_ms, now_ms };
  assert.equal(readinessOf(ready), "This tablet works without the server until 18:30 today.");
  assert.match(readinessOf({ ...ready, until_ms: until_ms + 86_400_000 }), /Wednesday 4 March/);
  for (const lacking of [{ cached: false }, { lasting: false }, { until_ms: null },
    { until_ms: now_ms }]) {
    assert.equal(readinessOf({ ...ready, ...lacking }), "");
  }
});

test("what waits is told in one sentence", () => {
  const row = (kind, state = "waiting") => ({ kind, state });
  assert.equal(waitingOf([]), "Everything is sent.");
  assert.match(waitingOf([row("trial"), row("trial"), row("mark")]), /^2 tries wait /);
  assert.match(waitingOf([row("trial"), row("trial", "adult")]), /^1 try waits /);
  assert.match(waitingOf([row("observation")]), /^Notes wait /);
  assert.match(waitingOf([row("trial", "unpaired")]), /pair again/);
  assert.equal(waitingOf([row("calibration", "adult")]), "");
});
