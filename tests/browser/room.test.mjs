import assert from "node:assert/strict";
import { test } from "node:test";

import { learned, unknownAbilities } from "../../web/tablet/abilities.mjs";
import { aloneHere } from "../../web/tablet/only.mjs";
import { Room } from "../../web/tablet/room.mjs";
import { MemoryStore } from "../../web/tablet/store.mjs";

const sizeOf = (row) => row.bytes?.byteLength ?? row.body?.length ?? 0;

/** A store with so many bytes; whole changes are refused, as a browser does. */
function disk(capacity) {
  const store = new MemoryStore();
  const change = store.change.bind(store);
  store.capacity = capacity;
  store.used = async () => (await Promise.all(["outbox", "reserve"].map((name) => store.all(name))))
    .flat().reduce((sum, row) => sum + sizeOf(row), 0);
  store.change = async (steps) => {
    const more = steps.reduce((sum, { put }) => sum + (put ? sizeOf(put) : 0), 0);
    if (await store.used() + more > store.capacity) throw new Error("QuotaExceededError");
    return change(steps);
  };
  return store;
}

const trial = (id, size) => [{ store: "outbox", put: { id, body: "x".repeat(size) } }];
const MB = 1024 * 1024;

test("where there is room the reserve is laid, once, and cannot be packed", async () => {
  const store = disk(10 * MB);
  const room = new Room(store);
  assert.deepEqual(await Promise.all([room.state(), room.state()]), ["room", "room"]);
  assert.equal(await store.used(), 4 * MB);
  const [{ bytes }] = await store.all("reserve");
  assert.ok(new Set(bytes.subarray(4 * MB - 4096)).size > 200);
});

test("a trial without room gets the reserve's; the next is told before it begins", async () => {
  const store = disk(5 * MB);
  const room = new Room(store);
  assert.equal(await room.state(), "room");
  await room.write(trial("a", 2 * MB));
  assert.deepEqual((await store.all("outbox")).map(({ id }) => id), ["a"]);
  assert.equal(await room.state(), "full");
  await store.change([{ store: "outbox", remove: "a" }]);
  assert.equal(await room.state(), "room");
});

test("a trial with room leaves the reserve where it is", async () => {
  const store = disk(10 * MB);
  const room = new Room(store);
  await room.state();
  await room.write(trial("a", MB));
  assert.equal((await store.all("reserve")).length, 1);
});

test("what has no room even so is refused", async () => {
  const store = disk(5 * MB);
  const room = new Room(store);
  await room.state();
  await assert.rejects(room.write(trial("a", 6 * MB)), /Quota/);
});

test("a reserve that lies there from before counts", async () => {
  const store = disk(4.5 * MB);
  assert.equal(await new Room(store).state(), "room");
  assert.equal(await new Room(store).state(), "room");
});

/** Locks as the standard has them, for one name. */
function lockManager() {
  let held = Promise.resolve();
  let free = true;
  return {
    request(_, { signal }, run) {
      const before = held;
      const wait = free ? before : Promise.race([before, new Promise((_resolve, reject) => {
        signal.addEventListener("abort", () => reject(new Error("AbortError")));
      })]);
      free = false;
      const mine = wait.then(run);
      held = mine;
      return mine;
    },
  };
}

test("the first page holds the lock and the second is told", async () => {
  const locks = lockManager();
  assert.deepEqual([await aloneHere({ locks }), await aloneHere({ locks })], [true, false]);
});

/** Run with channels that are all closed in the end: an open one keeps the test alive. */
async function withChannels(run) {
  const opened = [];
  class Channel extends BroadcastChannel {
    constructor(name) {
      super(name);
      opened.push(this);
    }
  }
  const close = () => opened.forEach((channel) => channel.close());
  try {
    await run(() => aloneHere({ locks: null, Channel }), close);
  } finally {
    close();
  }
}

test("without locks the pages ask each other", () => withChannels(async (ask, close) => {
  assert.deepEqual([await ask(), await ask()], [true, false]);
  close();
  assert.equal(await ask(), true);
}));

test("of pages that open at the same moment exactly one stays", () => withChannels(async (ask) => {
  const answers = await Promise.all(Array.from({ length: 5 }, ask));
  assert.deepEqual(answers.filter(Boolean), [true]);
}));

test("a browser without either lets the page go on", async () => {
  assert.equal(await aloneHere({ locks: null, Channel: null }), true);
});

const penWith = (pressure, kind = "pen") => ({ kind, columns: { pressure } });
const repeated = (count, value) => Array.from({ length: count }, (_, i) => value(i));

test("a pen's pressure is learned from what it gave", () => {
  const sensing = penWith([...repeated(40, (i) => 0.2 + i / 100), null]);
  const constant = penWith([1, ...repeated(40, () => 0), null]);
  const half = penWith(repeated(40, () => 0.5));
  assert.deepEqual(learned(unknownAbilities(), sensing), { pressure: true });
  assert.deepEqual(learned(unknownAbilities(), constant), { pressure: false });
  assert.deepEqual(learned(unknownAbilities(), half), { pressure: false });
  assert.deepEqual(learned({ pressure: true }, constant), { pressure: false });
});

test("a finger, a mouse and a mere tap tell nothing of pressure", () => {
  for (const known of [{ pressure: null }, { pressure: true }]) {
    assert.equal(learned(known, penWith(repeated(40, () => null), "touch")), known);
    assert.equal(learned(known, penWith(repeated(40, () => 0.5), "mouse")), known);
    assert.equal(learned(known, penWith([0.1, 0.2, 0.3, null])), known);
    const taps = repeated(30, (i) => (i % 2 ? NaN : 0.5));
    assert.equal(learned(known, penWith(taps)), known, "a lift is no reading");
  }
});
