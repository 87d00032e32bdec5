/** What the adult strip says of where a sitting is. */

import { offered, picturesOf, remaining, stepsFrom } from "./day.mjs";
import { minutesSince } from "./rest.mjs";
import { describe, plural } from "./words.mjs";

// Kind of the mark of a line that was begun although a go signal was still to come.
export const EARLY = "touched_before_go";

const TITLES = {
  end: "No picture is left", turn: "Turn the tablet", rest: "A rest", full: "Storage is full",
  scale: "The page was zoomed",
};
const GONE = "This plan has run out";

const FULL = "This tablet's storage is full. Make room, or carry on: what is drawn now is kept "
  + "only as long as this page stays open, until everything is sent.";
const ZOOMED = "The scale does not hold any more. Go to the next child and check it with the card, "
  + "or carry on: tries are then flagged and have no lengths in millimetres.";

function leftOutOf(plan, progress, screen) {
  const left = plan ? offered(plan, screen.able).left_out : [];
  const count = picturesOf(progress, left.map(({ item }) => item));
  return count > 0 ? `${plural(count, "picture", "pictures")} of the plan not for this tablet` : "";
}

function noteOf({ phase, screen, progress, plan, item }) {
  if (phase === "turn") return screen.tooSmall();
  if (phase === "rest") return `${minutesSince(progress.rest_ms, Date.now())} min so far`;
  if (phase === "end") return leftOutOf(plan, progress, screen);
  if (!item) return "";
  const left = remaining(progress, item);
  return [describe(item), left > 0 ? `${left} to go` : null].filter(Boolean).join(" · ");
}

function choicesOf({ phase, last, item, plan, progress, screen }) {
  if (phase === "rest") return ["resume", "finish"];
  const can = ["leave", "rest"];
  if (phase === "drawing") can.push("done");
  if (phase === "drawing" || last) can.push("again");
  if (item && phase !== "end" && phase !== "thanks") can.push("skip");
  const planned = plan?.items.find(({ item_id }) => item_id === item?.item_id);
  return planned && phase !== "end" ? [...can, ...stepsFrom(planned, progress, screen.able.fits)] : can;
}

const earlyOf = (marks) =>
  (marks.some(({ kind }) => kind === EARLY) ? " · touched before the go signal" : "");

/** The trial that marks are for: the one being drawn, else the last one. */
function aboutOf({ phase, item, attempt, last }) {
  if (phase === "drawing") {
    return { name: `This line: ${item.task.name}${earlyOf(attempt.marks)}`, mark: null };
  }
  return last && {
    name: `The last line: ${last.item.task.name}${earlyOf(last.marks)}`, mark: last.kind,
  };
}

/** @param {import("./sitting.mjs").Sitting} sitting */
export function stripState(sitting) {
  const { phase, item, last, screen } = sitting;
  const marked = phase === "drawing" ? { item, said: {}, seen: [] } : last;
  const troubles = { full: FULL, scale: ZOOMED };
  return {
    title: !sitting.plan && phase === "end" ? GONE : TITLES[phase] ?? (item ?? last?.item)?.task.name ?? "Picture",
    note: noteOf(sitting),
    about: aboutOf(sitting) ?? null,
    can: choicesOf(sitting),
    warning: troubles[phase] ?? screen.warning(),
    hand_asked: marked?.item.condition?.hand ?? null,
    hand_used: marked?.said.hand_used ?? null,
    seen: marked?.seen ?? [],
    quiet: sitting.quiet,
    resting: phase === "rest",
  };
}
