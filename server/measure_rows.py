"""What the registry says of each measure, for lists and scripts."""

from typing import Any

from analysis.registry import Measure, column, reasons_of

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
    "interval",
    "meaning",
    "formula",
    "edges",
    "reasons",
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
        Its fields; `modes` sorted, `reasons` in order of precedence.
    """
    made = {
        "column": column(measure),
        "modes": sorted(measure.modes),
        "reasons": list(reasons_of(measure)),
    }
    return {name: made[name] if name in made else getattr(measure, name) for name in FIELDS}
