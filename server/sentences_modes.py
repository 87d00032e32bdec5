"""What is said of dots, of two hands at once and of a cut piece, in plain words."""

from collections.abc import Mapping
from typing import Any

from server.numbers import count_word, each_side, percent, with_unit
from server.wording import capital, plural

Report = Mapping[str, Any]

# The two contacts are told apart by the tablet; which hand was which is asked, not sensed.
CONTACTS = ("first contact", "second contact")
# Lags below what the eye sees between two hands read as together.
TOGETHER_S = 0.05
STILL_MM = 0.5

NO_LINES = "There is no guide that two hands could follow, so how near they drew is not known."
ONE_CONTACT = "Only one contact was seen, so two hands cannot be compared."

REGISTRATIONS = {
    "marks": "Laid on the template by its printed marks",
    "best_fit": "Laid on the template by the best fit, which hides where on the sheet and how far "
    "turned it was cut",
    "none": "Taken as it lies in the template's own coordinates",
}


def target_sentence(report: Report) -> str:
    """Say how many dots of a trial of mode ``tap`` or ``join`` were met.

    Parameters
    ----------
    report : mapping
        ``linnet-report/1``.

    Returns
    -------
    str
        For example "8 of 10 dots touched. One touch in no dot."
    """
    targets = report["targets"]
    if targets is None:
        return "There are no dots to compare with, so nothing is known about them."
    word = "joined" if report["mode"] == "join" else "touched"
    parts = [f"{targets['contacted']} of {targets['count']} dots {word}."]
    error = _value(report, "target_error_mean")
    if error is not None:
        near = "passed" if report["mode"] == "join" else "touched"
        parts.append(f"On average {near} {with_unit(error, 'mm', 1)} from the middle.")
    misses = _count(report, "miss_count")
    if misses and report["mode"] == "tap":
        parts.append(f"{capital(count_word(misses))} {plural('touch', misses)} in no dot.")
    again = _count(report, "repeat_contact_count")
    if again:
        parts.append(f"{capital(count_word(again))} {plural('touch', again)} again.")
    return " ".join(parts)


def both_sentence(report: Report) -> str:
    """Say how a trial of two hands at once went, contact by contact.

    Parameters
    ----------
    report : mapping
        ``linnet-report/1`` with its ``contacts``.

    Returns
    -------
    str
        For example "First contact on the path for 91 % of its line, second contact for 84 %,
        9 mm each side. The second contact followed 0.2 s behind."
    """
    contacts = report["contacts"] or []
    if all(contact["part"] is None for contact in contacts):
        said = [NO_LINES]
    else:
        said = [_contact_sentence(contact, report) for contact in contacts]
    said += [ONE_CONTACT] if len(contacts) < 2 else filter(None, [_lag(report)])
    return " ".join(said)


def holds(contact: Report, report: Report) -> bool:
    """Whether a contact had no line to follow while the other one had."""
    others = [one for one in report["contacts"] if one["part"] is not None]
    return contact["part"] is None and bool(others)


def width_clause(report: Report) -> str:
    """Return how wide the path was, to follow "on the path" in a sentence."""
    if not report["quality"]["calibrated"]:
        return "; how wide the path was in mm is not known"
    if report["half_width_mm"] is None:
        return "; the width of the path varies"
    return f", {each_side(report['half_width_mm'])}"


def _contact_sentence(contact: Report, report: Report) -> str:
    name = capital(CONTACTS[contact["pointer"]])
    if contact["part"] is None:
        return _hold(name, report)
    covered = _value(contact, "completion")
    on_path = _value(contact, "in_corridor_share")
    if covered is None:
        return f"{name}: how near its line it was is not known."
    if on_path is None:
        return f"{name} drew {percent(100.0 * covered)} of its line."
    share = percent(100.0 * on_path)
    return f"{name} on the path for {share} of its line{width_clause(report)}."


def _hold(name: str, report: Report) -> str:
    drift, lifts = _value(report, "hold_drift"), _count(report, "hold_lift_count")
    if drift is None:
        return f"{name} held."
    if drift < STILL_MM:
        moved = "held still"
    else:
        moved = f"held and moved by up to {with_unit(drift, 'mm', 1)}"
    if lifts:
        return f"{name} {moved}; lifted {count_word(lifts)} {plural('time', lifts)}."
    return f"{name} {moved}."


def _lag(report: Report) -> str | None:
    lag_s = _value(report, "both_progress_lag")
    if lag_s is None:
        return None
    if abs(lag_s) < TOGETHER_S:
        return "Both went along together."
    behind = CONTACTS[1] if lag_s > 0 else CONTACTS[0]
    return f"The {behind} was {with_unit(abs(lag_s), 's', 1)} behind."


def cut_sentences(report: Report, band_mm: float | None) -> list[str]:
    """Say what is known of a cut piece, and how it was laid on its template.

    Parameters
    ----------
    report : mapping
        ``linnet-cut-report/1``.
    band_mm : float or None
        What counts as near the line, each side. [mm]

    Returns
    -------
    list of str
        Whole sentences.
    """
    flags = report["quality"]["flags"]
    if "scoring_failed" in flags:
        return ["This cut could not be measured. What was entered is safe."]
    said: list[str] = []
    mean = _value(report, "cut_deviation_mean")
    share = _value(report, "cut_within_tolerance_share")
    if mean is not None:
        said.append(f"Cut {with_unit(mean, 'mm', 1)} from the line on average.")
    if share is not None:
        side = "" if band_mm is None else f", {each_side(band_mm)}"
        said.append(f"{percent(100.0 * share)} of the edge near enough to the line{side}.")
    bias = _value(report, "cut_bias_outward")
    if bias is not None and round(bias, 1) != 0:
        word = "left on outside the line" if bias > 0 else "cut away inside the line"
        said.append(f"On average {with_unit(abs(bias), 'mm', 1)} of paper {word}.")
    laid = report["registration"]
    # Without a fit nothing was laid on anything.
    if laid["turned_deg"] is not None or laid["moved_mm"] is not None:
        said.append(f"{REGISTRATIONS[laid['kind']]}{_misfit(laid)}.")
    return said


def _misfit(laid: Report) -> str:
    if laid["rms_mm"] is None or laid["kind"] != "marks":
        return ""
    return f", which fit to {with_unit(laid['rms_mm'], 'mm', 1)}"


def counts_sentence(counts: Mapping[str, int]) -> str | None:
    """Say what an adult counted on a cut; None if nothing.

    Examples
    --------
    >>> counts_sentence({"snips": 6, "paper_turns": 1})
    'Counted: snips 6, paper turns 1.'
    """
    if not counts:
        return None
    listed = ", ".join(f"{name.replace('_', ' ')} {count}" for name, count in counts.items())
    return f"Counted: {listed}."


def _value(report: Report, measure_id: str) -> float | None:
    found = report["measures"].get(measure_id)
    return None if found is None else found["value"]


def _count(report: Report, measure_id: str) -> int:
    return int(_value(report, measure_id) or 0)
