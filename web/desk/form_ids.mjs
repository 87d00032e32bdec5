/**
 * Keeps the ids of forms with the page's place in the browser's history.
 *
 * Whoever goes back gets the page anew, with their words still in its forms: under its old id
 * what is sent once more is stored once. Without this file it would be stored twice.
 */

/** Give each form that asks for it the id it had here before, or remember the one it has. */
export function keep(page, history) {
  const kept = { ...history.state?.formIds };
  for (const form of page.querySelectorAll("form[data-once]")) {
    const field = form.querySelector("input[name=id]");
    field.value = kept[form.dataset.once] ??= field.value;
  }
  history.replaceState({ ...history.state, formIds: kept }, "");
}

if (globalThis.document !== undefined) keep(document, history);
