/** Chips of the adult's screens: large buttons that stay pressed. */

import { element } from "./signs.mjs";

/** A page element with properties and children. */
export function html(name, properties = {}, children = []) {
  const made = Object.assign(document.createElement(name), properties);
  made.append(...children);
  return made;
}

/** Whether this page has such a drawing. */
export const isDrawn = (name) => document.getElementById(`sign-${name}`) !== null;

/** A child's drawing on its own, or the word where this page has no such drawing. */
export function sign(name) {
  if (!isDrawn(name)) return html("span", { textContent: name });
  return element("svg", { viewBox: "0 0 48 48", "aria-hidden": "true" }, [
    element("use", { href: `#sign-${name}` }),
  ]);
}

export function chip(textContent, press) {
  const made = html("button", { type: "button", className: "chip", textContent });
  made.setAttribute("aria-pressed", "false");
  made.addEventListener("click", press);
  return made;
}

export const pressed = (button) => button.getAttribute("aria-pressed") === "true";
export const setPressed = (button, on) => button.setAttribute("aria-pressed", String(on));

const LONGEST_LINE = 120;

/** A line without anything that is not text: the server takes no more than that. */
export const lineOf = (text) =>
  text.replace(/[\u0000-\u001f\u007f]+/g, " ").trim().slice(0, LONGEST_LINE);

/** Reasons to choose from; "other" opens a line for a few words. */
export class Reasons {
  #chosen = null;
  #buttons = new Map();
  #line = html("input", { type: "text", className: "words", maxLength: LONGEST_LINE });
  #words;

  /**
   * @param {HTMLElement} root  where they are put
   * @param {[string, string][]} reasons  what is kept, and what is read on the chip
   * @param {(why: string) => void} [at_once]  told the reason when it is chosen; without it
   *   the reason only stays pressed
   */
  constructor(root, reasons, at_once = null) {
    for (const [why, label] of [...reasons, ["other", "Other"]]) {
      const button = chip(label, () => this.#choose(why, at_once));
      button.dataset[at_once ? "because" : "why"] = why;
      this.#buttons.set(why, button);
    }
    this.#line.autocomplete = "off";
    const label = html("label", { textContent: "In a few words, without names" }, [this.#line]);
    this.#words = html("div", { className: "row other", hidden: true }, [label]);
    if (at_once) {
      this.#words.append(html("button", {
        type: "button", textContent: "Keep", onclick: () => at_once(this.why),
      }));
    }
    root.append(html("div", { className: "row" }, [...this.#buttons.values()]), this.#words);
  }

  /** The reason that is chosen, in words, or null. */
  get why() {
    return this.#chosen === "other" ? lineOf(this.#line.value) || "other" : this.#chosen;
  }

  reset() {
    this.#line.value = "";
    this.#press(null);
  }

  #choose(why, at_once) {
    this.#press(this.#chosen === why && !at_once ? null : why);
    if (why === "other") this.#askWords();
    else at_once?.(why);
  }

  #askWords() {
    this.#line.focus();
    this.#words.scrollIntoView({ block: "nearest" });
  }

  #press(why) {
    this.#chosen = why;
    for (const [name, button] of this.#buttons) setPressed(button, name === why);
    this.#words.hidden = why !== "other";
  }
}
