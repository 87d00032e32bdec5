/** Keeps the page on the tablet, so that it opens without a server. */

const SCRIPT = "/tablet-worker.js";
const SCOPE = "/tablet";
// An installed page may stay open for days; nobody needs the news sooner than this.
const LOOK_AGAIN_MS = 3_600_000;

const container = () => globalThis.navigator?.serviceWorker;

/**
 * Install the page, and look out for newer versions of it.
 *
 * @param {object} [options]
 * @param {(takeOver: () => Promise<void>) => void} [options.updateReady]  a newer version waits
 * @returns {Promise<"ready"|"insecure"|"unsupported"|"failed">}  "ready": the page opens
 *   without a server from now on
 */
export async function install({ updateReady = () => {} } = {}) {
  if (globalThis.isSecureContext !== true) return "insecure";
  if (!container()) return "unsupported";
  try {
    const registration = await container().register(SCRIPT, { scope: SCOPE });
    watch(registration, () => updateReady(takeOver));
    return (await settled(registration)) ? "ready" : "failed";
  } catch {
    // With a certificate that was merely clicked through, too.
    const known = await container().getRegistration(SCOPE).catch(() => undefined);
    return known?.active ? "ready" : "failed";
  }
}

/** Let the newer version that waits take over, and load the page anew. */
export async function takeOver() {
  const registration = await container()?.getRegistration(SCOPE);
  if (!registration?.waiting) return location.reload();
  container().addEventListener("controllerchange", () => location.reload(), { once: true });
  return registration.waiting.postMessage("take_over");
}

function watch(registration, updateReady) {
  if (registration.waiting && registration.active) updateReady();
  registration.addEventListener("updatefound", () => {
    const { installing, active } = registration;
    // The very first version is no news.
    if (!installing || !active) return;
    installing.addEventListener("statechange", () => {
      if (installing.state === "installed") updateReady();
    });
  });
  const timer = setInterval(() => registration.update().catch(() => {}), LOOK_AGAIN_MS);
  timer.unref?.();
}

/** Whether some version came to be active: at once, or when the first is installed. */
function settled({ active, waiting, installing }) {
  if (active) return Promise.resolve(true);
  const worker = waiting ?? installing;
  if (!worker) return Promise.resolve(false);
  return new Promise((resolve) => {
    const look = () => {
      if (worker.state === "activated") resolve(true);
      if (worker.state === "redundant") resolve(false);
    };
    worker.addEventListener("statechange", look);
    look();
  });
}
