import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";

import { takeOver } from "../../web/tablet/installing.mjs";
import { askBeforeLeaving, stayOnBack, withoutLoss } from "../../web/tablet/staying.mjs";
import { MemoryStore } from "../../web/tablet/store.mjs";
import { Tablet } from "../../web/tablet/tablet.mjs";
import { hearing, opened, refuse } from "./tablet_room.mjs";

let heard = new Map();
const fire = (name, event = {}) => (heard.get(name) ?? []).forEach((hear) => hear(event));

/** A history as browsers keep it: going is told afterwards, adding cuts off what lay ahead. */
class History {
  entries = [null];
  at = 0;
  get state() { return this.entries[this.at]; }
  pushState(state) {
    this.entries.splice(this.at + 1, Infinity, state);
    this.at += 1;
  }
  go(by) {
    if (!(this.at + by in this.entries)) return;
    this.at += by;
    fire("popstate", { state: this.state });
  }
  forward() { this.go(1); }
}

beforeEach(() => {
  heard = new Map();
  globalThis.history = new History();
  globalThis.addEventListener = (name, hear) => heard.set(name, [...(heard.get(name) ?? []), hear]);
});

test("back leads nowhere while a child sits here, however often, and adds nothing", () => {
  let sitting = false;
  const stay = stayOnBack(() => sitting);
  for (let child = 0; child < 3; child += 1) {
    sitting = true;
    stay();
    for (let i = 0; i < 3; i += 1) {
      history.go(-1);
      assert.deepEqual([history.at, history.entries.length], [1, 2]);
    }
    sitting = false;
  }
  history.go(-1);
  assert.equal(history.at, 0, "an adult goes back as ever");
});

test("an entry that an earlier load of the page left is not taken for this one's", () => {
  history.pushState({ linnet: "another" });
  stayOnBack(() => true)();
  assert.equal(history.at, 2);
  history.go(-1);
  assert.equal(history.at, 2);
});

/** A tablet with a line that found no room. */
async function full() {
  const disk = new MemoryStore();
  const { tablet } = await opened((path, body) =>
    (path.startsWith("/api/trials") ? { status: 503 } : hearing(path, body)), disk);
  await tablet.pair("CODE2345");
  const again = refuse(disk, "outbox");
  await tablet.keepTrial({ trial_id: "t1" });
  return { tablet, again };
}

test("no new page comes in the place of one that alone holds a line; it is said why", async () => {
  const { tablet, again } = await full();
  const told = { textContent: "" };
  let loads = 0;
  const tap = () => withoutLoss(tablet, told, () => { loads += 1; });
  await tap();
  assert.deepEqual([loads, /could not save/.test(told.textContent)], [0, true]);
  again();
  await tap();
  assert.deepEqual([loads, told.textContent], [1, ""]);
});

test("a page that was never opened may be loaded again", async () => {
  let loads = 0;
  await withoutLoss(new Tablet(() => {}), {}, () => { loads += 1; });
  assert.equal(loads, 1);
});

test("the browser asks before the page goes only while something would be lost", async () => {
  let tablet = null;
  askBeforeLeaving(() => tablet?.losable === true);
  const { again, ...there } = await full();
  tablet = there.tablet;
  const asks = () => {
    let asked = false;
    fire("beforeunload", { preventDefault: () => { asked = true; } });
    return asked;
  };
  assert.equal(asks(), true);
  again();
  await tablet.save();
  assert.equal(asks(), false);
});

/** A browser with a newer version that waits. */
function withWaiting() {
  const state = { loads: 0, told: [] };
  const registration = { waiting: { postMessage: (what) => state.told.push(what) } };
  const container = {
    getRegistration: async () => registration,
    addEventListener: (name, hear) => { state[name] = hear; },
  };
  Object.defineProperty(globalThis, "navigator", {
    value: { serviceWorker: container }, configurable: true,
  });
  globalThis.location = { reload: () => { state.loads += 1; } };
  return { state, registration };
}

test("a newer version takes over, and the page is loaded only if it may be then", async () => {
  const { state, registration } = withWaiting();
  let may = true;
  await takeOver(() => may);
  assert.deepEqual([state.told, state.loads], [["take_over"], 0]);
  may = false;
  state.controllerchange();
  assert.equal(state.loads, 0, "a child had been chosen meanwhile");
  may = true;
  registration.waiting = null;
  await takeOver(() => may);
  assert.equal(state.loads, 1, "the next tap loads it");
});
