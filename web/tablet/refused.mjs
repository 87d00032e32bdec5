/** What waits on the tablet and what the server refused, for the adult. */

import { html } from "./chips.mjs";
import { plural } from "./words.mjs";

const NAMES = {
  trial: "A try", mark: "A mark", observation: "An observation", calibration: "A check of the scale",
};

/** @returns {string} one sentence or two on what has not been sent yet */
export function waitingOf(rows) {
  if (rows.length === 0) return "Everything is sent.";
  if (rows.some((row) => row.state === "unpaired")) {
    return "This tablet's pairing has ended. Nothing is lost: pair again, then everything is sent.";
  }
  const waiting = rows.filter((row) => row.state !== "adult");
  const tries = waiting.filter((row) => row.kind === "trial").length;
  if (tries > 0) {
    return `${plural(tries, "try waits", "tries wait")} on this tablet and will be sent when the server answers.`;
  }
  return waiting.length > 0
    ? "Notes wait on this tablet and will be sent when the server answers." : "";
}

/** A refused record and what goes with it: the marks and observations of a refused trial. */
const together = (row, rows) =>
  (row.kind === "trial" ? rows.filter(({ trial_id }) => trial_id === row.trial_id) : [row]);

/** Why a record was refused, in words. */
export const refusalOf = ({ kind, status, title }) =>
  `${NAMES[kind]} was not taken by the server (${status}). ${title}`.trim();

/**
 * A refused record with what can be done about it.
 *
 * @param {object} row  from the outbox
 * @param {import("./outbox.mjs").Outbox} outbox
 * @returns {HTMLLIElement}
 */
export function refusedRow(row, outbox) {
  const remove = html("button", {
    type: "button", className: "plain", textContent: "Take off this tablet", disabled: true,
    onclick: () => outbox.forget(row.id),
  });
  const save = html("button", {
    type: "button", textContent: "Save to a file",
    onclick: async () => {
      for (const one of together(row, await outbox.records())) saved(one);
      remove.disabled = false;
    },
  });
  const retry = html("button", {
    type: "button", className: "plain", textContent: "Try again", onclick: () => outbox.retry(row.id),
  });
  return html("li", {}, [
    html("p", { textContent: refusalOf(row) }),
    html("div", { className: "row" }, [save, retry, remove]),
  ]);
}

/** Hand a record to the adult as a file with exactly the bytes that were sent. */
function saved({ id, kind, body }) {
  const url = URL.createObjectURL(new Blob([body], { type: "application/json" }));
  html("a", { href: url, download: `linnet-${kind}-${id}.json` }).click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}
