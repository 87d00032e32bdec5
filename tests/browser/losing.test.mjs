import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";

import { allAside } from "../../web/tablet/aside.mjs";
import { Screen } from "../../web/tablet/screen.mjs";
import { MemoryStore } from "../../web/tablet/store.mjs";
import { answer, confirmed, desk, trial } from "./queue.mjs";
import { putShelf, shelf } from "./shelf.mjs";
import { hearing, opened, refuse, silent } from "./tablet_room.mjs";

const PROGRESS = { plan_id: "plan", seq: 1, items: { a: { attempts: 1, counted: 1 } } };
const WHOLE = { trial_id: "t1", ended_by: "left_page", samples: { t_ms: [0, 4, 8] } };

const setAside = () => allAside().map(({ id }) => id);
const warningOf = (tablet) => Screen.prototype.warning.call({ tablet, scale: { calibrated: true } });

/** The first part of a line, as its journal has it. */
const journalRows = [
  {
    trial_id: "t1", part: 0, token: "tok", progress: PROGRESS,
    base: {
      seq: 1, plan: { plan_id: "plan", version: 2 }, repetition: 1, started_at: "2026-03-03T09:14:07Z",
      item: { item_id: "a", task: { mode: "trace" }, guide: { points_mm: [[0, 0], [9, 0]] } },
      device: {
        tablet_id: "tab", scale: { px_per_mm: 5, calibrated: true }, screen_mm: [207, 136],
        origin_mm: [0, 0], secure: true, api: true,
      },
    },
  },
  {
    trial_id: "t1", part: 1, names: ["t_ms", "x_mm", "y_mm", "stroke", "pressure", "tilt_x", "tilt_y"],
    rows: Float64Array.from([0, 1, 60, 0, 0.4, 0, 0]), facts: { kind: "pen", coalesced: true },
    marks: [],
  },
].map((put) => ({ store: "journal", put }));

beforeEach(() => putShelf(shelf()));

/** A page whose disk took the journal of a line, and nothing of its trial. */
async function leftWithoutRoom({ leaving }) {
  const disk = new MemoryStore();
  const { tablet } = await opened(silent, disk);
  await tablet.pair("CODE2345");
  await disk.change(journalRows);
  const again = refuse(disk, "outbox", "progress", "reserve");
  assert.equal(await tablet.keepTrial(WHOLE, { leaving, progress: PROGRESS }), false);
  return { disk, again, tablet };
}

for (const leaving of [true, false]) {
  test(`a line without room goes out whole, and once, from the next page, leaving: ${leaving}`, async () => {
    const { disk, again } = await leftWithoutRoom({ leaving });
    const { tablet, sent } = await opened(silent, disk);
    await tablet.outbox.hurry();
    assert.equal(tablet.recovered, 0, "all of it is there");
    assert.equal((await tablet.progressOf("plan")).seq, 1, "the plan has come that far");
    assert.deepEqual([tablet.unsaved, setAside()], [true, ["t1"]]);
    again();
    await tablet.outbox.drain();
    assert.deepEqual([tablet.unsaved, setAside()], [false, []]);
    assert.deepEqual(await disk.all("journal"), []);
    const third = await opened(hearing, disk);
    await third.tablet.outbox.drain();
    assert.deepEqual(await third.tablet.outbox.records(), []);
    const texts = [...sent, ...third.sent].filter(({ path }) => path === "/api/trials/t1");
    assert.ok(texts.length > 1);
    assert.deepEqual(new Set(texts.map(({ text }) => text)), new Set([JSON.stringify(WHOLE)]));
  });
}

test("a line of which only the journal is left becomes the interrupted trial, room or not", async () => {
  const disk = new MemoryStore();
  await disk.change(journalRows);
  refuse(disk, "outbox", "progress", "reserve");
  const { tablet } = await opened(silent, disk);
  assert.equal(tablet.recovered, 1);
  assert.equal((await tablet.progressOf("plan")).seq, 1);
  assert.deepEqual((await tablet.outbox.records()).map(({ id, saved }) => [id, saved]), [["t1", false]]);
});

