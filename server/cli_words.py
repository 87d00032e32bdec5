"""A report in plain words for a terminal."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from analysis.quality import FLAGS
from analysis.registry import MEASURES
from analysis.value import REASONS
from server.numbers import each_side, measured, percent
from server.sentences import NO_NORM
from server.sentences_modes import (
    both_sentence,
    counts_sentence,
    cut_sentences,
    holds,
    target_sentence,
)

if TYPE_CHECKING:
    from server.cuts import CutDocument
    from server.entries import EntryDocument

NOT_KNOWN = "not known"
AIMED = ("tap", "join")
# Of such a trial it is only said that nothing is known.
UNKNOWN = {"nothing_drawn", "scoring_failed"}
CONTACTS = ("First contact", "Second contact")


def _reading(label: str, value_pct: float | None) -> str:
    return f"{label} {NOT_KNOWN if value_pct is None else percent(value_pct)}"


def _readings(report: Mapping[str, Any]) -> str:
    scores, half_width_mm = report["scores"], report["half_width_mm"]
    beside = "" if half_width_mm is None else f" ({each_side(half_width_mm)})"
    readings = (
        _reading("On the path", scores["on_path_pct"]) + beside,
        _reading("covered", scores["covered_pct"]),
        _reading("moving", scores["moving_pct"]),
    )
    return ", ".join(readings) + "."


def _sentence(report: Mapping[str, Any]) -> str:
    if report["contacts"]:
        return both_sentence(report)
    if report["mode"] in AIMED and UNKNOWN.isdisjoint(report["quality"]["flags"]):
        return target_sentence(report)
    return _readings(report)


def _rows(values: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for measure in MEASURES:
        value = values.get(measure.id)
        if value is None:
            continue
        if value["value"] is None:
            yield measure.label, f"none: {REASONS[value['reason']]}"
        else:
            yield measure.label, measured(value["value"], measure)


def _table(values: Mapping[str, Any]) -> list[str]:
    rows = list(_rows(values))
    widest = max((len(label) for label, _ in rows), default=0)
    return [f"  {label:<{widest}}  {text}" for label, text in rows]


def report_words(number: int, report: Mapping[str, Any]) -> str:
    """Return a report as a few lines of text: sentence, cautions, measures.

    Parameters
    ----------
    number : int
        Which of the inputs it belongs to, from 1.
    report : mapping
        ``linnet-report/1``.

    Returns
    -------
    str
        Lines without a last line end.
    """
    lines = [f"{number}. Trial {report['trial_id']}", _sentence(report)]
    lines += [f"Caution: {FLAGS[flag]}" for flag in report["quality"]["flags"]]
    lines += _table(report["measures"])
    for contact in report["contacts"] or ():
        name, part = CONTACTS[contact["pointer"]], contact["part"]
        if part is not None:
            name = f"{name}, on line {part + 1}"
        elif holds(contact, report):
            name = f"{name}, which held"
        # What one contact cannot have is no news; the report has the reason of each.
        known = {name: one for name, one in contact["measures"].items() if "reason" not in one}
        lines += [name, *_table(known)]
    return "\n".join([*lines, NO_NORM, ""])


def cut_words(number: int, document: "CutDocument", report: Mapping[str, Any]) -> str:
    """Return the report of a cut piece as a few lines of text.

    Parameters
    ----------
    number : int
        Which of the inputs it belongs to, from 1.
    document : CutDocument
        The cut.
    report : mapping
        Its ``linnet-cut-report/1``.

    Returns
    -------
    str
        Lines without a last line end.
    """
    from analysis.report_cut import CUT_FLAGS

    sentences = {**FLAGS, **CUT_FLAGS}
    lines = [f"{number}. Cut {report['cut_id']}", *cut_sentences(report, document.each_side_mm)]
    counted = counts_sentence(report["counts"])
    lines += [] if counted is None else [counted]
    lines += [f"Caution: {sentences[flag]}" for flag in report["quality"]["flags"]]
    # Without an edge there is nothing that a measure could be refused for.
    lines += [] if document.outline is None else _table(report["measures"])
    return "\n".join([*lines, NO_NORM, ""])


def entry_words(number: int, document: "EntryDocument", report: Mapping[str, Any]) -> str:
    """Return what was entered from paper as a few lines of text.

    Parameters
    ----------
    number : int
        Which of the inputs it belongs to, from 1.
    document : EntryDocument
        The entry.
    report : mapping
        Its ``linnet-entry-report/1``.

    Returns
    -------
    str
        Lines without a last line end.
    """
    from server.entries import ENTRY_FLAGS
    from server.sentences_entries import entry_sentences

    lines = [f"{number}. Entry {report['entry_id']}"]
    lines += entry_sentences(report, document.task.criterion)
    lines += [f"Caution: {ENTRY_FLAGS[flag]}" for flag in report["quality"]["flags"]]
    return "\n".join([*lines, NO_NORM, ""])
