/** Whether this page is the only one of its kind in this browser. */

import { randomId } from "../shared/sha256.mjs";

const NAME = "linnet-tablet";
const PATIENCE_MS = 600;
// In steps: a page that was held up reads what came before it counts on.
const [STEPS, STEP_MS] = [6, 50];

/**
 * Two pages would both take the other's unfinished line for a lost one. The page that is
 * there first stays; call this before the tablet's storage is opened.
 *
 * @param {object} [options]  the browser's own, unless a test brings others
 * @returns {Promise<boolean>}
 */
export async function aloneHere({
  locks = globalThis.navigator?.locks, Channel = globalThis.BroadcastChannel,
} = {}) {
  if (locks) return locked(locks);
  return Channel ? unanswered(Channel) : true;
}

// Held until the page goes. A page that is just being reloaded gives it up within moments.
function locked(locks) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
  return new Promise((resolve) => {
    locks.request(NAME, { signal: stop.signal }, () => {
      clearTimeout(timer);
      resolve(true);
      return new Promise(() => {});
    }).catch(() => resolve(false));
  });
}

// Locks need a secure context, asking around does not.
function unanswered(Channel) {
  const channel = new Channel(NAME);
  const id = randomId();
  let alone = null;
  return new Promise((resolve) => {
    const settle = (answer) => {
      if (alone !== null) return;
      alone = answer;
      if (!alone) channel.close();
      resolve(alone);
    };
    channel.onmessage = ({ data: { asks, answered } }) => {
      if (answered === id) settle(false);
      if (!asks || alone === false) return;
      // Of pages that ask at the same moment, all but the first in order give way.
      if (alone || id < asks) channel.postMessage({ answered: asks });
      else settle(false);
    };
    channel.postMessage({ asks: id });
    const wait = (steps) =>
      (steps > 0 ? setTimeout(() => wait(steps - 1), STEP_MS) : settle(true));
    wait(STEPS);
  });
}
