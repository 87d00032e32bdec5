import assert from "node:assert/strict";
import { test } from "node:test";

import { delayAfter, verdict } from "../../web/tablet/answers.mjs";
import { Outbox } from "../../web/tablet/outbox.mjs";
import { answer, confirmed, desk, ids, mark, trial } from "./queue.mjs";

test("the table of answers", () => {
  const record = trial("a");
  const table = [
    [answer(201, { sha256: "hash-a" }), "clear"], [answer(200, { sha256: "hash-a" }), "clear"],
    [answer(201, { sha256: "other" }), "keep"], [answer(200, null), "keep"],
    [answer(null), "keep"], [answer(429), "keep"], [answer(500), "keep"], [answer(503), "keep"],
    [answer(408), "keep"], [answer(401), "unpaired"], [answer(409), "adult"],
    [answer(413), "adult"], [answer(422), "adult"], [answer(404), "adult"],
    [answer(403), "adult"], [answer(410), "clear"], [answer(302), "keep"],
  ];
  for (const [given, expected] of table) assert.equal(verdict(record, given), expected);
  assert.equal(verdict(mark("m", "a"), answer(201, {})), "clear");
});

test("delays grow from 2 s to 5 min", () => {
  const delays = [1, 2, 3, 8, 9, 30].map(delayAfter);
  assert.deepEqual(delays, [2000, 4000, 8000, 256000, 300000, 300000]);
});

test("a trial is cleared when the server repeats its hash", async () => {
  const { outbox, sent } = desk(confirmed);
  assert.equal(await outbox.add(trial("a")), true);
  await outbox.drain();
  assert.deepEqual(await ids(outbox), []);
  assert.equal(sent.length, 1);
});

test("a lost answer keeps the trial and the same text goes out again", async () => {
  const { outbox, sent, clock } = desk(() => answer(null), confirmed);
  await outbox.add(trial("a"));
  await outbox.drain();
  assert.deepEqual(await ids(outbox), ["a"]);
  clock.now_ms += 1999;
  await outbox.drain();
  assert.equal(sent.length, 1);
  clock.now_ms += 1;
  await outbox.drain();
  assert.deepEqual(await ids(outbox), []);
  assert.equal(sent[1].body, sent[0].body);
});

test("a silent server is asked once a pass, not once a trial", async () => {
  const { outbox, sent } = desk(() => answer(null));
  for (const id of ["a", "b", "c"]) await outbox.add(trial(id));
  await outbox.drain();
  assert.equal(sent.length, 1);
  assert.equal((await ids(outbox)).length, 3);
});

test("a trial that never gets through does not hold up the others", async () => {
  const { outbox, clock } = desk((record) => (record.id === "a" ? answer(null) : confirmed(record)));
  for (const id of ["a", "b", "c"]) await outbox.add(trial(id));
  await outbox.drain();
  clock.now_ms += 2000;
  await outbox.drain();
  assert.deepEqual(await ids(outbox), ["a"]);
});

test("a refused trial waits for an adult and holds up nothing", async () => {
  const { outbox } = desk((record) => (record.id === "a" ? answer(422) : confirmed(record)));
  for (const id of ["a", "b", "c"]) await outbox.add(trial(id));
  await outbox.drain();
  const [row, ...rest] = await outbox.records();
  assert.deepEqual([row.id, row.state, row.status, rest.length], ["a", "adult", 422, 0]);
});

test("a busy server delays one trial, not the others", async () => {
  const { outbox, clock } = desk((record) => (record.id === "a" ? answer(503) : confirmed(record)));
  await outbox.add(trial("a"));
  await outbox.add(trial("b"));
  await outbox.drain();
  const [row] = await outbox.records();
  assert.deepEqual([row.id, row.state, row.next_ms - clock.now_ms], ["a", "waiting", 2000]);
});

