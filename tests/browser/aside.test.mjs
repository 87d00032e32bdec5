import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";

import { allAside, forgetAside, setAside } from "../../web/tablet/aside.mjs";
import { putShelf, shelf } from "./shelf.mjs";

beforeEach(() => putShelf(shelf()));

test("what is set aside is found by the next page, until it is in the database", () => {
  assert.equal(setAside({ id: "a", body: "{}" }), true);
  setAside({ id: "b", body: "[]" });
  assert.deepEqual(allAside(), [{ id: "a", body: "{}" }, { id: "b", body: "[]" }]);
  forgetAside("a");
  assert.deepEqual(allAside(), [{ id: "b", body: "[]" }]);
});

test("other people's keys are not ours, and half a text is passed over", () => {
  localStorage.setItem("other", "1");
  localStorage.setItem("linnet-left-x", "{\"id\": \"x");
  setAside({ id: "a" });
  assert.deepEqual(allAside(), [{ id: "a" }]);
});

test("without room or without storage nothing is set aside and nothing breaks", () => {
  putShelf(shelf(3));
  assert.equal(setAside({ id: "a", body: "long" }), false);
  putShelf(undefined);
  assert.equal(setAside({ id: "a" }), false);
  assert.deepEqual(allAside(), []);
  forgetAside("a");
});

test("a trial comes before what belongs to it, and the older before the newer", (context) => {
  context.mock.timers.enable({ apis: ["Date"], now: 1000 });
  for (const [id, kind] of [["z", "mark"], ["m", "mark"], ["t", "trial"], ["a", "trial"]]) {
    setAside({ id, kind });
    context.mock.timers.tick(5);
  }
  assert.deepEqual(allAside().map(({ id }) => id), ["t", "a", "z", "m"]);
});
