/** What an adult may tick of what was seen in a try. */

import { chip, html, pressed, setPressed } from "./chips.mjs";

const GROUPS = [
  ["Hands", [
    ["helper_hand_holds", "Helper hand holds the paper"],
    ["helper_hand_turns", "Helper hand turns the paper"],
    ["thumb_up", "Thumb up in the scissors"],
    ["swapped_hands", "Swapped hands"],
  ]],
  ["Body", [
    ["elbow_off_table", "Elbow off the table"],
    ["trunk_still", "Trunk still"],
    ["turned_instead_of_crossing", "Turned the page or body instead of crossing"],
    ["distress", "Distress"],
  ]],
  ["Grip", [
    ["grip_whole_hand", "Whole hand"],
    ["grip_fingers_pronated", "Fingers, pronated"],
    ["grip_static_tripod", "Static tripod"],
    ["grip_dynamic_tripod", "Dynamic tripod"],
    ["grip_other", "Another grip"],
  ]],
];

/** Kinds of observations that can be ticked, as the server names them. */
export const TICKS = GROUPS.flatMap(([, ticks]) => ticks.map(([kind]) => kind));

export class Seeing {
  #chips = new Map();
  #kept = new Set();

  /** @param {HTMLElement} root  where the ticks are put */
  constructor(root) {
    for (const [title, ticks] of GROUPS) {
      const row = html("div", { className: "row" }, ticks.map((tick) => this.#chip(tick)));
      const made = html("div", { className: "group" }, [html("p", { textContent: title }), row]);
      made.setAttribute("role", "group");
      made.setAttribute("aria-label", title);
      root.append(made);
    }
  }

  /** @param {string[]} kept  kinds that are kept already; those stay */
  show(kept) {
    this.#kept = new Set(kept);
    for (const [kind, button] of this.#chips) {
      setPressed(button, this.#kept.has(kind));
      button.disabled = this.#kept.has(kind);
    }
  }

  /** Kinds that were ticked since `show`. */
  get fresh() {
    return [...this.#chips].filter(([kind, button]) => pressed(button) && !this.#kept.has(kind))
      .map(([kind]) => kind);
  }

  #chip([kind, label]) {
    const button = chip(label, () => setPressed(button, !pressed(button)));
    button.dataset.saw = kind;
    this.#chips.set(kind, button);
    return button;
  }
}
