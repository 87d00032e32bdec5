/** Shows a choice at once; without this file the button beside it does. */

for (const form of document.querySelectorAll("form[data-choose]")) {
  form.querySelector("button").hidden = true;
  form.addEventListener("change", () => form.requestSubmit());
}