test("after 401 everything is kept, and a new pairing sends it with the new token", async () => {
  const { outbox, sent } = desk((record) => (record.token === "old" ? answer(401) : confirmed(record)));
  await outbox.add(trial("a"));
  await outbox.add(mark("m", "a"));
  await outbox.drain();
  assert.deepEqual(await ids(outbox), ["a", "m"]);
  await outbox.repaired("new");
  assert.deepEqual(await ids(outbox), []);
  assert.equal(sent[sent.length - 1].token, "new");
});

test("a mark never overtakes its trial", async () => {
  const { outbox, sent, clock } = desk(() => answer(503), confirmed);
  await outbox.add(trial("a"));
  await outbox.add(mark("m", "a"));
  await outbox.drain();
  assert.deepEqual(sent.map(({ id }) => id), ["a"]);
  clock.now_ms += 2000;
  await outbox.drain();
  assert.deepEqual(sent.map(({ id }) => id), ["a", "a", "m"]);
});

test("an erased trial goes, with its marks", async () => {
  const { outbox } = desk(() => answer(410));
  await outbox.add(trial("a"));
  await outbox.add(mark("m", "a"));
  await outbox.drain();
  assert.deepEqual(await ids(outbox), []);
});

test("only an adult takes a refused trial off the tablet", async () => {
  const { outbox } = desk(() => answer(409));
  await outbox.add(trial("a"));
  await outbox.drain();
  await outbox.hurry();
  assert.deepEqual(await ids(outbox), ["a"]);
  await outbox.forget("a");
  assert.deepEqual(await ids(outbox), []);
});

test("an adult may have a refused trial tried again", async () => {
  const { outbox } = desk(() => answer(422), confirmed);
  await outbox.add(trial("a"));
  await outbox.drain();
  await outbox.retry("a");
  assert.deepEqual(await ids(outbox), []);
});

test("what a full disk will not take is held in memory and still sent", async () => {
  const { outbox, store, clock } = desk(() => answer(null), confirmed);
  store.change = async () => { throw new Error("full"); };
  assert.equal(await outbox.add(trial("a")), false);
  await outbox.drain();
  assert.deepEqual((await outbox.records()).map(({ saved }) => saved), [false]);
  assert.equal(outbox.unsaved, 1);
  clock.now_ms += 2000;
  await outbox.drain();
  assert.deepEqual(await ids(outbox), []);
});

test("what was taken off while it was written after all does not come back to the disk", async () => {
  const { outbox, store } = desk(() => answer(null));
  const change = store.change.bind(store);
  store.change = async () => { throw new Error("full"); };
  for (const id of ["a", "b", "c"]) await outbox.add(trial(id));
  await outbox.drain();
  let began = false;
  store.change = async (steps) => {
    // The first write is still under way when an adult takes two of them off.
    if (!began) {
      began = true;
      await Promise.all([outbox.forget("a"), outbox.forget("b")]);
    }
    await change(steps);
  };
  await outbox.saveHeld();
  assert.deepEqual((await store.all("outbox")).map(({ id }) => id), ["c"]);
  assert.deepEqual([await ids(outbox), outbox.unsaved], [["c"], 0]);
});

test("what waited is sent by the next page that opens the same store", async () => {
  const first = desk(() => answer(null));
  await first.outbox.add(trial("a"));
  await first.outbox.drain();
  const sent = [];
  const second = new Outbox({
    store: first.store, now: () => first.clock.now_ms,
    send: async (record) => { sent.push(record.body); return confirmed(record); },
  });
  await second.hurry();
  assert.deepEqual(sent, [trial("a").body]);
  assert.deepEqual(await ids(second), []);
});

test("a clock that was set back neither stops the queue nor turns it round", async () => {
  const { outbox, sent, clock } = desk(() => answer(503), confirmed);
  await outbox.add(trial("a"));
  await outbox.drain();
  assert.equal(sent.length, 1);
  await outbox.add(mark("m1", "a"));
  clock.now_ms -= 900_000;
  await outbox.add(mark("m2", "a"));
  await outbox.drain();
  assert.deepEqual(sent.map(({ id }) => id), ["a", "a", "m1", "m2"]);
});
