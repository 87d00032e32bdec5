import assert from "node:assert/strict";
import { test } from "node:test";

import { Children } from "../../web/tablet/children.mjs";
import { stripState } from "../../web/tablet/telling.mjs";
import { pageOf } from "./elements.mjs";

const able = {
  fits: ({ points_mm }) => points_mm[1][0] < 200, touches: 5, pressure: null,
};
const line = (item_id, long_mm, repetitions) => ({
  item_id, repetitions, task: { mode: "trace", name: item_id },
  guide: { points_mm: [[0, 0], [long_mm, 0]], corridor_mm: 12 },
});
const drawn = (attempts) => ({ attempts, counted: attempts });

/** What the list says of one plan, and what the strip says at the end of it. */
async function said(items, counts) {
  const { find } = pageOf("children", {});
  const plan = { plan_id: "plan", session_label: ["boat", "kite"], items };
  const progress = { plan_id: "plan", seq: 0, items: counts, steps: {} };
  const tablet = {
    plans: [plan], day: {}, progressOf: async () => progress, room: async () => "room",
    outbox: { records: async () => [] },
    lasting: true, unsaved: false, losable: false, recovered: 0, persisted: true,
  };
  const screen = { able, scale: { why: null }, warning: () => "" };
  await new Children(find, { tablet, screen, chosen() {} }).show();
  const [{ children: [button, words] }] = find("children-list").children;
  const { title, note } = stripState({ phase: "end", plan, progress, screen, last: null });
  assert.equal(button.getAttribute("aria-label"), `boat and kite: ${words.textContent}`);
  return { list: words.textContent, finished: button.className === "finished", title, note };
}

test("pictures are counted alike in the list and on the strip, not items", async () => {
  const items = [line("swell", 100, 2), line("far", 900, 3), line("farther", 900, 2)];
  const { list, finished, note } = await said(items, { swell: drawn(1) });
  assert.equal(list, "1 picture, 5 pictures not for this tablet");
  assert.equal(note, "5 pictures of the plan not for this tablet");
  assert.equal(finished, false);
});

test("a plan whose pictures were skipped is not said to be drawn", async () => {
  const counts = { swell: { attempts: 0, counted: 2, skipped: true } };
  const { list, finished, title } = await said([line("swell", 100, 2)], counts);
  assert.deepEqual([list, title], ["no picture left", "No picture is left"]);
  assert.equal(finished, true);
});

test("a picture that is not for this tablet is no picture to draw", async () => {
  const { list, finished, note } = await said([line("far", 900, 1)], {});
  assert.equal(list, "no picture left, 1 picture not for this tablet");
  assert.equal(note, "1 picture of the plan not for this tablet");
  assert.equal(finished, true);
});

test("full storage and a newer page: neither is said or loaded wrongly, before and after", async () => {
  const { find } = pageOf("children", {});
  const tablet = {
    plans: [], day: {}, room: async () => (tablet.unsaved ? "full" : "room"),
    outbox: { records: async () => [] },
    lasting: true, unsaved: true, losable: true, recovered: 0, persisted: true,
    save: async () => !tablet.losable,
  };
  const children = new Children(find, { tablet, screen: { able, scale: { why: null } }, chosen() {} });
  const told = () => find("notices").children.map(({ textContent }) => textContent);
  await children.show("No answer.");
  assert.match(told()[1], /^The tablet's storage is full\./);
  let loads = 0;
  children.offerUpdate(() => { loads += 1; });
  const tap = async () => {
    find("update-now").click();
    await new Promise(setImmediate);
  };
  await tap();
  await children.refresh();
  assert.match(find("update-not").textContent, /^Not yet/);
  assert.equal(loads, 0);
  Object.assign(tablet, { unsaved: false, losable: false });
  await children.refresh();
  assert.equal(told()[0], "No answer.");
  assert.ok(!told().some((one) => one.includes("full")));
  assert.equal(find("update-not").textContent, "");
  await tap();
  assert.equal(loads, 1);
});
