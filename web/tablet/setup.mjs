/** The set-up screen: where the middle of the child's body is to be, and what will be drawn. */

import { html, setPressed, sign } from "./chips.mjs";
import { atStep, remaining, signsOf } from "./day.mjs";
import { cautionsOf, describe, whyLeftOut } from "./words.mjs";

const PLACES = { centred: "in front of the child", left: "left of the child", right: "right of the child" };
const SURFACES = { flat: "flat", sloped: "sloped", upright: "upright", floor: "on the floor" };

/** How the tablet lay, in words: "in front of the child, flat". */
export const saidOf = ({ tablet_at, surface }) =>
  `${PLACES[tablet_at] ?? tablet_at}, ${SURFACES[surface] ?? surface}`;

const timesOf = (count) => ["once", "twice"][count - 1] ?? `${count}\u00a0times`;

/** How often an item is still to be drawn. */
function leftOf(item, progress) {
  const left = remaining(progress, item);
  if (left >= (item.repetitions ?? 1)) return timesOf(left);
  if (left === 0) return "none left";
  return left < 3 ? `${timesOf(left)} more` : `${left}\u00a0more times`;
}

/**
 * One line for an item that will be drawn: at its step, and as often as it still will be.
 *
 * @param {object} item  plan item
 * @param {object} progress  how far its plan has come
 * @returns {{name: string, detail: string}}
 */
export function lineFor(item, progress) {
  const detail = [describe(atStep(item, progress)), leftOf(item, progress)];
  return { name: item.task.name, detail: detail.filter(Boolean).join(" · ") };
}

/** One line for each thing that is not offered here. */
export const lineLeftOut = ({ item, why }) =>
  ({ name: item.task.name, detail: `not here: ${whyLeftOut(why)}` });

export class SetUp {
  #find;
  #done = null;
  #chosen = { tablet_at: null, surface: null };

  /**
   * @param {(id: string) => HTMLElement} find
   * @param {{back: () => void}} options
   */
  constructor(find, { back }) {
    this.#find = find;
    for (const [field, name] of [["tablet_at", "at"], ["surface", "surface"]]) {
      for (const button of this.#all(name)) {
        button.addEventListener("click", () => this.#choose(field, button.dataset[name]));
      }
    }
    find("setup-go").addEventListener("click", () => this.#done({ ...this.#chosen }));
    find("setup-skip").addEventListener("click", () => this.#done(null));
    find("setup-back").addEventListener("click", back);
    find("setup-same").addEventListener("click", () => this.#done(this.last));
  }

  /**
   * @param {object} child
   * @param {object} child.plan  whose two pictures are shown, so that no child is taken for another
   * @param {object[]} child.items  plan items that can be drawn here
   * @param {{item: object, why: string}[]} child.left_out  those that cannot
   * @param {object} child.progress  how far the plan has come
   * @param {{tablet_at: string, surface: string}|null} child.last  how it was last time
   * @param {(chosen: {tablet_at: string, surface: string}|null) => void} child.done  told
   *   what the adult confirmed, or null
   */
  open({ plan, items, left_out, progress, last, done }) {
    this.last = last;
    this.#done = done;
    const signs = signsOf(plan);
    this.#find("setup-signs").replaceChildren(...signs.map(sign));
    this.#find("setup-signs").setAttribute("aria-label", signs.join(" and "));
    this.#find("setup-same").hidden = last === null;
    this.#find("setup-last").textContent = last === null ? "" : `Tablet ${saidOf(last)}`;
    this.#find("setup-go").classList.toggle("main", last === null);
    this.#chosen = { tablet_at: null, surface: null };
    this.#show();
    this.#list("setup-items", items.map((item) => lineFor(item, progress)));
    this.#list("setup-left-out", left_out.map(lineLeftOut));
    this.#find("setup-none").hidden = items.length > 0;
    const cautions = cautionsOf(items).map((textContent) => html("p", { textContent }));
    this.#find("setup-cautions").replaceChildren(...cautions);
  }

  #all(name) {
    return this.#find("setup").querySelectorAll(`[data-${name}]`);
  }

  #choose(field, value) {
    this.#chosen[field] = value;
    this.#show();
  }

  #show() {
    const { tablet_at, surface } = this.#chosen;
    for (const button of this.#all("at")) setPressed(button, button.dataset.at === tablet_at);
    for (const button of this.#all("surface")) {
      setPressed(button, button.dataset.surface === surface);
    }
    this.#find("setup-line").dataset.side = tablet_at ?? this.last?.tablet_at ?? "centred";
    const missing = [tablet_at === null ? "where it lies" : null,
      surface === null ? "on what it lies" : null].filter(Boolean);
    this.#find("setup-go").disabled = missing.length > 0;
    this.#find("setup-missing").textContent =
      missing.length > 0 ? `Say ${missing.join(" and ")} first.` : "";
  }

  #list(id, lines) {
    this.#find(id).hidden = lines.length === 0;
    this.#find(id).replaceChildren(...lines.map(({ name, detail }) =>
      html("li", {}, [html("b", { textContent: name }), html("span", { textContent: detail })])));
  }
}
