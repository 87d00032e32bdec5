"""What a report says, in plain words: the one sentence first."""

from collections.abc import Iterable, Mapping
from typing import Any

from analysis.quality import FLAGS
from analysis.value import REASONS
from server.numbers import count_word, each_side, number, percent
from server.sentences_modes import both_sentence, target_sentence, width_clause
from server.wording import plural, sentence_of

Report = Mapping[str, Any]

NO_NORM = (
    "Compared only with this child's own trials. Not a standardised test, a norm or a diagnosis."
)
SAME_SERIES = "Same task, width, hand, direction, tool and tablet only."
PRESSURE_NOTE = "Share of this pen's range, not force."
MIDLINE_NOTE = "Assumes that the tablet did not move and the trunk stayed still."

PICTURES = {
    "tap": "Picture of the dots and of where they were touched.",
    "join": "Picture of the line over the dots that it joins.",
    "both": "Picture of what both hands drew over their guides.",
}
UNKNOWN_WIDTH = "width in mm not known"
VARYING_WIDTH = "width varies along the line"
# A pen that went farther than this for the line it covered did not follow it.
WANDERING_RATIO = 2.0
# A share that would be written as none.
NEXT_TO_NOTHING_PCT = 0.5

DIRECTION_WORDS = {
    "left_to_right": "left to right",
    "right_to_left": "right to left",
    "downward": "downward",
    "upward": "upward",
    "clockwise": "clockwise",
    "anticlockwise": "anticlockwise",
}
TABLET_WORDS = {
    "centred": "tablet centred",
    "left": "tablet to the left",
    "right": "tablet to the right",
}
SURFACE_WORDS = {
    "flat": "flat surface",
    "sloped": "sloped surface",
    "upright": "upright surface",
    "floor": "on the floor",
}
HAND_WORDS = {
    "left": "left hand",
    "right": "right hand",
    "free": "free choice of hand",
    "both": "both hands",
}


def sentence(report: Report) -> str:
    """Say in one or two sentences what is known of a trial, and what is not.

    Parameters
    ----------
    report : mapping
        ``linnet-report/1``.

    Returns
    -------
    str
        For example "On the path for 91 % of the line, 6 mm each side. One pause, at the
        midline; crossed without lifting."
    """
    flags = report["quality"]["flags"]
    if "scoring_failed" in flags:
        return "This trial could not be measured yet. What was drawn is stored safely."
    if "nothing_drawn" in flags:
        return "Nothing was drawn, so there is nothing to measure."
    if report["mode"] == "both":
        return both_sentence(report)
    if report["targets"] is not None:
        parts = [_way(report), target_sentence(report), sentence_of(_stops(report))]
    elif _wanders(report):
        parts = [_wandering(report), _nearness(report), sentence_of(_pauses(report))]
    else:
        parts = [_way(report), _nearness(report), sentence_of(_stops(report))]
    return " ".join(part for part in parts if part)


def alt_text(report: Report) -> str:
    """Say what the picture of a trial shows, for those who cannot see it."""
    if "nothing_drawn" in report["quality"]["flags"]:
        return "Picture of the guide. Nothing was drawn on it."
    outside = len(report["events"]["departures"])
    seen = [PICTURES.get(report["mode"], "Picture of the line over its guide."), sentence(report)]
    if outside:
        stretches = f"{count_word(outside)} {plural('stretch', outside)}"
        seen.append(sentence_of(f"{stretches} outside the path outlined"))
    return " ".join(seen)


def flag_sentences(report: Report) -> list[str]:
    """Return a sentence for every flag that the one sentence does not say already."""
    said = {"nothing_drawn", "scoring_failed", "partial"}
    if not _wanders(report):
        said.add("traced_other_way")
    return [FLAGS[code] for code in report["quality"]["flags"] if code not in said]


def reason_sentence(code: str) -> str:
    """Return in words why there is no number."""
    return REASONS[code]


def width_words(report: Report) -> str | None:
    """Return how wide the path was, to stand beside every reading of "on the path".

    None if there is nothing to say: no corridor, or nothing drawn on a guide.
    """
    if not report["quality"]["calibrated"]:
        return UNKNOWN_WIDTH
    if report["half_width_mm"] is not None:
        return each_side(report["half_width_mm"])
    return VARYING_WIDTH if _value(report, "in_corridor_share") else None


def widths_words(trials: Iterable[Mapping[str, Any]]) -> str:
    """Return how wide the path of some trials of one width was, by their facts.

    Parameters
    ----------
    trials : iterable of mapping
        Facts of each: ``half_width_mm`` [mm], ``calibrated`` and ``scores``.

    Returns
    -------
    str
        As `width_words` has it of one trial; nothing without a corridor.
    """
    wide = [one for one in trials if one["half_width_mm"] is not None or _has_share(one)]
    if not wide:
        return ""
    known = [one for one in wide if one["calibrated"]]
    if not known:
        return UNKNOWN_WIDTH
    half_mm = known[-1]["half_width_mm"]
    words = VARYING_WIDTH if half_mm is None else each_side(half_mm)
    return words if len(known) == len(wide) else f"{words}, {UNKNOWN_WIDTH} in some trials"


def _has_share(facts: Mapping[str, Any]) -> bool:
    return facts["scores"]["on_path_pct"] is not None


