/** Help in detail: set-up, cues, physical help. Three things, not one list. */

import { chip, html, pressed, setPressed } from "./chips.mjs";

const CUES = [["verbal", "Verbal"], ["gesture", "Gesture"], ["demonstration", "Demonstration"]];
const PHYSICAL = ["none", "minimal", "moderate", "maximal", "total"];
const MOST_CUES = 99;

const capital = (word) => word[0].toUpperCase() + word.slice(1);

/**
 * Help as a mark carries it: only what was said.
 *
 * @param {object} said
 * @param {boolean} said.setup
 * @param {{verbal: number, gesture: number, demonstration: number}} said.cues  counts
 * @param {null|"none"|"minimal"|"moderate"|"maximal"|"total"} said.physical
 * @param {boolean} said.hand_over_hand
 * @returns {object|undefined}  undefined when nothing was said
 */
export function helpOf({ setup, cues, physical, hand_over_hand }) {
  const help = {
    ...(setup ? { setup } : {}),
    ...(Object.values(cues).some((count) => count > 0) ? { cues: { ...cues } } : {}),
    ...(physical === null ? {} : { physical }),
    ...(hand_over_hand ? { hand_over_hand } : {}),
  };
  return Object.keys(help).length > 0 ? help : undefined;
}

/** Whether that is help with the task: setting it up is none. */
export const isHelp = (help) => help !== undefined
  && (help.cues !== undefined || help.hand_over_hand === true
    || (help.physical ?? "none") !== "none");

export class Helping {
  #counts = new Map();
  #setup = chip("Set up for the child", () => this.#toggle(this.#setup));
  #over = chip("Hand over hand", () => this.#toggle(this.#over));
  #physical = PHYSICAL.map((word) => {
    const button = chip(capital(word), () => this.#choosePhysical(button));
    button.dataset.physical = word;
    return button;
  });
  #keep;

  /** @param {HTMLElement} root  where the choices are put @param {() => void} keep */
  constructor(root, keep) {
    this.#setup.dataset.help = "setup";
    this.#over.dataset.help = "hand_over_hand";
    this.#keep = html("button", {
      type: "button", className: "keep", textContent: "Save this help", disabled: true,
      onclick: keep,
    });
    root.append(
      group("Before the try", [this.#setup]),
      group("Cues", CUES.map(([cue, label]) => this.#counter(cue, label))),
      group("Physical help", [...this.#physical, this.#over]),
      this.#keep,
    );
  }

  /** What was chosen so far, as a mark carries it; undefined when nothing was. */
  get help() {
    const cues = Object.fromEntries([...this.#counts].map(([cue, { count }]) => [cue, count]));
    const physical = this.#physical.find(pressed)?.dataset.physical ?? null;
    return helpOf({
      setup: pressed(this.#setup), cues, physical, hand_over_hand: pressed(this.#over),
    });
  }

  reset() {
    for (const button of [this.#setup, this.#over, ...this.#physical]) setPressed(button, false);
    for (const cue of this.#counts.keys()) this.#count(cue, 0);
  }

  #changed() {
    this.#keep.disabled = this.help === undefined;
  }

  #toggle(button) {
    setPressed(button, !pressed(button));
    this.#changed();
  }

  #choosePhysical(chosen) {
    const on = !pressed(chosen);
    for (const button of this.#physical) setPressed(button, on && button === chosen);
    this.#changed();
  }

  #counter(cue, label) {
    const told = html("output", { textContent: "0" });
    const step = (by, sign, name) => {
      const button = html("button", {
        type: "button", className: "step", textContent: sign,
        onclick: () => this.#count(cue, this.#counts.get(cue).count + by),
      });
      button.setAttribute("aria-label", `${label}: ${name}`);
      button.dataset.cue = `${cue}${sign}`;
      return button;
    };
    this.#counts.set(cue, { count: 0, told });
    const name = html("span", { textContent: label });
    return html("div", { className: "counter" }, [
      name, step(-1, "−", "one fewer"), told, step(1, "+", "one more"),
    ]);
  }

  #count(cue, count) {
    const counter = this.#counts.get(cue);
    counter.count = Math.min(MOST_CUES, Math.max(0, count));
    counter.told.textContent = String(counter.count);
    this.#changed();
  }
}

function group(title, members) {
  const made = html("div", { className: "group" }, [
    html("p", { textContent: title }), html("div", { className: "row" }, members),
  ]);
  made.setAttribute("role", "group");
  made.setAttribute("aria-label", title);
  return made;
}
