import assert from "node:assert/strict";
import { test } from "node:test";

const nothing = () => {};
const moment = () => new Promise((resolve) => { setTimeout(resolve, 0); });

/** A page element that takes everything and remembers what it hears. */
function element() {
  const heard = [];
  const made = {
    heard, dataset: {}, style: {}, children: [], hidden: false, disabled: false,
    classList: { toggle: nothing, add: nothing, remove: nothing },
    addEventListener: (name, hear) => heard.push([name, hear]),
    replaceChildren: (...children) => { made.children = children; },
    append: (...children) => made.children.push(...children),
    querySelector: () => element(), querySelectorAll: () => [],
    setAttribute: nothing, getAttribute: () => null, focus: nothing, blur: nothing,
    scrollIntoView: nothing, select: nothing, getContext: () => new Proxy({}, {
      get: () => nothing, set: () => true,
    }),
    fire(name) {
      for (const [, hear] of heard.filter(([one]) => one === name)) {
        hear({ target: made, preventDefault: nothing });
      }
    },
  };
  return made;
}

const plan = {
  plan_id: "plan", version: 1, session_label: ["boat", "kite"],
  items: [{
    item_id: "a", state: "open", repetitions: 1, task: { mode: "trace", name: "Swell" },
    guide: { points_mm: [[10, 50], [110, 50]], corridor_mm: 12 }, condition: {}, show: {},
  }],
};
const ANSWERS = {
  "/api/pair": { token: "tok", tablet_id: "tab" }, "/api/tablet/day": { plans: [plan] },
};

// Pages by the number of times that they were opened, and what became of the drawings.
let pages = 0;
let drawings = () => new Response("<svg/>");

const ids = new Map();
const find = (id) => ids.get(id) ?? ids.set(id, element()).get(id);
const shown = () => ["start", "pair", "calibrate", "children", "setup", "draw"]
  .filter((id) => !find(id).hidden);

/** The whole page, as far as the children. */
async function opened() {
  ids.clear();
  pages += 1;
  Object.assign(globalThis, {
    BroadcastChannel: undefined, addEventListener: nothing, scrollTo: nothing,
    history: { state: null, pushState: nothing },
    innerWidth: 1180, innerHeight: 820, devicePixelRatio: 2, location: { hash: "" },
    matchMedia: () => ({ matches: false, addEventListener: nothing }),
    requestAnimationFrame: nothing, cancelAnimationFrame: nothing, PointerEvent: class {},
    DOMParser: class { parseFromString = () => ({ documentElement: null }); },
    document: {
      hidden: false, activeElement: null, addEventListener: nothing, importNode: nothing,
      getElementById: (id) => (id.startsWith("sign-") ? null : find(id)),
      createElement: element, createElementNS: element,
    },
    fetch: async (path) => (path.endsWith(".svg") ? drawings() : new Response(JSON.stringify(ANSWERS[path] ?? {}), {
      status: 200, headers: { "Content-Type": "application/json" },
    })),
  });
  Object.defineProperty(globalThis, "navigator", { value: {}, configurable: true });
  await import(`../../web/tablet/page.mjs?${pages}`);
  await until("pair");
  find("pair-code").value = "ABCD2345";
  find("pair-form").fire("submit");
  await until("calibrate");
  find("card-skip").fire("click");
  await until("children");
}

async function until(id) {
  for (let tries = 0; tries < 200 && shown()[0] !== id; tries += 1) await moment();
  assert.deepEqual(shown(), [id]);
}

async function chooseFirst() {
  await until("children");
  const [{ children: [button] }] = find("children-list").children;
  button.onclick();
  return button;
}

test("of two taps at once one counts, and no screen comes late over another", async () => {
  await opened();
  await chooseFirst();
  await until("setup");
  find("setup-back").fire("click");
  find("setup-skip").fire("click");
  await until("draw");
  for (let i = 0; i < 20; i += 1) await moment();
  assert.deepEqual(shown(), ["draw"], "the way back came late");
});

for (const [what, fetched] of [
  ["cannot be fetched", async () => { throw new TypeError("no network"); }],
  ["are missing", () => new Response("<h1>Not found</h1>", { status: 404 })],
]) {
  test(`without its drawings, which ${what}, the page opens with words in their place`, async () => {
    drawings = fetched;
    await opened();
    const button = await chooseFirst();
    assert.deepEqual(button.children.map(({ textContent }) => textContent), ["boat", "kite"]);
    await until("setup");
  });
}

test("drawings that never come do not hold up the page", async (context) => {
  drawings = () => new Promise(() => {});
  const waits_ms = [];
  const later = globalThis.setTimeout;
  context.mock.method(globalThis, "setTimeout", (run, wait_ms) => {
    waits_ms.push(wait_ms);
    return later(run, wait_ms === 3000 ? 0 : wait_ms);
  });
  await opened();
  assert.ok(waits_ms.includes(3000));
  assert.deepEqual(shown(), ["children"]);
});
