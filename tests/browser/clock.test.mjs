import assert from "node:assert/strict";
import { test } from "node:test";

import { offsetOf, wasSet, watchClock } from "../../web/tablet/clock.mjs";
import { MemoryStore } from "../../web/tablet/store.mjs";
import { opened, taking } from "./tablet_room.mjs";

const HOUR_MS = 3_600_000;
const MORNING_MS = Date.parse("2026-03-03T08:00:00Z");

test("the server's time is that of the middle of the journey", () => {
  assert.equal(offsetOf({ time_ms: 5000, json: null }, 1000, 3000), 3000);
  const json = { plans: [{ server_time: "1970-01-01T00:00:07Z" }] };
  assert.equal(offsetOf({ time_ms: null, json }, 1000, 3000), 5000, "an older server says it so");
  for (const none of [null, {}, { plans: [] }]) {
    assert.equal(offsetOf({ time_ms: null, json: none }, 1000, 3000), null);
  }
});

test("a clock was set when the offset is another by more than a journey", () => {
  assert.deepEqual([wasSet(null, 5), wasSet(undefined, 5), wasSet(5, 700), wasSet(5, -2000)],
    [true, true, false, true]);
});

/** A server whose clock is right, and whose plans stay as they are until the evening. */
function serverAt(clock) {
  const expires_at = new Date(MORNING_MS + 12 * HOUR_MS).toISOString();
  const plans = [{ plan_id: "plan", expires_at, items: [] }];
  const more = () => ({ "Linnet-Time": new Date(clock.now_ms).toISOString(), ETag: "W/\"one\"" });
  let asked = 0;
  return (path) => {
    if (path !== "/api/tablet/day") return taking(path);
    asked += 1;
    return asked === 1 ? { status: 200, json: { plans, expires_at }, more: more() }
      : { status: 304, more: more() };
  };
}

for (const [what, wrong_h, then_h] of [
  ["is set wrong in the middle of the day", 0, 20], ["was wrong at pairing and is set right", 26, 0],
]) {
  test(`plans and offset are right again with the next answer when the clock ${what}`, async (context) => {
    context.mock.timers.enable({ apis: ["Date"], now: MORNING_MS + wrong_h * HOUR_MS });
    const clock = { now_ms: MORNING_MS };
    const disk = new MemoryStore();
    const { tablet } = await opened(serverAt(clock), disk);
    await tablet.pair("CODE2345");
    await tablet.fetchDay();
    const seen = () => [tablet.plans.length, tablet.day.clock_offset_ms / HOUR_MS];
    assert.deepEqual(seen(), [1, -wrong_h || 0]);
    context.mock.timers.setTime(MORNING_MS + then_h * HOUR_MS);
    assert.equal((await tablet.fetchDay()).status, 304);
    assert.deepEqual(seen(), [1, -then_h || 0]);
    assert.deepEqual(tablet.day.pack.plans.length, 1);
    // The next page finds it so, without a server.
    const { tablet: next } = await opened(() => ({ status: 503 }), disk);
    assert.deepEqual([next.plans.length, next.day.clock_offset_ms], [1, tablet.day.clock_offset_ms]);
  });
}

test("the plans are not written again for the mere journey of an answer", async (context) => {
  context.mock.timers.enable({ apis: ["Date"], now: MORNING_MS });
  const clock = { now_ms: MORNING_MS };
  const disk = new MemoryStore();
  const { tablet } = await opened(serverAt(clock), disk);
  await tablet.pair("CODE2345");
  await tablet.fetchDay();
  clock.now_ms += 400;
  disk.change = async () => assert.fail("written");
  await tablet.fetchDay();
  assert.deepEqual([tablet.day.clock_offset_ms, tablet.losable], [400, false]);
});

test("a clock that is set is noticed, once, and one that merely goes is not", (context) => {
  context.mock.timers.enable({ apis: ["Date", "setInterval"], now: MORNING_MS });
  let ran_ms = 0;
  context.mock.method(performance, "now", () => ran_ms);
  let told = 0;
  watchClock(() => { told += 1; });
  const pass = (ms) => {
    ran_ms += ms;
    context.mock.timers.tick(ms);
  };
  pass(60_000);
  assert.equal(told, 0);
  ran_ms -= 20 * HOUR_MS;
  pass(5000);
  assert.equal(told, 1, "the clock is twenty hours further than the page");
  pass(60_000);
  assert.equal(told, 1);
});
