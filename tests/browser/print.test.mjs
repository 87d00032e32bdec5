import assert from "node:assert/strict";
import { test } from "node:test";

import { offerPrinting } from "../../web/desk/print.mjs";

class Button extends EventTarget {
  hidden = true;
}

test("buttons that print appear, and print once for each press", () => {
  const button = new Button();
  const asked = [];
  const page = {
    querySelectorAll: (selector) => {
      asked.push(selector);
      return [button];
    },
  };
  let printed = 0;
  offerPrinting(page, () => { printed += 1; });
  assert.deepEqual(asked, ["button[data-print]"]);
  assert.equal(button.hidden, false);
  assert.equal(printed, 0);
  button.dispatchEvent(new Event("click"));
  button.dispatchEvent(new Event("click"));
  assert.equal(printed, 2);
});
