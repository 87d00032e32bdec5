"""What a report says, in plain words: the one sentence first."""

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.quality import FLAGS
from analysis.value import REASONS
from server.numbers import count_word, each_side, number, percent

Report = Mapping[str, Any]

NO_NORM = (
    "Compared only with this child's own trials. Not a standardised test, a norm or a diagnosis."
)
SAME_SERIES = "Same task, width, hand, direction, tool and tablet only."
PRESSURE_NOTE = "Share of this pen's range, not force."
MIDLINE_NOTE = "Assumes that the tablet did not move and the trunk stayed still."

# A pen that went farther than this for the line it covered did not follow it.
WANDERING_RATIO = 2.0

DIRECTION_WORDS = {
    "left_to_right": "left to right",
    "right_to_left": "right to left",
    "downward": "downward",
    "upward": "upward",
    "clockwise": "clockwise",
    "anticlockwise": "anticlockwise",
}
HAND_WORDS = {"left": "left hand", "right": "right hand", "free": "free choice of hand",
              "both": "both hands"}


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
    parts = [_way(report), _nearness(report), _wandering(report), _stops(report)]
    return " ".join(part for part in parts if part)


def alt_text(report: Report) -> str:
    """Say what the picture of a trial shows, for those who cannot see it."""
    if "nothing_drawn" in report["quality"]["flags"]:
        return "Picture of the guide; nothing was drawn on it."
    events = report["events"]
    departures = [
        f"{count_word(len(events['departures']))} "
        f"{_plural('stretch', len(events['departures']))} outside the corridor"
    ] if report["scores"]["on_path_pct"] is not None else []
    lifts = len(events["lifts"])
    seen = [*departures, f"{count_word(lifts)} {_plural('lift', lifts)} of the pen"]
    return f"Picture of the line over its guide. {sentence(report)} Marked: {', '.join(seen)}."


def flag_sentences(report: Report) -> list[str]:
    """Return a sentence for every quality flag of a report, in the order of the report."""
    return [FLAGS[code] for code in report["quality"]["flags"]]


def reason_sentence(code: str) -> str:
    """Return in words why there is no number."""
    return REASONS[code]


def width_words(report: Report) -> str | None:
    """Return how wide the path was, to stand beside every reading of "on the path".

    None if there is nothing to say: no corridor, or nothing drawn on a guide.
    """
    if not report["quality"]["calibrated"]:
        return "width in mm not known"
    if report["half_width_mm"] is not None:
        return each_side(report["half_width_mm"])
    return "width varies along the line" if _value(report, "in_corridor_share") else None


def condition_words(condition: Mapping[str, Any]) -> list[str]:
    """Return hand, direction, position and tool as asked, as far as they were said."""
    hand = HAND_WORDS.get(condition.get("hand") or "")
    direction = DIRECTION_WORDS.get(condition.get("direction") or "")
    rest = [condition.get("position"), condition.get("tool")]
    return [word.replace("_", " ") for word in [hand, direction, *rest] if word]


def joined(words: Sequence[str]) -> str:
    """Return words as a list in a sentence.

    Examples
    --------
    >>> joined(["a", "b", "c"])
    'a, b and c'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _value(report: Report, measure_id: str) -> float | None:
    found = report["measures"].get(measure_id)
    return None if found is None else found["value"]


def _reason(report: Report, measure_id: str) -> str | None:
    found = report["measures"].get(measure_id)
    return None if found is None else found.get("reason")


def _plural(word: str, count: int) -> str:
    if count == 1:
        return word
    return word + ("es" if word.endswith("ch") else "s")


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
        return "There is no line to compare with, so nothing is known about nearness to it."
    if on_path is None:
        return _no_share(report, covered)
    beside = width_words(report)
    width = f", {beside}" if beside else ""
    if "partial" in report["quality"]["flags"]:
        return (
            f"{percent(covered)} of the line was drawn; "
            f"{percent(on_path)} of the whole line was on the path{width}."
        )
    return f"On the path for {percent(on_path)} of the line{width}."


def _no_share(report: Report, covered: float) -> str:
    reason = _reason(report, "in_corridor_share")
    if reason == "too_little_traced":
        return f"Only {percent(covered)} of the line was drawn: too little to say how near it was."
    why = {
        "guide_lacks_feature": "the guide has no corridor, so there is no share on the path",
        None: "the share on the path is not measured in this kind of task",
    }.get(reason, f"the share on the path is not known: {_clause(reason)}")
    return f"{percent(covered)} of the line was drawn; {why}."


def _clause(code: str | None) -> str:
    text = REASONS.get(code or "", "it could not be measured").rstrip(".")
    return text[0].lower() + text[1:]


def _wandering(report: Report) -> str:
    ratio = _value(report, "path_length_ratio")
    if ratio is None or ratio <= WANDERING_RATIO:
        return ""
    return (
        f"The pen went {number(ratio, 1)} times as far as the line it covered, so nearness to the "
        "line says little here."
    )


def _stops(report: Report) -> str:
    clauses = [_pauses(report), _crossing(report), _lifts(report)]
    said = "; ".join(clause for clause in clauses if clause)
    return f"{said[0].upper()}{said[1:]}." if said else ""


def _pauses(report: Report) -> str:
    count = _value(report, "pause_count")
    if count is None:
        reason = _reason(report, "pause_count")
        if reason == "no_time":
            return "no times were recorded, so speed and pauses are not known"
        return f"pauses are not known: {_clause(reason)}" if reason else ""
    pauses = int(count)
    words = f"{count_word(pauses)} {_plural('pause', pauses)}"
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
    return "midline not crossed with the pen down"


def _lifts(report: Report) -> str:
    count = _value(report, "lift_count")
    if not count:
        return ""
    times = {1: "once", 2: "twice"}.get(int(count), f"{count_word(int(count))} times")
    return f"pen lifted {times}"
