import assert from "node:assert/strict";
import { test } from "node:test";

import { copied, equip } from "../../web/desk/copy.mjs";

/** A page with one link that says what it copies, and what was put before it. */
function page() {
  const put = [];
  const link = { dataset: { copy: "stored" }, before: (...elements) => put.push(...elements) };
  const stored = { textContent: "Note: Gull\nEven." };
  return {
    put,
    querySelectorAll: (selector) => (selector === "[data-copy]" ? [link] : []),
    getElementById: (id) => (id === "stored" ? stored : null),
    createElement: (name) => {
      const heard = new Map();
      return {
        name,
        attributes: new Map(),
        textContent: "",
        setAttribute(key, value) { this.attributes.set(key, value); },
        addEventListener: (event, hear) => heard.set(event, hear),
        click: () => heard.get("click")(),
      };
    },
  };
}

test("one press copies the whole text and says so where a screen reader hears it", async () => {
  const copies = [];
  const here = page();
  equip(here, { writeText: async (text) => { copies.push(text); } });
  const [button, told] = here.put;
  assert.equal(button.name, "button");
  assert.equal(button.type, "button");
  assert.equal(told.attributes.get("role"), "status");
  assert.equal(told.textContent, "");
  await button.click();
  assert.deepEqual(copies, ["Note: Gull\nEven."]);
  assert.equal(told.textContent, "Copied");
});

test("what could not be copied is not said to be", async () => {
  const refusing = { writeText: async () => { throw new Error("not allowed"); } };
  const said = await copied({ textContent: "x" }, refusing);
  assert.match(said, /could not be copied/);
});

test("without a clipboard there is no button that does nothing", () => {
  const here = page();
  equip(here, undefined);
  assert.deepEqual(here.put, []);
});
