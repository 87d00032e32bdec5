/** The adult's screen between children: whose turn, what to know, what waits. */

import { element } from "./picture.mjs";
import { offered, remaining, signsOf } from "./day.mjs";

const plural = (count, one, many) => `${count} ${count === 1 ? one : many}`;

function html(name, properties = {}, children = []) {
  const made = Object.assign(document.createElement(name), properties);
  made.append(...children);
  return made;
}

/** A drawing on its own, or the word where this page has no such drawing. */
function sign(name) {
  if (!document.getElementById(`sign-${name}`)) return html("span", { textContent: name });
  return element("svg", { viewBox: "0 0 48 48", "aria-hidden": "true" }, [
    element("use", { href: `#sign-${name}` }),
  ]);
}

export function noticesOf({ secure, scale, lasting, unsaved }) {
  const notices = [];
  if (!secure) {
    notices.push("This page came over an open connection. Drawing works, but the browser gives "
      + "fewer points of each line, and every try is flagged. Use the https address.");
  }
  if (!scale.calibrated) {
    notices.push(scale.why === "zoomed"
      ? "The page is zoomed, or on another screen than when its scale was checked. Until it is "
        + "checked again, tries are flagged and have no lengths in millimetres."
      : "The scale of this screen is not checked yet. Until then tries are flagged and have no "
        + "lengths in millimetres.");
  }
  if (!lasting) {
    notices.push("This browser keeps nothing when the page closes (a private window?). Keep it "
      + "open until everything is sent.");
  } else if (unsaved) {
    notices.push("The tablet's storage is full. Keep this page open until everything is sent, "
      + "then make room.");
  }
  return notices;
}

export class Children {
  /**
   * @param {(id: string) => HTMLElement} find
   * @param {object} options
   * @param {import("./tablet.mjs").Tablet} options.tablet
   * @param {import("./screen.mjs").Screen} options.screen
   * @param {(plan_id: string) => void} options.chosen
   */
  constructor(find, { tablet, screen, chosen }) {
    Object.assign(this, { find, tablet, screen, chosen });
  }

  /** @param {string} trouble  why the plans could not be fetched, or "" */
  async show(trouble = "") {
    const { plans } = this.tablet;
    const buttons = await Promise.all(plans.map((plan) => this.#button(plan)));
    this.find("children-list").replaceChildren(...buttons);
    this.find("children-note").textContent = plans.length > 0
      ? "The run sheet says which two pictures belong to which child."
      : "No plans for now. When a plan is saved on the desk page, its child's two pictures appear here: choose “Fetch plans”.";
    const notices = noticesOf({
      secure: globalThis.isSecureContext === true, scale: this.screen.scale,
      lasting: this.tablet.lasting, unsaved: this.tablet.unsaved,
    });
    if (trouble) notices.unshift(trouble);
    this.find("notices").replaceChildren(
      ...notices.map((textContent) => html("li", { textContent })));
    await this.refresh();
  }

  /** What waits, and what the server refused. */
  async refresh() {
    const rows = await this.tablet.outbox.records();
    const trials = rows.filter((row) => row.id === row.trial_id);
    const waiting = trials.filter((row) => row.state !== "adult").length;
    const unpaired = rows.some((row) => row.state === "unpaired");
    this.find("waiting").textContent = rows.length === 0 ? "Everything is sent."
      : unpaired ? "This tablet's pairing has ended. Nothing is lost: pair again, then everything is sent."
        : waiting > 0 ? `${plural(waiting, "try waits", "tries wait")} on this tablet and will be sent when the server answers.`
          : rows.every((row) => row.state === "adult" || row.id !== row.trial_id)
            ? "" : "Marks wait on this tablet and will be sent when the server answers.";
    const refused = rows.filter((row) => row.state === "adult");
    this.find("refused").hidden = refused.length === 0;
    this.find("refused-list").replaceChildren(...refused.map((row) => this.#refused(row, rows)));
  }

  async #button(plan) {
    const signs = signsOf(plan);
    const progress = await this.tablet.progressOf(plan.plan_id);
    const { items, open } = offered(plan, (guide) => this.screen.fits(guide));
    const left = items.reduce((sum, item) => sum + remaining(progress, item), 0);
    const small = open - items.length;
    const label = [left > 0 ? plural(left, "picture", "pictures") : "all drawn",
      small > 0 ? `${small} too large for this screen` : null].filter(Boolean).join(", ");
    const button = html("button", {
      type: "button", className: left > 0 ? "" : "finished",
      onclick: () => this.chosen(plan.plan_id),
    }, signs.map(sign));
    button.setAttribute("aria-label", `${signs.join(" and ")}: ${label}`);
    return html("li", {}, [button, html("p", { className: "muted", textContent: label })]);
  }

  #refused(row, rows) {
    const what = row.id === row.trial_id ? "A try" : "A mark";
    const remove = html("button", {
      type: "button", className: "plain", textContent: "Take off this tablet", disabled: true,
      onclick: () => this.tablet.outbox.forget(row.trial_id),
    });
    const save = html("button", {
      type: "button", textContent: "Save to a file",
      onclick: () => {
        for (const other of rows.filter(({ trial_id }) => trial_id === row.trial_id)) saved(other);
        remove.disabled = false;
      },
    });
    const retry = html("button", {
      type: "button", className: "plain", textContent: "Try again",
      onclick: () => this.tablet.outbox.retry(row.id),
    });
    const why = `${what} was not taken by the server (${row.status}). ${row.title}`.trim();
    return html("li", {}, [
      html("p", { textContent: why }),
      html("div", { className: "row" }, [save, retry, remove]),
    ]);
  }
}

/** Hand a record to the adult as a file with exactly the bytes that were sent. */
function saved({ id, trial_id, body }) {
  const kind = id === trial_id ? "trial" : "mark";
  const url = URL.createObjectURL(new Blob([body], { type: "application/json" }));
  html("a", { href: url, download: `linnet-${kind}-${id}.json` }).click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

/** Put the drawings into the page, where every picture can use them. */
export async function loadSigns(into) {
  const response = await fetch("/static/shared/signs.svg");
  const drawings = new DOMParser().parseFromString(await response.text(), "image/svg+xml");
  into.replaceChildren(document.importNode(drawings.documentElement, true));
}

