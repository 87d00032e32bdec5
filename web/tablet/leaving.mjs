/** When the page is turned, resized, hidden or left while a child draws. */

import { orientationNow } from "./screen.mjs";
import { askedOf } from "./trial.mjs";

// Phases in which no line is at stake.
const IDLE = new Set(["first", "waiting", "thanks"]);

const MOVED = "area_moved";

/**
 * Whether a line may go on at another place: not under another scale, not another way up, and
 * not where the middle of the body would be elsewhere on it.
 */
function goesOn({ screen, item, setup, orientation }, place) {
  const midlineAt = (where) => askedOf(item, setup, where).guide.midline_x_mm;
  return screen.scale.px_per_mm === screen.placed.px_per_mm && screen.scale.why !== "zoomed"
    && orientationNow() === orientation && midlineAt(place) === midlineAt(screen.placed);
}

/** A change of size that comes twice, or moves nothing, breaks no stroke. */
const isSame = (place, placed) => ["origin_mm", "screen_mm"]
  .every((name) => String(place[name]) === String(placed[name]));

/** The document says where the area lay when the line began; from here on it lies elsewhere. */
function noteMoved(attempt, { origin_mm, screen_mm }) {
  const { marks, pen } = attempt;
  const last = marks.at(-1);
  // While a bar glides away, only where it comes to rest counts.
  if (last?.kind === MOVED && !(pen.columns.t_ms.at(-1) > last.t_ms)) marks.pop();
  attempt.note(MOVED);
  const [area_at_mm, size_mm] = [origin_mm, screen_mm]
    .map((pair) => pair.map((mm) => Math.round(mm * 1e4) / 1e4));
  Object.assign(marks.at(-1), { area_at_mm, screen_mm: size_mm });
}

function resizedLine(sitting) {
  const { screen, item, attempt } = sitting;
  const place = screen.place(item.guide);
  if (!place || !goesOn(sitting, place)) {
    attempt.end("left_page");
    return;
  }
  if (isSame(place, screen.placed)) return;
  if (String(place.origin_mm) !== String(screen.placed.origin_mm)) noteMoved(attempt, place);
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
