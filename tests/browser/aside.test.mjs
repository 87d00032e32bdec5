import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";

import { allAside, forgetAside, setAside } from "../../web/tablet/aside.mjs";

/** The part of localStorage that is used, with room for `most` letters. */
function shelf(most = Infinity) {
  const kept = new Map();
  return {
    get length() { return kept.size; },
    key: (i) => [...kept.keys()][i],
    getItem: (key) => kept.get(key) ?? null,
    removeItem: (key) => kept.delete(key),
    setItem(key, value) {
      if (value.length > most) throw new Error("QuotaExceededError");
      kept.set(key, value);
    },
  };
}

const put = (value) =>
  Object.defineProperty(globalThis, "localStorage", { value, configurable: true, writable: true });

beforeEach(() => put(shelf()));

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
  put(shelf(3));
  assert.equal(setAside({ id: "a", body: "long" }), false);
  put(undefined);
  assert.equal(setAside({ id: "a" }), false);
  assert.deepEqual(allAside(), []);
  forgetAside("a");
});
