"""What the researcher's page says: the tables, and what every column means."""

from collections.abc import Iterable
from typing import Any, NamedTuple

from server.columns import ColumnInfo
from server.export import columns_of
from server.numbers import unit_words
from server.sentences import NO_NORM

NOT_LEFT_OUT = (
    "Small groups left out: none, this release does not do it yet. Look at the number of children "
    "before you pass a table on."
)
TABLE_WORDS = {
    "trials": ("Trials", "One row a trial: conditions, quality, three readings, every measure."),
    "measures": (
        "Measures",
        "One row a measure of a trial: value and unit, or the reason for none.",
    ),
    "series": (
        "Series",
        "One row a measure over the sessions of one condition: trend, change, noise, hand.",
    ),
    "children": ("Children", "One row a child: age band, preferred hand."),
}


class TableLink(NamedTuple):
    """One file to take away."""

    name: str
    href: str
    about: str


class ColumnLine(NamedTuple):
    """One column in words."""

    name: str
    unit: str
    meaning: str


class ColumnGroup(NamedTuple):
    """Columns of one table."""

    name: str
    rows: list[ColumnLine]


def export_page() -> dict[str, Any]:
    """Return what the template of the export needs."""
    links = [
        TableLink(name, f"/api/export/{table}.csv", about)
        for table, (name, about) in TABLE_WORDS.items()
    ]
    links.append(
        TableLink(
            "Data dictionary",
            "/api/export/dictionary.csv",
            "Every column of these tables: type, unit (UCUM), meaning and source.",
        )
    )
    groups = [
        ColumnGroup(TABLE_WORDS[table][0], _lines(columns_of(table))) for table in TABLE_WORDS
    ]
    return {"tables": links, "families": groups, "cautions": [NOT_LEFT_OUT, NO_NORM]}


def _lines(columns: Iterable[ColumnInfo]) -> list[ColumnLine]:
    return [ColumnLine(one.name, unit_words(one.unit), one.meaning) for one in columns]
