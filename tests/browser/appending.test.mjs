import assert from "node:assert/strict";
import { mock, test } from "node:test";

import { Appending } from "../../web/tablet/appending.mjs";
import { MemoryStore } from "../../web/tablet/store.mjs";

const row = (part) => ({ trial_id: "t1", part, names: ["t_ms"], rows: Float64Array.of(part) });

/** A thread that does what the test says. */
function threadOf() {
  const thread = { asked: [], postMessage: (message) => thread.asked.push(message), terminate: mock.fn() };
  return thread;
}

test("a part is handed to the thread and is written when the thread says so", async () => {
  const store = new MemoryStore();
  const thread = threadOf();
  const appending = new Appending(store, () => thread);
  const [first, second] = [appending.append(row(1)), appending.append(row(2))];
  assert.deepEqual(thread.asked.map((message) => message.row.part), [1, 2]);
  thread.onmessage({ data: { number: thread.asked[1].number, written: false } });
  thread.onmessage({ data: { number: thread.asked[0].number, written: true } });
  await first;
  await assert.rejects(second);
  assert.deepEqual(await store.all("journal"), []);
});

test("where there can be no thread, or it fails, the page writes by itself", async () => {
  const store = new MemoryStore();
  const none = new Appending(store, () => { throw new Error("no threads here"); });
  await none.append(row(1));
  const thread = threadOf();
  const failing = new Appending(store, () => thread);
  const lost = failing.append(row(2));
  thread.onerror();
  await assert.rejects(lost);
  await failing.append(row(2));
  assert.equal(thread.terminate.mock.callCount(), 1);
  assert.deepEqual((await store.all("journal")).map(({ part }) => part), [1, 2]);
});

test("a thread that does not answer is given up", async (t) => {
  t.mock.timers.enable({ apis: ["setTimeout"] });
  const store = new MemoryStore();
  const thread = threadOf();
  const appending = new Appending(store, () => thread);
  const lost = appending.append(row(1));
  t.mock.timers.tick(60_000);
  await assert.rejects(lost);
  await appending.append(row(1));
  assert.equal((await store.all("journal")).length, 1);
});
