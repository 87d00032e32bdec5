/** The adult's screen between children: whose turn, what to know, what waits. */

import { html, isDrawn, sign } from "./chips.mjs";
import { offered, picturesOf, signsOf } from "./day.mjs";
import { noticesOf, readinessOf } from "./notices.mjs";
import { refusalOf, refusedRow, waitingOf } from "./refused.mjs";
import { withoutLoss } from "./staying.mjs";
import { plural } from "./words.mjs";

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
    this.cached = false;
    this.trouble = "";
    this.unsaved = false;
    this.turns = new Map();
    this.refused = new Map();
  }

  /** @param {string} trouble  why the plans could not be fetched, or "" */
  async show(trouble = "") {
    this.trouble = trouble;
    const { plans } = this.tablet;
    const turns = await Promise.all(plans.map((plan) => this.#turn(plan)));
    this.turns = new Map(turns.map((turn) => [turn.plan_id, turn]));
    put(this.find("children-list"), turns);
    this.find("children-note").textContent = plans.length > 0
      ? "The run sheet says which two pictures belong to which child."
      : "No plans for now. When a plan is saved on the desk page, its child's two pictures appear here: choose “Fetch plans”.";
    await this.#tellNotices();
    this.#tellReadiness();
    await this.refresh();
  }

  /** @param {boolean} cached  whether the page itself opens without a server */
  keptHere(cached) {
    this.cached = cached;
    this.#tellReadiness();
  }

  /** What waits, and what the server refused. */
  async refresh() {
    if (this.tablet.unsaved !== this.unsaved) await this.#tellNotices();
    if (!this.tablet.losable) this.find("update-not").textContent = "";
    const rows = await this.tablet.outbox.records();
    this.find("waiting").textContent = waitingOf(rows);
    const refused = rows.filter((row) => row.state === "adult");
    this.find("refused").hidden = refused.length === 0;
    // Rows that stand there stay: an adult may just be saving one.
    const shown = refused.map((row) => this.#shown(row));
    this.refused = new Map(shown.map((one) => [one.id, one]));
    put(this.find("refused-list"), shown);
  }

  #shown(row) {
    const why = refusalOf(row);
    const before = this.refused.get(row.id);
    return before?.why === why
      ? before : { id: row.id, why, element: refusedRow(row, this.tablet.outbox) };
  }

  /** A newer page is ready. @param {() => void} takeOver  load it now */
  offerUpdate(takeOver) {
    this.find("update").hidden = false;
    this.find("update-now").onclick = () =>
      withoutLoss(this.tablet, this.find("update-not"), takeOver);
  }

  async #tellNotices() {
    const room = await this.tablet.room();
    const { lasting, unsaved, recovered, persisted } = this.tablet;
    this.unsaved = unsaved;
    const notices = [this.trouble, ...noticesOf({
      secure: globalThis.isSecureContext === true, scale_why: this.screen.scale.why,
      lasting, unsaved, recovered, persisted, room,
    })].filter(Boolean);
    this.find("notices").replaceChildren(
      ...notices.map((textContent) => html("li", { textContent })));
  }

  #tellReadiness() {
    const { lasting, plans, day } = this.tablet;
    const ends = plans.map((plan) => Date.parse(plan.expires_at)).filter(Number.isFinite);
    this.find("ready").textContent = readinessOf({
      cached: this.cached, lasting, now_ms: Date.now(),
      until_ms: ends.length > 0 ? Math.min(...ends) - (day.clock_offset_ms ?? 0) : null,
    });
  }

  /** One child in the list; the same element as before where it shows the same. */
  async #turn(plan) {
    const { plan_id } = plan;
    const signs = signsOf(plan);
    const progress = await this.tablet.progressOf(plan.plan_id);
    const { items, left_out } = offered(plan, this.screen.able);
    const left = picturesOf(progress, items);
    const elsewhere = picturesOf(progress, left_out.map(({ item }) => item));
    const label = [left > 0 ? plural(left, "picture", "pictures") : "no picture left",
      elsewhere > 0 ? `${plural(elsewhere, "picture", "pictures")} not for this tablet` : null]
      .filter(Boolean).join(", ");
    const shows = JSON.stringify([signs, label, left > 0, signs.map(isDrawn)]);
    const before = this.turns.get(plan_id);
    if (before?.shows === shows) return before;
    const button = html("button", {
      type: "button", className: left > 0 ? "" : "finished",
      onclick: () => this.chosen(plan_id),
    }, signs.map(sign));
    button.setAttribute("aria-label", `${signs.join(" and ")}: ${label}`);
    const words = html("p", { className: "muted", textContent: label });
    return { plan_id, shows, element: html("li", {}, [button, words]) };
  }
}

/** Fill a list, unless it holds just that: a tap that has begun on a row must find it. */
function put(list, rows) {
  const elements = rows.map(({ element }) => element);
  const same = elements.length === list.children.length
    && elements.every((element, i) => element === list.children[i]);
  if (!same) list.replaceChildren(...elements);
}

/** Put the drawings into the page, where every picture can use them; rejects without them. */
export async function loadSigns(into) {
  const response = await fetch("/static/shared/signs.svg");
  if (!response.ok) throw new Error(`signs.svg: ${response.status}`);
  const drawings = new DOMParser().parseFromString(await response.text(), "image/svg+xml");
  into.replaceChildren(document.importNode(drawings.documentElement, true));
}

