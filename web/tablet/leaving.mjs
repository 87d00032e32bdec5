/** When the page is turned, resized, hidden or left while a child draws. */

import { orientationNow } from "./screen.mjs";

// Phases in which no line is at stake.
const IDLE = new Set(["first", "waiting", "thanks"]);

/** A line that began under one scale, or one way up, does not go on under another. */
function resizedLine(sitting) {
  const { screen, item, attempt } = sitting;
  const place = screen.place(item.guide);
  const other = screen.scale.px_per_mm !== screen.placed.px_per_mm
    || screen.scale.why === "zoomed" || orientationNow() !== sitting.orientation;
  if (!place || other) {
    attempt.end("left_page");
    return;
  }
  screen.layOut(item, place);
  screen.setOut();
  attempt.moved(place.mapping);
  if (sitting.strip.open) attempt.pause();
}

function resized(sitting) {
  if (sitting.phase === "drawing") resizedLine(sitting);
  // Whatever closes the strip goes on from there.
  else if (sitting.strip.open) return;
  else if (sitting.phase === "turn") sitting.next();
  else if (IDLE.has(sitting.phase)) sitting.startOver();
}

/** Out of sight, a drawn line is closed; an untouched guide begins anew when seen again. */
function seen(sitting) {
  if (document.hidden) {
    if (sitting.phase === "drawing") sitting.attempt.end("left_page");
    clearTimeout(sitting.timer);
    sitting.timer = null;
  } else if (IDLE.has(sitting.phase) && !sitting.strip.open) {
    sitting.startOver();
  }
}

/** Another screen, or a zoom that leaves the size of the window, is no "resize". */
function onOtherRatio(run) {
  const same = matchMedia(`(resolution: ${devicePixelRatio}dppx)`);
  same.addEventListener("change", () => {
    run();
    onOtherRatio(run);
  }, { once: true });
}

/** @param {import("./sitting.mjs").Sitting} sitting */
export function watchLeaving(sitting) {
  addEventListener("resize", () => resized(sitting));
  globalThis.visualViewport?.addEventListener("resize", () => resized(sitting));
  onOtherRatio(() => resized(sitting));
  document.addEventListener("visibilitychange", () => seen(sitting));
  addEventListener("pagehide", () => sitting.attempt?.drawn && sitting.attempt.end("left_page"));
}
