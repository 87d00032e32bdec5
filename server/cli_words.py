"""A report in plain words for a terminal."""

from collections.abc import Iterator, Mapping
from typing import Any

from analysis.quality import FLAGS
from analysis.registry import MEASURES
from analysis.value import REASONS
from server.numbers import each_side, percent, with_unit
from server.sentences import NO_NORM

NOT_KNOWN = "not known"


def _reading(label: str, value_pct: float | None) -> str:
    return f"{label} {NOT_KNOWN if value_pct is None else percent(value_pct)}"


def _sentence(report: Mapping[str, Any]) -> str:
    scores, half_width_mm = report["scores"], report["half_width_mm"]
    beside = "" if half_width_mm is None else f" ({each_side(half_width_mm)})"
    readings = (
        _reading("On the path", scores["on_path_pct"]) + beside,
        _reading("covered", scores["covered_pct"]),
        _reading("moving", scores["moving_pct"]),
    )
    return ", ".join(readings) + "."


def _rows(values: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for measure in MEASURES:
        value = values.get(measure.id)
        if value is None:
            continue
        if value["value"] is None:
            yield measure.label, f"none: {REASONS[value['reason']]}"
        else:
            yield measure.label, with_unit(value["value"], measure.unit, measure.decimals)


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
    rows = list(_rows(report["measures"]))
    widest = max((len(label) for label, _ in rows), default=0)
    lines = [f"{number}. Trial {report['trial_id']}", _sentence(report)]
    lines += [f"Caution: {FLAGS[flag]}" for flag in report["quality"]["flags"]]
    lines += [f"  {label:<{widest}}  {text}" for label, text in rows]
    return "\n".join([*lines, NO_NORM, ""])
