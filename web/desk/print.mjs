/** Buttons that print the page; without this file they are not there, and the browser's own does it. */

/**
 * Bring forth the buttons of a page that print it.
 * @param {ParentNode} page - where they are looked for
 * @param {() => void} print - prints
 */
export function offerPrinting(page, print) {
  for (const button of page.querySelectorAll("button[data-print]")) {
    button.hidden = false;
    button.addEventListener("click", () => print());
  }
}

if (typeof document !== "undefined") offerPrinting(document, () => window.print());
