/** Copies the stored text of a note with one button; without this file the link beside it shows it. */

const DONE = "Copied";
const FAILED = "It could not be copied. Open it as text and copy it from there.";

/**
 * @param {{textContent: string}} source what is copied
 * @param {{writeText: (text: string) => Promise<void>}} clipboard
 * @returns {Promise<string>} what is to be said
 */
export async function copied(source, clipboard) {
  try {
    await clipboard.writeText(source.textContent);
    return DONE;
  } catch {
    return FAILED;
  }
}

/** Put a button before each link that says which element it copies. */
export function equip(page, clipboard) {
  // Without a secure address a browser gives no clipboard: then the link is enough.
  if (!clipboard) return;
  for (const link of page.querySelectorAll("[data-copy]")) {
    const source = page.getElementById(link.dataset.copy);
    const button = page.createElement("button");
    const told = page.createElement("span");
    button.type = "button";
    button.className = "quiet";
    button.textContent = "Copy as text";
    told.setAttribute("role", "status");
    button.addEventListener("click", async () => {
      told.textContent = await copied(source, clipboard);
    });
    link.before(button, told);
  }
}

if (globalThis.document) equip(document, navigator.clipboard);
