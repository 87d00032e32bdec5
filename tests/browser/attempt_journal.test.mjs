import assert from "node:assert/strict";
import { mock, test } from "node:test";

import { JOURNAL_MS } from "../../web/tablet/attempt.mjs";
import { begin } from "./attempting.mjs";

const journalling = () => ({ write: mock.fn(), drop: mock.fn() });

test("the journal is written now and then while drawing and after a lift, never in a move", (t) => {
  const journal = journalling();
  const { attempt, down, move, up, wait } = begin(t, { journal });
  const written = () => journal.write.mock.callCount();
  wait(10 * JOURNAL_MS);
  assert.equal(written(), 0);
  down(10);
  for (let x = 11; x < 100; x += 1) move(x);
  assert.equal(written(), 0);
  wait(3 * JOURNAL_MS);
  assert.equal(written(), 3);
  up(40);
  assert.equal(written(), 3);
  wait(0);
  assert.equal(written(), 4);
  wait(10 * JOURNAL_MS);
  assert.equal(written(), 4, "nothing comes while the pen is up");
  assert.deepEqual(journal.write.mock.calls[0].arguments, [attempt.pen, attempt.marks]);
});

test("a pause is written down too", (t) => {
  const journal = journalling();
  const { attempt, down, wait } = begin(t, { journal });
  down(10);
  attempt.note("strip_opened");
  attempt.pause();
  wait(0);
  assert.equal(journal.write.mock.callCount(), 1);
  assert.equal(journal.write.mock.calls[0].arguments[1][0].kind, "strip_opened");
});

test("an end writes nothing more and leaves the journal to the trial", (t) => {
  const journal = journalling();
  const { attempt, draw, wait, ended } = begin(t, { journal, show: { idle_end_s: 1 } });
  draw(10, 40);
  attempt.end("left_page");
  attempt.drop();
  wait(60_000);
  assert.deepEqual([journal.write.mock.callCount(), journal.drop.mock.callCount()], [0, 0]);
  assert.deepEqual(ended, ["left_page"]);
});

test("a drop ends nothing, stops everything and takes the journal along", (t) => {
  const journal = journalling();
  const { attempt, surface, draw, wait, ended } = begin(t, { journal, show: { idle_end_s: 1 } });
  draw(10, 110);
  attempt.drop();
  wait(60_000);
  assert.deepEqual([journal.write.mock.callCount(), journal.drop.mock.callCount()], [0, 1]);
  assert.deepEqual(ended, []);
  assert.equal(surface.handlers.size, 0);
});

test("a drop before the first contact has no journal to take along", (t) => {
  const journal = journalling();
  const { attempt } = begin(t, { journal });
  attempt.drop();
  assert.equal(journal.drop.mock.callCount(), 0);
});
