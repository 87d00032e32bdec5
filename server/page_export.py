"""What the researcher's page says: the tables, and what every column means."""

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.columns import ColumnInfo
from server.export import columns_of, left_out
from server.numbers import count_word, unit_words
from server.sentences import NO_NORM
from server.wording import sentence_of

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
NO_CONSENT = "no consent to research is noted and in force"
TABLET_ONLY = "the tables hold trials drawn on a tablet only"
# Of one and of many: what, and why.
LEFT_OUT = {
    "children_without_consent": ("child is", "children are", NO_CONSENT, NO_CONSENT),
    "trials_voided": ("trial is", "trials are", "it is voided", "they are voided"),
    "cuts_and_entries": ("cut or entry is", "cuts or entries are", TABLET_ONLY, TABLET_ONLY),
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


def export_page(db: Session) -> dict[str, Any]:
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
    return {
        "tables": links,
        "families": groups,
        "left_out": left_out_words(left_out(db)),
        "cautions": [NOT_LEFT_OUT, NO_NORM],
    }


def left_out_words(counts: Mapping[str, int]) -> list[str]:
    """Return what is not in the tables and why, a sentence for each reason that there is.

    Parameters
    ----------
    counts : mapping
        Of `server.export.left_out`: how many, by reason. [1]
    """
    said = []
    for key, (one, many, why_one, why_many) in LEFT_OUT.items():
        count = counts[key]
        if count:
            what, why = (one, why_one) if count == 1 else (many, why_many)
            said.append(sentence_of(f"{count_word(count)} {what} left out: {why}"))
    return said


def _lines(columns: Iterable[ColumnInfo]) -> list[ColumnLine]:
    return [ColumnLine(one.name, unit_words(one.unit), one.meaning) for one in columns]
