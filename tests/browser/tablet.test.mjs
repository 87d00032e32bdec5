import assert from "node:assert/strict";
import { test } from "node:test";

import { opened, silent, taking } from "./tablet_room.mjs";

const CALIBRATION = {
  calibration_id: "card-1", px_per_mm: 5, ratio: 2, made_at: "2026-03-03T09:00:00Z",
};

// Of {"trial_id":"t1"}, by sha256sum of GNU coreutils.
const TRIAL_SHA256 = "52ec5ca27a5d71abfa08ba1087e393dadcc6b34df1b9f64dffaf1c3294af1aed";

/** Wait until everything that was begun is kept and what could be sent was sent. */
async function settled(tablet) {
  await tablet.keepMark("another", { outcome: "finished" });
  await tablet.outbox.drain();
}

test("a calibration is told once, though it was made before pairing and is kept anew", async () => {
  const { tablet, to } = await opened(taking);
  await tablet.keepCalibration(CALIBRATION);
  assert.equal(to("/api/tablet/calibrations").length, 0);
  await tablet.pair("CODE2345");
  await tablet.keepCalibration({ ...CALIBRATION, checked: { landscape: "2026-03-04T09:00:00Z" } });
  await settled(tablet);
  const [told, ...more] = to("/api/tablet/calibrations");
  assert.deepEqual(told.body, {
    id: "card-1", px_per_mm: 5, ratio: 2, made_at: "2026-03-03T09:00:00Z", screen_mm: [236, 164],
  });
  assert.deepEqual([told.token, told.cache, more], ["Bearer tok", "no-store", []]);
  await tablet.keepCalibration({ ...CALIBRATION, calibration_id: "card-2" });
  await settled(tablet);
  assert.deepEqual(to("/api/tablet/calibrations").map(({ body }) => body.id), ["card-1", "card-2"]);
  assert.equal(tablet.calibration.calibration_id, "card-2");
});

test("an observation goes to the tablet's own door", async () => {
  const { tablet, to } = await opened(taking);
  await tablet.pair("CODE2345");
  await tablet.keepObservation("plan", { kind: "rest", minutes: 3 });
  await tablet.outbox.drain();
  const [{ body, method }] = to("/api/tablet/observations");
  assert.match(body.id, /^[0-9a-f-]{36}$/);
  assert.deepEqual({ ...body, id: "", method }, {
    id: "", plan_id: "plan", kind: "rest", minutes: 3, method: "POST",
  });
});

for (const leaving of [false, true]) {
  test(`a trial is kept with its progress, without its journal, leaving: ${leaving}`, async () => {
    const { tablet } = await opened(silent);
    await tablet.pair("CODE2345");
    const journal = tablet.begin({ trial_id: "t1", base: {}, progress: {} });
    const pen = {
      length: 2, rowsFrom: () => ({ names: ["t_ms"], rows: Float64Array.of(1, 2) }), setAside: null,
      facts: { kind: "pen", coalesced: true, touchesIgnored: 0 },
    };
    await journal.write(pen);
    assert.equal((await tablet.store.all("journal"))[0].token, "tok");
    const progress = { plan_id: "plan", seq: 1, items: {} };
    const kept = tablet.keepTrial({ trial_id: "t1" }, { leaving, progress });
    // A timer that comes late must not bring the journal back.
    journal.write(pen);
    assert.equal(await kept, true);
    assert.deepEqual(await tablet.store.all("journal"), []);
    assert.deepEqual(await tablet.progressOf("plan"), progress);
    const [row] = await tablet.store.all("outbox");
    assert.deepEqual([row.id, row.kind, row.body], ["t1", "trial", '{"trial_id":"t1"}']);
    assert.equal(row.sha256, TRIAL_SHA256);
  });
}

test("a late write of a trial does not undo what the plan has come to since", async () => {
  const { tablet } = await opened(silent);
  await tablet.pair("CODE2345");
  const kept = tablet.keepTrial({ trial_id: "t1" }, { progress: { plan_id: "plan", seq: 1 } });
  assert.equal((await tablet.progressOf("plan")).seq, 1, "known before it is on disk");
  const further = { plan_id: "plan", seq: 1, rest_ms: 5 };
  await tablet.keepProgress(further);
  await kept;
  assert.deepEqual(await tablet.progressOf("plan"), further);
  assert.deepEqual(await tablet.store.all("progress"), [further]);
});

