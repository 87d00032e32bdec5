import assert from "node:assert/strict";
import { test } from "node:test";

import { observationRecord } from "../../web/tablet/records.mjs";
import {
  answer, calibration, confirmed, desk, deskWith, ids, mark, observation, trial,
} from "./queue.mjs";

test("what a full disk would not take is saved once it has room, without its journal", async () => {
  const { outbox, store, clock } = desk(() => answer(503));
  await store.change([{ store: "journal", put: { trial_id: "a", part: 0 } }]);
  const change = store.change.bind(store);
  store.change = async () => { throw new Error("full"); };
  const along = [{ store: "progress", put: { plan_id: "plan", seq: 1 } }];
  assert.equal(await outbox.add(trial("a"), along), false);
  await outbox.drain();
  assert.deepEqual([await store.all("outbox"), outbox.unsaved], [[], 1]);
  store.change = change;
  clock.now_ms += 2000;
  await outbox.drain();
  assert.deepEqual((await store.all("outbox")).map(({ body }) => body), [trial("a").body]);
  // The plan has gone on meanwhile.
  assert.deepEqual([await store.all("journal"), await store.all("progress")], [[], []]);
  assert.equal(outbox.unsaved, 0);
});

test("what goes along is written together with the record", async () => {
  const { outbox, store } = desk(() => answer(null));
  await store.change([{ store: "journal", put: { trial_id: "a", part: 0 } }]);
  const changes = [];
  const change = store.change.bind(store);
  store.change = (steps) => {
    changes.push(steps.map((step) => step.store));
    return change(steps);
  };
  await outbox.add(trial("a"), [{ store: "journal", under: "a" }]);
  assert.deepEqual(changes, [["outbox", "journal"]]);
  assert.deepEqual(await store.all("journal"), []);
});

test("an observation of a trial waits for it; a calibration waits for nothing", async () => {
  const { outbox, sent, clock } = desk((record) => answer(record.kind === "trial" ? 503 : 201));
  await outbox.add(trial("a"));
  await outbox.add(observation("o", { trial_id: "a" }));
  await outbox.add(observation("p"));
  await outbox.add(calibration("c"));
  await outbox.drain();
  assert.deepEqual(sent.map(({ id }) => id).sort(), ["a", "c", "p"]);
  assert.deepEqual(await ids(outbox), ["a", "o"]);
  assert.equal(clock.now_ms, 1_000_000);
});

test("observations and calibrations say what the server takes, and no more", () => {
  const seen = { kind: "rest", minutes: 4, trial_id: "a" };
  const record = observationRecord("o", "plan", seen);
  assert.equal(record.path, "/api/tablet/observations");
  assert.deepEqual(JSON.parse(record.body), { id: "o", plan_id: "plan", ...seen });
  assert.deepEqual(JSON.parse(calibration("c").body), {
    id: "c", px_per_mm: 5, ratio: 2, made_at: "2026-03-03T09:00:00Z", screen_mm: [236, 164],
  });
});

test("a refused observation holds up nothing and goes only when an adult says so", async () => {
  const { outbox } = desk((record) => (record.id === "o" ? answer(404) : confirmed(record)));
  await outbox.add(observation("o"));
  await outbox.add(calibration("c"));
  await outbox.add(trial("a"));
  await outbox.drain();
  const [row, ...rest] = await outbox.records();
  assert.deepEqual([row.id, row.kind, row.state, row.body, rest.length],
    ["o", "observation", "adult", observation("o").body, 0]);
  await outbox.forget(null);
  await outbox.forget("another");
  assert.deepEqual(await ids(outbox), ["o"]);
  await outbox.forget("o");
  assert.deepEqual(await ids(outbox), []);
});

test("taking a refused mark off leaves what else belongs to its trial, which was sent", async () => {
  const { outbox } = desk((record) => answer(record.id === "m" ? 422 : 503));
  await outbox.add(mark("m", "a"));
  await outbox.add(mark("n", "a"));
  await outbox.drain();
  await outbox.forget("m");
  assert.deepEqual(await ids(outbox), ["n"]);
});