for (const full of [true, false]) {
  test(`a record that waits is never replaced by another under its id, full: ${full}`, async () => {
    const { outbox, sent, store, clock } = desk(() => answer(503), confirmed);
    if (full) refuse(store, "outbox");
    assert.equal(await outbox.add(trial("a")), !full);
    assert.equal(await outbox.add(trial("a", { body: "other", sha256: "other" })), !full);
    await outbox.drain();
    clock.now_ms += 2000;
    await outbox.drain();
    assert.deepEqual(sent.map(({ body }) => body), Array(2).fill(trial("a").body));
    assert.deepEqual(await outbox.records(), []);
  });
}

test("what an adult takes off the tablet does not come back from where it was set aside", async () => {
  const { tablet, disk } = await leftWithoutRoom({ leaving: false });
  await tablet.outbox.forget("t1");
  assert.deepEqual(setAside(), []);
  assert.deepEqual(await (await opened(silent, disk)).tablet.outbox.records(), []);
});

test("a mark without room is set aside too, and follows its trial", async () => {
  const { tablet, disk } = await leftWithoutRoom({ leaving: false });
  await tablet.keepMark("t1", { outcome: "finished" });
  assert.equal(setAside().length, 2);
  const { tablet: next, sent } = await opened(hearing, disk);
  await next.outbox.hurry();
  assert.deepEqual(sent.map(({ path }) => path), ["/api/trials/t1", "/api/trials/t1/marks"]);
  assert.deepEqual(setAside(), []);
});

const measuring = {
  kind: "pen", columns: { pressure: Array.from({ length: 40 }, (_, i) => 0.2 + i / 100) },
};

test("once there is room again nothing is said to be full, and all is on disk", async () => {
  const disk = new MemoryStore();
  const { tablet } = await opened(hearing, disk);
  await tablet.pair("CODE2345");
  const again = refuse(disk, "kept", "outbox", "progress", "reserve");
  await tablet.keepTrial(WHOLE, { progress: PROGRESS });
  tablet.learn(measuring);
  assert.equal(await tablet.room(), "full");
  assert.equal(tablet.losable, true);
  await tablet.outbox.drain();
  assert.equal(warningOf(tablet), "", "that line is sent");
  again();
  assert.equal(await tablet.room(), "room");
  assert.deepEqual([tablet.unsaved, tablet.losable, warningOf(tablet)], [false, false, ""]);
  assert.deepEqual((await disk.get("kept", "abilities")).value, { pressure: true });
  assert.deepEqual(await disk.get("progress", "plan"), PROGRESS);
});

test("what is kept late is the newest, not what found no room", async () => {
  const disk = new MemoryStore();
  const { tablet } = await opened(hearing, disk);
  await tablet.pair("CODE2345");
  const again = refuse(disk, "progress");
  await tablet.keepProgress(PROGRESS);
  again();
  const further = { ...PROGRESS, seq: 2 };
  await tablet.keepTrial({ trial_id: "t2" }, { progress: further });
  assert.equal(await tablet.room(), "room");
  assert.deepEqual(await disk.get("progress", "plan"), further);
});

test("what the pen gives is no reason to keep a page open", async () => {
  const disk = new MemoryStore();
  const { tablet } = await opened(hearing, disk);
  await tablet.pair("CODE2345");
  refuse(disk, "kept");
  tablet.learn(measuring);
  await tablet.save();
  assert.equal(tablet.losable, false);
  await tablet.keepCalibration({ calibration_id: "card-1", px_per_mm: 5 });
  assert.equal(tablet.losable, true);
});

test("a browser that keeps nothing: a left line stays set aside until it is sent", async () => {
  const { tablet, sent } = await opened(silent, null);
  await tablet.pair("CODE2345");
  assert.equal(await tablet.keepTrial(WHOLE, { leaving: true, progress: PROGRESS }), false);
  assert.deepEqual([tablet.lasting, tablet.unsaved, setAside()], [false, true, ["t1"]]);
  assert.match(warningOf(tablet), /Keep this page open/);
  assert.equal(await tablet.room(), "room", "drawing goes on");
  await tablet.outbox.drain();
  const next = await opened(hearing, null);
  await next.tablet.outbox.hurry();
  assert.deepEqual(next.sent.map(({ text }) => text), [sent.at(-1).text]);
  assert.deepEqual([next.tablet.unsaved, setAside()], [false, []]);
});
