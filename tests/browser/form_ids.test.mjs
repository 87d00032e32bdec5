import assert from "node:assert/strict";
import { test } from "node:test";

import { keep } from "../../web/desk/form_ids.mjs";

/** A page whose forms have the ids given, as a server makes it anew each time. */
function page(ids) {
  const forms = Object.entries(ids).map(([once, id]) => {
    const field = { value: id };
    return { dataset: { once }, field, querySelector: () => field };
  });
  return {
    querySelectorAll: (selector) => (selector === "form[data-once]" ? forms : []),
    ids: () => Object.fromEntries(forms.map((form) => [form.dataset.once, form.field.value])),
  };
}

/** One place in the history of a browser. */
function place(state = null) {
  return { state, replaceState(next) { this.state = structuredClone(next); } };
}

test("a page that is gone back to has the ids it had", () => {
  const here = place();
  const first = page({ words: "a", addendum: "b" });
  keep(first, here);
  assert.deepEqual(first.ids(), { words: "a", addendum: "b" });
  const again = page({ words: "c", addendum: "d" });
  keep(again, here);
  assert.deepEqual(again.ids(), { words: "a", addendum: "b" });
});

test("a page that is come to anew has ids of its own", () => {
  keep(page({ words: "a" }), place());
  const later = page({ words: "c" });
  keep(later, place());
  assert.deepEqual(later.ids(), { words: "c" });
});

test("a form that was not there before keeps its own id, and nothing else of the state is lost", () => {
  const here = place({ scroll: 7 });
  keep(page({ words: "a" }), here);
  const more = page({ words: "c", addendum: "d" });
  keep(more, here);
  assert.deepEqual(more.ids(), { words: "a", addendum: "d" });
  assert.deepEqual(here.state, { scroll: 7, formIds: { words: "a", addendum: "d" } });
});