def condition_words(condition: Mapping[str, Any]) -> list[str]:
    """Return hand, direction, position, tool and how the tablet lay, as far as they were said."""
    hand = HAND_WORDS.get(condition.get("hand") or "")
    direction = DIRECTION_WORDS.get(condition.get("direction") or "")
    rest = [condition.get("position"), condition.get("tool")]
    lay = [
        TABLET_WORDS.get(condition.get("tablet_at") or ""),
        SURFACE_WORDS.get(condition.get("surface") or ""),
    ]
    return [word.replace("_", " ") for word in [hand, direction, *rest, *lay] if word]


def _value(report: Report, measure_id: str) -> float | None:
    found = report["measures"].get(measure_id)
    return None if found is None else found["value"]


def _reason(report: Report, measure_id: str) -> str | None:
    found = report["measures"].get(measure_id)
    return None if found is None else found.get("reason")


def _way(report: Report) -> str:
    if "traced_other_way" not in report["quality"]["flags"]:
        return ""
    way = DIRECTION_WORDS.get(report["travelled"] or "")
    if way is None:
        return "Drawn the other way from what was asked."
    return f"Drawn {way}, the other way from what was asked."


def _nearness(report: Report) -> str:
    covered, on_path = report["scores"]["covered_pct"], report["scores"]["on_path_pct"]
    if covered is None:
        return _no_line(report)
    if on_path is None:
        return _no_share(report, covered)
    width = width_clause(report)
    drawn, near = _value(report, "completion"), _value(report, "in_corridor_share")
    if "partial" in report["quality"]["flags"] and drawn == near:
        return f"{percent(covered)} of the line was drawn, all of it on the path{width}."
    if "partial" in report["quality"]["flags"] or _wanders(report):
        return (
            f"{percent(covered)} of the line was drawn; "
            f"{percent(on_path)} of the whole line was on the path{width}."
        )
    return f"On the path for {percent(on_path)} of the line{width}."


def _no_line(report: Report) -> str:
    reason = _reason(report, "completion")
    if reason in (None, "no_guide"):
        return "There is no line to compare with, so nothing is known about nearness to it."
    return f"How near the line it was drawn is not known: {_clause(reason)}."


def _no_share(report: Report, covered: float) -> str:
    reason = _reason(report, "in_corridor_share")
    if reason == "too_little_traced":
        drawn = f"Only {percent(covered)}" if covered >= NEXT_TO_NOTHING_PCT else "Next to nothing"
        return f"{drawn} of the line was drawn: too little to say how near it was."
    why = {
        "guide_lacks_feature": "the guide has no corridor, so there is no share on the path",
        None: "the share on the path is not measured in this kind of task",
    }.get(reason, f"the share on the path is not known: {_clause(reason)}")
    return f"{percent(covered)} of the line was drawn; {why}."


def _clause(code: str | None) -> str:
    text = REASONS.get(code or "", "it could not be measured").rstrip(".")
    return text[0].lower() + text[1:]


def _wanders(report: Report) -> bool:
    ratio = _value(report, "path_length_ratio")
    return ratio is not None and ratio > WANDERING_RATIO


def _wandering(report: Report) -> str:
    ratio = _value(report, "path_length_ratio") or 0.0
    times = number(ratio, 1 if ratio < 10.0 else 0)
    return (
        f"The pen went {times} times as far as the line it covered: much of this does not follow "
        "the line."
    )


def _stops(report: Report) -> str:
    clauses = [_pauses(report), _crossing(report), _lifts(report)]
    return "; ".join(clause for clause in clauses if clause)


def _pauses(report: Report) -> str:
    count = _value(report, "pause_count")
    if count is None:
        reason = _reason(report, "pause_count")
        if reason == "no_time":
            return "no times were recorded, so speed and pauses are not known"
        if reason == _reason(report, "completion"):
            return ""
        return f"pauses are not known: {_clause(reason)}" if reason else ""
    pauses = int(count)
    words = f"{count_word(pauses)} {plural('pause', pauses)}"
    if pauses == 0:
        return "no pause"
    there = int(_value(report, "midline_pause_count") or 0)
    if there == 0:
        return words
    if pauses == 1:
        return f"{words}, at the midline"
    share = "all" if there == pauses else count_word(there)
    if pauses == 2 and there == 2:
        share = "both"
    return f"{words}, {share} at the midline"


def _crossing(report: Report) -> str:
    share = _value(report, "midline_crossing_share")
    if share is None:
        return ""
    if share >= 1.0:
        after_pause = bool(_value(report, "midline_pause_count"))
        return "crossed without lifting" if after_pause else "midline crossed without lifting"
    if share > 0.0:
        return f"midline crossed without lifting on {percent(100.0 * share)} of its passages"
    if any(crossing["lifted"] for crossing in report["events"]["crossings"]):
        return "midline crossed, but with the pen lifted on the way"
    if _value(report, "lift_count"):
        return "midline not crossed with the pen down"
    return "midline not crossed"


def _lifts(report: Report) -> str:
    count = _value(report, "lift_count")
    if not count:
        return ""
    times = {1: "once", 2: "twice"}.get(int(count), f"{count_word(int(count))} times")
    return f"pen lifted {times}"
