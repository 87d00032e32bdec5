/** The adult strip: what was drawn, one row of marks, and where to go next. */

/** What each button of the row says of a trial. */
export const MARKS = {
  ok: { outcome: "finished" },
  helped: { outcome: "finished", help: { given: true } },
  spoilt: { outcome: "spoilt" },
  stopped: { outcome: "stopped" },
};

const words = (label) => String(label).replaceAll("_", " ");

/** An item in an adult's words. */
export function describe(item) {
  const { corridor_mm } = item.guide;
  const { hand, direction } = item.condition ?? {};
  return [
    typeof corridor_mm === "number" ? `${corridor_mm / 2} mm each side` : null,
    hand && (hand === "free" || hand === "both" ? `hand: ${hand}` : `${hand} hand`),
    direction && direction !== "none" ? words(direction) : null,
  ].filter(Boolean).join(" · ");
}

export class Strip {
  /**
   * @param {(id: string) => HTMLElement} find
   * @param {object} acts  called by name: mark(kind), done, again, skip, leave, close
   */
  constructor(find, acts) {
    this.find = find;
    this.dialog = find("strip");
    this.acts = acts;
    for (const name of ["done", "again", "skip", "leave", "close"]) {
      find(`strip-${name}`).addEventListener("click", () => this.#choose(name));
    }
    for (const button of this.#markButtons()) {
      button.addEventListener("click", () => this.#choose("mark", button.dataset.mark));
    }
    // Escape, as the browser offers it for dialogs.
    this.dialog.addEventListener("cancel", (event) => {
      event.preventDefault();
      this.#choose("close");
    });
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
   */
  show({ title, note, about, can, warning }) {
    this.find("strip-title").textContent = title;
    this.find("strip-note").textContent = note;
    this.find("strip-marks").hidden = about === null;
    this.find("strip-marks-title").textContent = about?.name ?? "";
    for (const button of this.#markButtons()) {
      button.setAttribute("aria-pressed", String(about?.mark === button.dataset.mark));
    }
    for (const name of ["done", "again", "skip", "leave"]) {
      this.find(`strip-${name}`).hidden = !can.includes(name);
    }
    this.find("strip-warning").hidden = warning === "";
    this.find("strip-warning").textContent = warning;
    this.dialog.showModal();
    this.find("strip-close").focus();
  }

  #markButtons() {
    return this.dialog.querySelectorAll("[data-mark]");
  }

  #choose(name, ...rest) {
    this.dialog.close();
    // The dialog hands the focus back to a corner: no ring may stay on the child's screen.
    document.activeElement?.blur();
    this.acts[name](...rest);
  }
}
