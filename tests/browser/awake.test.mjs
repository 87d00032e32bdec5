import assert from "node:assert/strict";
import { test } from "node:test";

import { Awake } from "../../web/tablet/awake.mjs";

/** A browser with wake locks; `held` are those that were not given back. */
function browser() {
  const held = new Set();
  const heard = [];
  globalThis.document = { hidden: false, addEventListener: (_, hear) => heard.push(hear) };
  const request = async () => {
    const lock = { released: false, release: async () => { lock.released = true; held.delete(lock); } };
    held.add(lock);
    return lock;
  };
  Object.defineProperty(globalThis, "navigator", {
    value: { wakeLock: { request } }, configurable: true,
  });
  return { held, turn: () => heard.forEach((hear) => hear()) };
}

test("one lock is held however often it is asked for, and none is left behind", async () => {
  const { held, turn } = browser();
  const awake = new Awake();
  const asked = [awake.hold(), awake.hold()];
  turn();
  await Promise.all(asked);
  assert.equal(held.size, 1);
  await awake.release();
  assert.equal(held.size, 0);
});

test("who comes at once after the last is kept awake as well", async () => {
  const { held } = browser();
  const awake = new Awake();
  await awake.hold();
  await Promise.all([awake.release(), awake.hold()]);
  assert.equal([...held].filter(({ released }) => !released).length, 1);
});
