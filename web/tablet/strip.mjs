/** The adult strip: what was drawn, one row of marks, and where to go next. */

import { pressed, Reasons, setPressed } from "./chips.mjs";
import { Helping, isHelp } from "./helping.mjs";
import { Seeing } from "./seeing.mjs";

// What is kept, in words that a note can use, and what is read on the chip.
const SPOILT = [
  ["another child touched the screen", "Another child touched"],
  ["the screen was touched by chance", "Screen touched"],
  ["trouble with the tablet or the pen", "Device trouble"],
];
const STOPPED = [["tired", "Tired"], ["upset", "Upset"], ["refused", "Refused"]];
const REST = [["tired", "Tired"], ["noise", "Noise"], ["upset", "Upset"], ["pain", "Pain"]];

const GO_ON = ["done", "again", "skip", "rest", "easier", "harder", "leave"];
const MORE = ["help", "why", "seen"];

export class Strip {
  #hand = null;
  #marked = null;
  #chosen = true;

  /**
   * @param {(id: string) => HTMLElement} find
   * @param {object} acts  called by name: mark(kind, details), done, again, skip, rest,
   *   resume(why), finish(why), easier, harder, quiet(on), leave, close. After each act that
   *   closes the strip: hand(which) if one was chosen that no mark carried, and saw(kind) for
   *   every fresh tick
   */
  constructor(find, acts) {
    this.find = find;
    this.dialog = find("strip");
    this.acts = acts;
    this.helping = new Helping(find("strip-help-more"), () => this.#markHelp());
    this.seeing = new Seeing(find("strip-seen-more"));
    this.reasons = ["spoilt", "stopped"].map((kind) => new Reasons(
      find(`strip-${kind}`), kind === "spoilt" ? SPOILT : STOPPED,
      (why) => this.#mark(kind, { why })));
    this.restReasons = new Reasons(find("strip-rest-why"), REST);
    this.#listen();
  }

  get open() {
    return this.dialog.open;
  }

  /**
   * @param {object} state
   * @param {string} state.title
   * @param {string} state.note
   * @param {{name: string, mark: string|null}|null} state.about  trial that marks are for
   * @param {string[]} state.can  buttons that make sense now
   * @param {string} state.warning
   * @param {string|null} state.hand_asked  the hand that the plan asks for
   * @param {"left"|"right"|"both"|null} state.hand_used  what was said of it
   * @param {string[]} state.seen  kinds of observations that are kept already
   * @param {boolean} state.quiet
   * @param {boolean} state.resting
   */
  show({ title, note, about, can, warning, hand_asked, hand_used, seen, quiet, resting }) {
    this.find("strip-title").textContent = title;
    this.find("strip-note").textContent = note;
    this.find("strip-warning").hidden = warning === "";
    this.find("strip-warning").textContent = warning;
    this.find("strip-close").textContent = resting ? "Back to the rest" : "Carry on";
    this.find("strip-close").classList.toggle("main", !resting);
    this.#showMarks(about, hand_asked, hand_used);
    this.seeing.show(seen);
    for (const name of GO_ON) this.find(`strip-${name}`).hidden = !can.includes(name);
    this.find("strip-go-on").hidden = resting;
    this.find("strip-resting").hidden = !resting;
    this.restReasons.reset();
    setPressed(this.find("strip-quiet"), quiet);
    this.#chosen = false;
    this.dialog.showModal();
    this.#keepClear();
    this.dialog.scrollTop = 0;
    this.find("strip-close").focus();
  }

  #listen() {
    const { find } = this;
    for (const name of [...GO_ON, "close"]) {
      find(`strip-${name}`).addEventListener("click", () => this.#choose(name));
    }
    for (const name of ["resume", "finish"]) {
      find(`strip-${name}`).addEventListener("click", () =>
        this.#choose(name, this.restReasons.why));
    }
    for (const button of this.#all("mark")) {
      button.addEventListener("click", () => this.#mark(button.dataset.mark));
    }
    for (const button of this.#all("hand")) {
      button.addEventListener("click", () => this.#pickHand(button.dataset.hand));
    }
    for (const name of MORE) {
      find(`strip-${name}`).addEventListener("click", () => this.#unfold(name));
    }
    find("strip-quiet").addEventListener("click", () => this.#toggleQuiet());
    // Escape, as the browser offers it for dialogs.
    this.dialog.addEventListener("cancel", (event) => {
      event.preventDefault();
      this.#choose("close");
    });
    // A second Escape, or the system's own "back", closes it without asking.
    this.dialog.addEventListener("close", () => {
      if (this.#chosen || this.dialog.open) return;
      this.#choose("close");
    });
  }

  #showMarks(about, hand_asked, hand_used) {
    for (const part of ["marks", "more"]) this.find(`strip-${part}`).hidden = about === null;
    this.find("strip-about").textContent = about?.name ?? "";
    this.find("strip-hand").hidden = hand_asked !== "free";
    for (const button of this.#all("mark")) {
      setPressed(button, about?.mark === button.dataset.mark);
    }
    this.#hand = null;
    this.#marked = about?.mark ?? null;
    for (const button of this.#all("hand")) setPressed(button, button.dataset.hand === hand_used);
    this.helping.reset();
    for (const reasons of this.reasons) reasons.reset();
    this.#unfold(null);
  }

  #all(name) {
    return this.dialog.querySelectorAll(`[data-${name}]`);
  }

  // Whatever is scrolled into view comes to lie below the marks, which stay.
  #keepClear() {
    const { offsetHeight } = this.find("strip-head");
    this.dialog.style.scrollPaddingTop = offsetHeight > 0 ? `${offsetHeight}px` : "";
  }

  /** Show one of the parts that are there only when wanted, or none. */
  #unfold(wanted) {
    this.#keepClear();
    for (const name of MORE) {
      const button = this.find(`strip-${name}`);
      const open = name === wanted && button.getAttribute("aria-expanded") !== "true";
      button.setAttribute("aria-expanded", String(open));
      this.find(`strip-${name}-more`).hidden = !open;
      if (open) this.find(`strip-${name}-more`).scrollIntoView({ block: "nearest" });
    }
  }

  #pickHand(which) {
    this.#hand = which;
    for (const button of this.#all("hand")) setPressed(button, button.dataset.hand === which);
  }

  #toggleQuiet() {
    const button = this.find("strip-quiet");
    const on = !pressed(button);
    setPressed(button, on);
    this.acts.quiet(on);
  }

  /** Help in detail adds to a mark; alone it says how the trial went. */
  #markHelp() {
    const kind = isHelp(this.helping.help) ? "helped" : "ok";
    this.#mark(this.#marked === null || this.#marked === "ok" ? kind : this.#marked);
  }

  /** Whatever was filled in goes along: the newest mark of a trial is the one that counts. */
  #mark(kind, more = {}) {
    const { help } = this.helping;
    const hand_used = this.#hand ?? undefined;
    this.#hand = null;
    const given = { ...more, hand_used, help };
    const details = Object.fromEntries(
      Object.entries(given).filter(([, value]) => value !== undefined));
    this.#choose("mark", kind === "ok" && isHelp(help) ? "helped" : kind, details);
  }

  #choose(name, ...rest) {
    // Taken before the act, which may open the strip anew.
    const [ticks, hand] = [this.seeing.fresh, this.#hand];
    this.#hand = null;
    this.#chosen = true;
    this.dialog.close();
    // The dialog hands the focus back to a corner: no ring may stay on the child's screen.
    document.activeElement?.blur();
    this.acts[name](...rest);
    // A line that was being drawn has its trial only after the act.
    if (hand !== null) this.acts.hand(hand);
    for (const kind of ticks) this.acts.saw(kind);
  }
}
