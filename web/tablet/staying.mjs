/** What keeps this page open: no way back from a child's screen, no leaving at a loss. */

import { randomId } from "../shared/sha256.mjs";

// Of this page as it was loaded now: another one's entries of the history are not its own.
const HERE = randomId();

const NOT_YET =
  "Not yet: this page holds something that this tablet could not save, and it would be lost.";

const isHere = () => history.state?.linnet === HERE;

/**
 * Back leads from a child's screen to an entry of the same page, and from there straight
 * forward again. Nothing is added then: browsers pass over entries that are added without a tap.
 *
 * @param {() => boolean} sitting  whether a child sits here
 * @returns {() => void}  to be called when a sitting begins, soon after an adult's tap
 */
export function stayOnBack(sitting) {
  addEventListener("popstate", () => sitting() && !isHere() && history.forward());
  return () => {
    if (!isHere()) history.pushState({ linnet: HERE }, "");
  };
}

/**
 * Let a new page come in the place of this one, or say why not.
 *
 * @param {import("./tablet.mjs").Tablet} tablet
 * @param {HTMLElement} told  where it is said
 * @param {() => void} load
 */
export async function withoutLoss(tablet, told, load) {
  await tablet.save();
  told.textContent = tablet.losable ? NOT_YET : "";
  if (!tablet.losable) load();
}

/** The browser asks before this page goes. @param {() => boolean} losable  only then */
export function askBeforeLeaving(losable) {
  addEventListener("beforeunload", (event) => {
    if (!losable()) return;
    event.preventDefault();
    // Browsers that are older than the line above.
    event.returnValue = true;
  });
}