test("no number is given twice when the disk does not take how far a plan has come", async () => {
  const { tablet } = await opened(silent);
  await tablet.pair("CODE2345");
  tablet.store.change = async () => { throw new Error("full"); };
  await tablet.keepTrial({ trial_id: "t1" }, { progress: { plan_id: "plan", seq: 1, items: {} } });
  assert.equal((await tablet.progressOf("plan")).seq, 1);
});

test("plans of an earlier pairing that come late are not taken", async () => {
  const { tablet } = await opened(silent);
  await tablet.pair("CODE2345");
  let give;
  globalThis.fetch = () => new Promise((resolve) => { give = resolve; });
  const asked = tablet.fetchDay();
  await new Promise((resolve) => { setTimeout(resolve, 0); });
  tablet.pairing = { token: "new", tablet_id: "tab" };
  give(new Response(JSON.stringify({ plans: [{ plan_id: "old" }] }), {
    status: 200, headers: { "Content-Type": "application/json" },
  }));
  assert.equal((await asked).status, 200);
  assert.equal(tablet.day, null);
});

test("plans that are asked for while they are on their way are fetched once", async () => {
  const { tablet } = await opened(silent);
  await tablet.pair("CODE2345");
  let asked = 0;
  globalThis.fetch = async () => {
    asked += 1;
    return new Response(JSON.stringify({ plans: [] }), {
      status: 200, headers: { "Content-Type": "application/json" },
    });
  };
  const [one, other] = await Promise.all([tablet.fetchDay(), tablet.fetchDay()]);
  assert.equal(one, other);
  assert.equal(asked, 1);
  await tablet.fetchDay();
  assert.equal(asked, 2);
});

test("a trial without room leaves its journal, and the plan goes on all the same", async () => {
  const { tablet } = await opened(silent);
  await tablet.pair("CODE2345");
  const journal = tablet.begin({ trial_id: "t1", base: {}, progress: {} });
  await journal.write({
    length: 1, rowsFrom: () => ({ names: ["t_ms"], rows: Float64Array.of(1) }), facts: {}, setAside: null,
  });
  const change = tablet.store.change.bind(tablet.store);
  tablet.store.change = async (steps, ...more) => {
    if (steps.some(({ store }) => store === "outbox")) throw new Error("full");
    return change(steps, ...more);
  };
  const progress = { plan_id: "plan", seq: 1 };
  assert.equal(await tablet.keepTrial({ trial_id: "t1" }, { progress }), false);
  assert.deepEqual([tablet.unsaved, await tablet.room()], [true, "full"]);
  assert.deepEqual(await tablet.progressOf("plan"), progress);
  assert.equal((await tablet.store.all("journal")).length, 2);
  tablet.store.change = change;
  await tablet.outbox.drain();
  assert.deepEqual([tablet.unsaved, await tablet.room()], [false, "room"]);
  assert.deepEqual(await tablet.store.all("journal"), []);
});

for (const leaving of [false, true]) {
  test(`a mark never goes before its trial, whatever takes longer, leaving: ${leaving}`, async () => {
    const { tablet, sent } = await opened((path, body) =>
      (path.startsWith("/api/trials/t1") && !path.endsWith("marks")
        ? { status: 201, json: { sha256: TRIAL_SHA256 } } : taking(path, body)));
    await tablet.pair("CODE2345");
    const change = tablet.store.change.bind(tablet.store);
    tablet.store.change = async (steps, ...more) => {
      const slow = steps.some(({ put }) => put?.kind === "trial");
      await new Promise((resolve) => { setTimeout(resolve, slow ? 40 : 0); });
      return change(steps, ...more);
    };
    tablet.keepTrial({ trial_id: "t1" }, { leaving });
    await tablet.keepMark("t1", { outcome: "finished" });
    await tablet.outbox.drain();
    assert.deepEqual(
      sent.slice(1).map(({ path }) => path), ["/api/trials/t1", "/api/trials/t1/marks"]);
  });
}

test("how the tablet lay is kept for each pair of pictures", async () => {
  const { tablet } = await opened(taking);
  assert.equal(tablet.lastSetup(["boat", "kite"]), null);
  await tablet.keepSetup(["boat", "kite"], { tablet_at: "left", surface: "flat" });
  await tablet.keepSetup(["kite", "boat"], { tablet_at: "centred", surface: "sloped" });
  assert.deepEqual(tablet.lastSetup(["boat", "kite"]), { tablet_at: "left", surface: "flat" });
  assert.equal(tablet.unsaved, false);
});
