import assert from "node:assert/strict";
import { test } from "node:test";

import { interrupted, Journal, leftBehind, withoutJournal } from "../../web/tablet/journal.mjs";
import { columnsOf } from "../../web/tablet/record.mjs";
import { MemoryStore } from "../../web/tablet/store.mjs";

const HEAD = {
  trial_id: "t1", token: "old", progress: { plan_id: "plan", seq: 3, items: {} },
  base: {
    trial_id: "t1", seq: 3, plan: { plan_id: "plan", version: 2 }, repetition: 1,
    item: { item_id: "a1", task: { mode: "trace" }, guide: { points_mm: [[0, 0], [9, 0]] } },
    device: {
      tablet_id: "tab", scale: { px_per_mm: 5, calibrated: true }, screen_mm: [207, 136],
      origin_mm: [0, 0], secure: true, api: true,
    },
    started_at: "2026-03-03T09:14:07.120Z",
  },
};

/** What a pen looks like to the journal, with so many samples. */
function penOf(count, more = {}) {
  const numbers = Array.from({ length: count }, (_, i) => i);
  const columns = {
    t_ms: numbers.map((i) => 4 * i), x_mm: numbers.map((i) => i / 10), y_mm: numbers.map(() => 60),
    stroke: numbers.map((i) => Math.floor(i / 50)), pressure: numbers.map(() => 0.4),
    tilt_x: numbers.map(() => NaN), tilt_y: numbers.map(() => NaN),
  };
  const facts = { kind: "pen", coalesced: true, touchesIgnored: 1 };
  return {
    columns, facts, setAside: null,
    get length() { return this.columns.t_ms.length; },
    rowsFrom(from) {
      const names = Object.keys(this.columns);
      const rows = [];
      for (let i = from; i < this.length; i += 1) rows.push(...names.map((name) => this.columns[name][i]));
      return { names, rows: Float64Array.from(rows) };
    },
    ...more,
  };
}

function grow(pen, count) {
  const longer = penOf(count).columns;
  for (const name of Object.keys(longer)) {
    pen.columns[name].push(...longer[name].slice(pen.columns[name].length));
  }
}

async function recovered(store) {
  const found = await leftBehind(store);
  return found.map((rows) => interrupted(rows));
}

test("a journal that was left behind becomes the trial, interrupted", async () => {
  const store = new MemoryStore();
  const journal = new Journal(store, HEAD);
  const pen = penOf(10);
  await journal.write(pen, []);
  grow(pen, 75);
  await journal.write(pen, [{ t_ms: 90, kind: "strip_opened" }]);
  const [{ head, document }] = await recovered(store);
  assert.deepEqual([head.token, head.progress], ["old", HEAD.progress]);
  assert.equal(document.ended_by, "interrupted");
  assert.equal(document.trial_id, "t1");
  assert.deepEqual(document.plan, { plan_id: "plan", version: 2, item_id: "a1", repetition: 1 });
  assert.deepEqual(document.samples.t_ms, pen.columns.t_ms);
  assert.deepEqual(document.samples.stroke, pen.columns.stroke);
  assert.equal(document.samples.tilt_x, undefined);
  assert.deepEqual(document.marks, [{ t_ms: 90, kind: "strip_opened" }]);
  assert.deepEqual(
    [document.device.pointer_type, document.device.coalesced, document.device.touches_ignored],
    ["pen", true, 1]);
});

test("each write holds only what came since the last one", async () => {
  const store = new MemoryStore();
  const journal = new Journal(store, HEAD);
  const pen = penOf(100);
  await journal.write(pen);
  grow(pen, 130);
  await journal.write(pen);
  const [[head, first, second]] = await leftBehind(store);
  assert.deepEqual([head.part, head.base.seq], [0, 3]);
  assert.deepEqual([first, second].map((part) => columnsOf([part]).t_ms.length), [100, 30]);
});

test("calls while a write runs become one write that takes everything along", async () => {
  const store = new MemoryStore();
  let writes = 0;
  const change = store.change.bind(store);
  store.change = async (...args) => { writes += 1; await null; return change(...args); };
  const journal = new Journal(store, HEAD);
  const pen = penOf(10);
  const all = [journal.write(pen)];
  for (const count of [20, 30, 40]) {
    grow(pen, count);
    all.push(journal.write(pen));
  }
  await Promise.all(all);
  assert.equal(writes, 2);
  assert.equal((await recovered(store))[0].document.samples.t_ms.length, 40);
});

test("touches that are set aside make it begin anew and are kept beside the samples", async () => {
  const store = new MemoryStore();
  const journal = new Journal(store, HEAD);
  await journal.write(penOf(30));
  const setAside = { reason: "touch_before_pen", t_ms: [1], x_mm: [2], y_mm: [3], stroke: [0] };
  const pen = penOf(5, { setAside });
  await journal.write(pen);
  grow(pen, 8);
  await journal.write(pen);
  const [{ document }] = await recovered(store);
  assert.deepEqual(document.samples.t_ms, pen.columns.t_ms);
  assert.deepEqual(document.set_aside, setAside);
});

test("a contact's column is kept where two contacts draw", async () => {
  const store = new MemoryStore();
  const pen = penOf(4);
  pen.columns.pointer = [0, 1, 0, 1];
  await new Journal(store, HEAD).write(pen);
  const [[, part]] = await leftBehind(store);
  assert.deepEqual(columnsOf([part]).pointer, [0, 1, 0, 1]);
});

test("what finds no room is written again by the next write, and nothing is thrown", async () => {
  const store = new MemoryStore();
  const change = store.change.bind(store);
  store.change = async () => { throw new Error("full"); };
  const journal = new Journal(store, HEAD);
  const pen = penOf(10);
  await journal.write(pen);
  assert.deepEqual(await leftBehind(store), []);
  store.change = change;
  grow(pen, 12);
  await journal.write(pen);
  assert.equal((await recovered(store))[0].document.samples.t_ms.length, 12);
});

test("after its trial is kept nothing is written any more", async () => {
  const store = new MemoryStore();
  const journal = new Journal(store, HEAD);
  await journal.write(penOf(10));
  journal.close();
  await store.change([withoutJournal("t1")]);
  await journal.write(penOf(20));
  assert.deepEqual(await leftBehind(store), []);
});

test("a write that still waits when the trial is kept is never made", async () => {
  const store = new MemoryStore();
  const change = store.change.bind(store);
  let free;
  const wait = new Promise((resolve) => { free = resolve; });
  store.change = async (...args) => { await wait; return change(...args); };
  const journal = new Journal(store, HEAD);
  const running = journal.write(penOf(10));
  journal.write(penOf(20));
  journal.close();
  free();
  await running;
  assert.equal((await leftBehind(store))[0].length, 2);
});

test("what is dropped is gone, and other journals stay", async () => {
  const store = new MemoryStore();
  const [one, other] = ["t1", "t2"].map((trial_id) => new Journal(store, { ...HEAD, trial_id }));
  await one.write(penOf(10));
  await other.write(penOf(11));
  await one.drop();
  assert.deepEqual((await recovered(store)).map(({ document }) => document.trial_id), ["t2"]);
});

test("the same journal makes the same bytes every time", async () => {
  const store = new MemoryStore();
  await new Journal(store, HEAD).write(penOf(30));
  const [first, second] = [await recovered(store), await recovered(store)]
    .map(([{ document }]) => JSON.stringify(document));
  assert.equal(first, second);
});