test("an erased child takes a trial's marks and observations along, and nothing else", async () => {
  const { outbox } = desk((record) => answer(record.id === "a" ? 410 : 503));
  await outbox.add(trial("a"));
  await outbox.add(observation("o", { trial_id: "a" }));
  await outbox.add(observation("p"));
  await outbox.add(trial("b"));
  await outbox.drain();
  assert.deepEqual(await ids(outbox), ["p", "b"]);
});

test("an old token that ended does not ask for a pairing that was made since", async () => {
  const { outbox, sent } = deskWith(
    { token: () => "new" },
    (record) => (record.token === "old" ? answer(401) : confirmed(record)));
  await outbox.add(trial("a"));
  await outbox.drain();
  assert.deepEqual(sent.map(({ token }) => token), ["old", "new"]);
  assert.deepEqual(await ids(outbox), []);
});

test("an answer of 401 to the token that holds asks for a pairing, once", async () => {
  const { outbox, sent, store } = deskWith({ token: () => "old" }, () => answer(401));
  await outbox.add(trial("a"));
  await outbox.drain();
  assert.equal(sent.length, 1);
  assert.deepEqual((await store.all("outbox")).map(({ state }) => state), ["unpaired"]);
});

test("rows of an older page are known by what they are", async () => {
  const { outbox, store, sent, clock } = desk(() => answer(503), confirmed);
  const older = {
    order: 1, made_ms: 5, failures: 7, next_ms: 2_000_000, state: "waiting", title: "",
  };
  const { kind: _, ...old } = mark("m", "a");
  await store.change([
    { store: "outbox", put: { ...trial("a"), ...older } },
    { store: "outbox", put: { ...old, ...older, order: 2 } },
  ]);
  assert.deepEqual((await outbox.records()).map(({ kind }) => kind), ["trial", "mark"]);
  await outbox.hurry();
  clock.now_ms += 2000;
  await outbox.drain();
  assert.deepEqual(sent.map(({ id }) => id), ["a", "a", "m"]);
});

test("a long queue is read one text at a time, each once, and texts are not held", async () => {
  const { outbox, store, sent } = desk((record) => answer(record.id === "t7" ? 422 : 201,
    { sha256: record.sha256 }));
  const many = Array.from({ length: 300 }, (_, i) => trial(`t${i}`));
  await store.change(many.map((row, i) => ({
    store: "outbox", put: { ...row, order: i, made_ms: 5, state: "waiting", title: "" },
  })));
  let reads = 0;
  const get = store.get.bind(store);
  store.get = (...at) => { reads += 1; return get(...at); };
  store.all = () => { throw new Error("all texts at once"); };
  assert.deepEqual((await outbox.records()).filter(({ body }) => body !== undefined), []);
  await outbox.drain();
  assert.deepEqual(sent.map(({ id }) => id), many.map(({ id }) => id));
  // Twice for the one that was refused: to send it, and to write down that it was.
  assert.equal(reads, 301);
  assert.deepEqual((await outbox.records()).map(({ id, body }) => [id, body]),
    [["t7", trial("t7").body]]);
});

test("what another window has sent is not sent again", async () => {
  const { outbox, store, sent, clock } = desk(() => answer(503), confirmed);
  await outbox.add(trial("a"));
  await outbox.drain();
  await store.change([{ store: "outbox", remove: "a" }]);
  clock.now_ms += 2000;
  await outbox.drain();
  assert.equal(sent.length, 1);
  assert.deepEqual(await ids(outbox), []);
});

test("a page that comes back sees what was kept meanwhile", async () => {
  const { outbox, store, sent } = desk(confirmed);
  await outbox.hurry();
  await store.change([{ store: "outbox", put: {
    ...trial("a"), order: 1, made_ms: 5, state: "waiting", title: "",
  } }]);
  await outbox.reread();
  assert.deepEqual(sent.map(({ id }) => id), ["a"]);
});
