"""What was entered from paper, in plain words."""

from collections.abc import Iterator, Mapping
from typing import Any

from server.entries import EntryCriterionFields
from server.numbers import NO_BREAK, each_side, trimmed
from server.sentences_criterion import bounds_said
from server.sentences_modes import counts_sentence

MET = {True: "met", False: "not met", None: "cannot be said"}


def entry_sentences(
    report: Mapping[str, Any], asked: EntryCriterionFields | None = None
) -> list[str]:
    """Say what was entered, and whether it was what was asked for.

    Parameters
    ----------
    report : mapping
        ``linnet-entry-report/1``.
    asked : EntryCriterionFields or None
        The criterion of the task.

    Returns
    -------
    list of str
        Whole sentences.
    """
    return [*_entered(report["entered"]), *_criterion(report["criterion"], asked)]


def _entered(entered: Mapping[str, Any]) -> Iterator[str]:
    counted = counts_sentence(entered["counts"])
    if counted is not None:
        yield counted
    stray_mm, duration_s = entered["largest_stray_mm"], entered["duration_s"]
    if stray_mm is not None:
        width_mm = entered["corridor_mm"]
        beside = "" if width_mm is None else f" (asked: {each_side(width_mm / 2)})"
        yield f"Farthest from the line, by ruler: {trimmed(stray_mm)}{NO_BREAK}mm{beside}."
    if duration_s is not None:
        yield f"It took {trimmed(duration_s)}{NO_BREAK}s."


def _criterion(
    found: Mapping[str, Any] | None, asked: EntryCriterionFields | None
) -> Iterator[str]:
    if found is None or asked is None:
        return
    name, unit = "largest stray", f"{NO_BREAK}mm"
    if asked.count is not None:
        name, unit = asked.count.replace("_", " "), ""
    words = bounds_said(asked.model_dump(), lambda bound: f"{trimmed(bound)}{unit}")
    yield f"Asked for: {name} {words}. In this attempt: {MET[found['met']]}."
