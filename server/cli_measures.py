"""``linnet measures``: the registry of measures, as a list."""

from typing import Any

import typer

from analysis.registry import MEASURES, Measure, column
from server.cli_forms import Form, csv_lines, json_line

FIELDS = (
    "id",
    "label",
    "unit",
    "column",
    "family",
    "scope",
    "modes",
    "better",
    "near",
    "revision",
    "meaning",
    "source",
)


def measure_row(measure: Measure) -> dict[str, Any]:
    """Return what the registry says of a measure, as plain values.

    Parameters
    ----------
    measure : Measure
        One row of the registry.

    Returns
    -------
    dict
        Its fields; `modes` sorted.
    """
    made = {"column": column(measure), "modes": sorted(measure.modes)}
    return {name: made[name] if name in made else getattr(measure, name) for name in FIELDS}


def list_measures(form: Form) -> None:
    """Print every measure in the order of the registry.

    Parameters
    ----------
    form : Form
        How they are written.
    """
    rows = [measure_row(measure) for measure in MEASURES]
    if form is Form.json:
        for row in rows:
            typer.echo(json_line(row))
    elif form is Form.csv:
        cells = [[_cell(row[name]) for name in FIELDS] for row in rows]
        typer.echo(csv_lines([FIELDS, *cells]), nl=False)
    else:
        for row in rows:
            typer.echo(f"{row['id']} [{row['unit']}] {row['label']}\n    {row['meaning']}")


def _cell(value: Any) -> Any:
    return " ".join(value) if isinstance(value, list) else value
