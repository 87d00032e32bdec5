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
 * @param {() => void} [options.updateReady]  a newer version waits, see `takeOver`
 * @returns {Promise<"ready"|"insecure"|"unsupported"|"failed">}  "ready": the page opens
 *   without a server from now on
 */
export async function install({ updateReady = () => {} } = {}) {
  if (globalThis.isSecureContext !== true) return "insecure";
  if (!container()) return "unsupported";
  try {
    const registration = await container().register(SCRIPT, { scope: SCOPE });
    watch(registration, updateReady);
    return (await settled(registration)) ? "ready" : "failed";
  } catch {
    // With a certificate that was merely clicked through, too.
    const known = await container().getRegistration(SCOPE).catch(() => undefined);
    return known?.active ? "ready" : "failed";
  }
}

/**
 * Let the newer version that waits take over, and load the page anew.
 *
 * @param {() => boolean} mayLoad  asked at the last moment: taking over takes its time. If
 *   not, the page stays as it is until this is called once more
 */
export async function takeOver(mayLoad) {
  const load = () => mayLoad() && location.reload();
  const registration = await container()?.getRegistration(SCOPE);
  if (!registration?.waiting) return load();
  container().addEventListener("controllerchange", load, { once: true });
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
