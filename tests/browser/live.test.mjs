import assert from "node:assert/strict";
import { test } from "node:test";

import {
  changesOf, NO_ANSWER, Poll, RESTING, sentenceOf, SIGNED_OUT,
} from "../../web/desk/live.mjs";

const row = (id, state, busy = false) => ({ id, state, busy });

test("only what differs is exchanged", () => {
  const changes = changesOf([row("b", "1"), row("a", "1")], [row("c", "1"), row("b", "2"), row("a", "1")]);
  assert.deepEqual(changes.steps, [
    { id: "c", use: "new" }, { id: "b", use: "new" }, { id: "a", use: "old" },
  ]);
  assert.deepEqual(changes.fresh, ["c"]);
  assert.equal(changes.held, false);
});

test("what an adult is just filling in stays, and is asked for again", () => {
  const changes = changesOf([row("a", "1", true)], [row("a", "2")]);
  assert.deepEqual(changes.steps, [{ id: "a", use: "old" }]);
  assert.equal(changes.held, true);
  assert.equal(changesOf([row("a", "1", true)], [row("a", "1")]).held, false);
});

test("what was moved to another session goes", () => {
  const changes = changesOf([row("b", "1"), row("a", "1")], [row("a", "1")]);
  assert.deepEqual(changes.gone, ["b"]);
  assert.deepEqual(changes.fresh, []);
});

test("one short sentence says what has come in", () => {
  assert.equal(sentenceOf([]), "");
  assert.equal(sentenceOf(["Trial 7, Swell"]), "Trial 7, Swell, has come in.");
  assert.equal(sentenceOf(["Trial 8, Swell", "Trial 7, Swell"]), "2 trials have come in.");
});

/** A poll whose clock and answers are set by hand. */
function room(answers, { whole = true } = {}) {
  const made = { asked: [], shown: [], told: [], waiting: null, visible: true, now_ms: 0 };
  made.poll = new Poll({
    ask: async (etag) => {
      made.asked.push(etag);
      return answers.shift() ?? { status: 304, json: null, etag: null };
    },
    show: (json) => {
      made.shown.push(json);
      return whole;
    },
    tell: (sentence) => made.told.push(sentence),
    seen: () => made.visible,
    now_ms: () => made.now_ms,
    after: (then, ms) => {
      assert.equal(ms, 2000);
      made.waiting = then;
      return then;
    },
    drop: (timer) => {
      if (made.waiting === timer) made.waiting = null;
    },
  });
  made.round = async (by_ms = 2000) => {
    made.now_ms += by_ms;
    const then = made.waiting;
    made.waiting = null;
    then?.();
    await new Promise((done) => setImmediate(done));
  };
  made.start = async () => {
    made.poll.wake();
    await new Promise((done) => setImmediate(done));
  };
  return made;
}

const fresh = (etag, json = {}) => ({ status: 200, json, etag });

test("it asks every two seconds with the tag of what is shown", async () => {
  const it = room([fresh("one", { n: 1 })]);
  await it.start();
  await it.round();
  await it.round();
  assert.deepEqual(it.asked, [null, "one", "one"]);
  assert.deepEqual(it.shown, [{ n: 1 }]);
});

test("what had to wait is asked for once more", async () => {
  const it = room([fresh("one"), fresh("one")], { whole: false });
  await it.start();
  await it.round();
  assert.deepEqual(it.asked, [null, null]);
});

test("a hidden page asks nothing, and goes on when it is looked at", async () => {
  const it = room([]);
  await it.start();
  it.visible = false;
  it.poll.sleep();
  assert.equal(it.waiting, null);
  it.poll.wake();
  await it.round();
  assert.equal(it.asked.length, 1);
  it.visible = true;
  await it.start();
  assert.equal(it.asked.length, 2);
});

test("touching the page again and again asks no more often", async () => {
  const it = room([]);
  await it.start();
  for (let count = 0; count < 20; count += 1) await it.start();
  assert.equal(it.asked.length, 1);
});

test("a page that nobody touches rests and says so, until it is touched", async () => {
  const it = room([]);
  await it.start();
  await it.round(9 * 60_000);
  assert.deepEqual(it.told, []);
  await it.round(60_000);
  assert.deepEqual(it.told, [RESTING]);
  assert.equal(it.waiting, null);
  const before = it.asked.length;
  await it.start();
  assert.equal(it.asked.length, before + 1);
  assert.equal(it.told.at(-1), "");
});

test("a trial that comes in keeps it awake", async () => {
  const it = room([]);
  await it.start();
  const answers = [fresh("two")];
  it.poll.ask = async () => answers.shift() ?? { status: 304, json: null, etag: null };
  await it.round(9 * 60_000);
  await it.round(9 * 60_000);
  assert.deepEqual(it.told, []);
});

test("without an answer it says so once, goes on, and takes it back", async () => {
  const lost = { status: null, json: null, etag: null };
  const it = room([lost, lost, { status: 503, json: null, etag: null }]);
  await it.start();
  await it.round();
  await it.round();
  assert.deepEqual(it.told, [NO_ANSWER]);
  await it.round();
  assert.deepEqual(it.told, [NO_ANSWER, ""]);
});

test("a page that may not ask any more stops and says what to do", async () => {
  const it = room([{ status: 404, json: null, etag: null }]);
  await it.start();
  assert.deepEqual(it.told, [SIGNED_OUT]);
  assert.equal(it.waiting, null);
});
