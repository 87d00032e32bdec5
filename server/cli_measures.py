"""``linnet measures``: the registry of measures, as a handbook or as a list."""

import textwrap
from collections.abc import Iterator
from typing import Any

import typer

from analysis import ANALYSIS_VERSION
from analysis.registry import MEASURES, Measure, column, reasons_of
from analysis.value import REASONS
from server.cli_forms import Form, csv_lines, json_line
from server.measure_rows import FIELDS, measure_row
from server.numbers import MINUS, near_words

WIDTH = 88
"""Columns of the handbook."""
INDENT = "    "
HELD = "\N{NO-BREAK SPACE}"

PREFACE = """
A value is one finite number with a unit, or one reason why there is none; never zero,
never a guess, in place of a number that is not known. Where several reasons hold, the first
in the order of the list at the end is given.

Units are UCUM codes: "1" is a count, a share from 0 to 1 or a ratio; "{unit}" is the unit
of the measure whose series is looked at. A value whose unit holds mm or cm is given only on
a calibrated tablet.

Values are not norms. Nothing here compares a child with other children, gives an age or
names a condition; a licensed practitioner judges. "Better" is named only where the trade
agrees on it. Compare values only over the same guide, tool, hand, direction and tablet, and
never across two revisions of a measure.

In the formulas: p is a position [mm], x to the right, y down the page; t a time [s]; s the
progress along the guide [mm] and d the signed distance from it [mm], left of travel
positive, both by matching the trace as a whole to its guide; L the length of the guide
[mm]; hw half the full width of its corridor [mm]; x_m the middle of the body [mm]; v a
filtered speed [mm/s]. Distances use unfiltered positions, speeds filtered ones.

Before anything is measured, samples are put into the order of device time, and contacts
shorter than 30 ms and 1 mm are dropped as sensor bounce (not in mode tap). A gap is a step
above 50 ms and above three times the usual one: a pen that moved less than 0.5 mm in it was
resting; otherwise a gap of up to 150 ms is bridged by a straight line, and a longer one
parts the stroke. Progress comes from hidden-Markov matching over candidate projections
(Newson & Krumm 2009, ACM GIS, from memory), so that loops, hairpins and crossings keep
their order.
"""

SCOPES = {
    "trial": "Measures of one trial",
    "cut": "Measures of the edge of one cut piece",
    "series": "Measures of a series of trials or sessions",
}
BETTER = {"low": "less", "high": "more", "near": "near", "none": "not said"}


def list_measures(form: Form) -> None:
    """Print every measure in the order of the registry.

    Parameters
    ----------
    form : Form
        How they are written; as text they make a handbook.
    """
    rows = [measure_row(measure) for measure in MEASURES]
    if form is Form.json:
        for row in rows:
            typer.echo(json_line(row))
    elif form is Form.csv:
        cells = [[_cell(row[name]) for name in FIELDS] for row in rows]
        typer.echo(csv_lines([FIELDS, *cells]), nl=False)
    else:
        typer.echo("\n".join(handbook()))


def _cell(value: Any) -> Any:
    return " ".join(value) if isinstance(value, list) else value


def _ruled(title: str, mark: str) -> list[str]:
    return [title, mark * len(title)]


def _filled(text: str, first: str = "", rest: str = "") -> list[str]:
    """Lines of a paragraph, no wider than the handbook."""
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _part(name: str, text: str) -> list[str]:
    """One named part of an entry: the name, then the text, hanging."""
    return _filled(text, f"{INDENT}{name}: ", INDENT * 2) if text else []


def _facts(measure: Measure) -> list[str]:
    better = BETTER[measure.better]
    if measure.near is not None:
        better = "near " + near_words(measure.near).replace(MINUS, "-")
    facts = [
        f"id {measure.id}",
        f"unit {measure.unit}",
        f"CSV column {column(measure)}",
        f"modes {', '.join(sorted(measure.modes))}",
        f"better {better}",
        f"revision {measure.revision}",
    ]
    # A line ends between two facts or two modes, never inside a fact.
    kept = "; ".join(fact.replace(" ", HELD) for fact in facts).replace(f",{HELD}", ", ")
    return [line.replace(HELD, " ") for line in _filled(kept, INDENT, INDENT)]


def entry_lines(measure: Measure) -> list[str]:
    """Return the handbook's lines on one measure.

    Parameters
    ----------
    measure : Measure
        An entry of the registry.

    Returns
    -------
    list of str
        No line is wider than 88 columns.
    """
    refused = " ".join(REASONS[code] for code in reasons_of(measure))
    return [
        measure.label,
        *_facts(measure),
        *_part("Definition", measure.meaning),
        *_part("Formula", measure.formula),
        *_part("Edge cases", measure.edges),
        *_part("Refused when", refused or "Never."),
        *_part("Source", measure.source),
    ]


def _family(scope: str, family: str) -> Iterator[str]:
    yield from ["", *_ruled(family, "-")]
    for measure in MEASURES:
        if (measure.scope, measure.family) == (scope, family):
            yield from ["", *entry_lines(measure)]


def _reasons() -> Iterator[str]:
    yield from ["", *_ruled("Reasons, first one first", "="), ""]
    for code, sentence in REASONS.items():
        yield from _filled(f"{code}: {sentence}", "", INDENT)


def handbook() -> Iterator[str]:
    """Yield the lines of the handbook: a preface, every measure by scope and family, reasons."""
    yield from _ruled(f"Handbook of measures, Linnet analysis {ANALYSIS_VERSION}", "=")
    for paragraph in PREFACE.strip().split("\n\n"):
        yield from ["", *_filled(" ".join(paragraph.split()))]
    for scope, title in SCOPES.items():
        families = dict.fromkeys(one.family for one in MEASURES if one.scope == scope)
        if families:
            yield from ["", "", *_ruled(title, "=")]
        for family in families:
            yield from _family(scope, family)
    yield from _reasons()
