"""Tables for research, de-identified by construction.

A row is made from named columns only, none of which holds a name, a code, a date, free
text or an id that is used anywhere else. Small groups are not left out yet.
"""

import csv
import io
from collections.abc import Iterable, Iterator
from datetime import date
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.columns import CONDITION_COLUMNS, LINNET, Cell, ColumnInfo
from server.database import Sessions
from server.dictionary import report_cells, trial_columns
from server.export_series import series_columns, series_rows
from server.library import LIBRARY
from server.store_marks import latest_marks, was_helped
from server.store_sessions import sessions_of
from server.store_trials import results_of, trials_of_child
from server.tables import Child, MarkRow, ResultRow, TrialRow

Row = dict[str, Cell]

LIBRARY_IDS = frozenset(task["task_id"] for task in LIBRARY)
BLOCK_LETTERS = 32 * 1024
# A spreadsheet takes a text that begins like this for a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

STUDY_CODE = ColumnInfo(
    "study_code", "string", "", "Child", "Random code of the child, for this project only.", LINNET
)
TRIAL_KEY = ColumnInfo(
    "trial_key", "string", "", "Trial", "Random code of the trial, for this project only.", LINNET
)
TRIAL_HEAD = (
    STUDY_CODE,
    TRIAL_KEY,
    ColumnInfo(
        "day_offset", "integer", "d", "Day", "Days since the child's first session.", LINNET
    ),
    ColumnInfo("seq", "integer", "1", "Order", "Place of the trial in its session.", LINNET),
    ColumnInfo(
        "outcome",
        "string",
        "",
        "Outcome",
        "As marked: finished, stopped, spoilt or not_done; empty if not marked.",
        LINNET,
    ),
    ColumnInfo("hand_used", "string", "", "Hand used", "As marked; empty if not marked.", LINNET),
    ColumnInfo("helped", "boolean", "", "Helped", "Whether any help was marked.", LINNET),
)
MEASURE_TABLE = (
    STUDY_CODE,
    TRIAL_KEY,
    ColumnInfo("measure", "string", "", "Measure", "Id of the measure.", LINNET),
    ColumnInfo("value", "number", "", "Value", "In the unit beside it; empty if refused.", LINNET),
    ColumnInfo("low", "number", "", "Low end", "Of its interval, where it has one.", LINNET),
    ColumnInfo("high", "number", "", "High end", "Of its interval, where it has one.", LINNET),
    ColumnInfo("unit", "string", "", "Unit", "UCUM code.", LINNET),
    ColumnInfo("reason", "string", "", "Reason", "Why there is no value.", LINNET),
)
CHILD_TABLE = (
    STUDY_CODE,
    ColumnInfo(
        "age_band_years",
        "integer",
        "a",
        "Age",
        "Whole years at the first session: a band of 12 months.",
        LINNET,
    ),
    ColumnInfo(
        "preferred_hand", "string", "", "Preferred hand", "As reported: left, right, mixed.", LINNET
    ),
    ColumnInfo("sessions", "integer", "1", "Sessions", "Sessions with a trial.", LINNET),
    ColumnInfo("trials", "integer", "1", "Trials", "All trials, whatever came of them.", LINNET),
)
DICTIONARY_TABLE = tuple(
    ColumnInfo(name, "string", "", name.capitalize(), meaning, LINNET)
    for name, meaning in (
        ("table", "File the column is in."),
        ("column", "Header of the column."),
        ("type", "Data Package type."),
        ("unit", "UCUM code."),
        ("label", "Short name."),
        ("meaning", "Definition."),
        ("source", "Where the definition comes from."),
    )
)


class ExportedTrial(NamedTuple):
    """One trial with what its row is made of."""

    child: Child
    first_day: date
    day: date
    trial: TrialRow
    result: ResultRow
    mark: MarkRow | None


def columns_of(table: str) -> list[ColumnInfo]:
    """Return the columns of a table, one of `ROWS`."""
    return {
        "trials": [*TRIAL_HEAD, *trial_columns()],
        "measures": list(MEASURE_TABLE),
        "series": [STUDY_CODE, *series_columns()],
        "children": list(CHILD_TABLE),
        "dictionary": list(DICTIONARY_TABLE),
    }[table]


def _children(db: Session) -> list[Child]:
    # By study code: the order of the practice's own codes stays in the practice.
    return list(db.scalars(select(Child).order_by(Child.study_code)))


def exported_trials(db: Session) -> Iterator[ExportedTrial]:
    """Yield all trials of all children, those of one child in order."""
    for child in _children(db):
        days = {session.id: session.day for session in sessions_of(db, child.id)}
        trials = trials_of_child(db, child.id)
        marks = latest_marks(db, [trial.id for trial in trials])
        for trial, result in results_of(db, trials):
            yield ExportedTrial(
                child,
                min(days.values()),
                days[trial.session_id],
                trial,
                result,
                marks.get(trial.id),
            )


def _trial_rows(db: Session) -> Iterator[Row]:
    for one in exported_trials(db):
        facts = one.result.facts
        head: Row = {
            "study_code": one.child.study_code,
            "trial_key": one.trial.export_key,
            "day_offset": (one.day - one.first_day).days,
            "seq": one.trial.seq,
            "outcome": None if one.mark is None else one.mark.outcome,
            "hand_used": None if one.mark is None else one.mark.hand_used,
            "helped": None if one.mark is None else was_helped(one.mark),
        }
        asked: Row = {column.name: facts[column.name] for column in CONDITION_COLUMNS}
        # A task of the practice's own may be called after the child it was made for.
        if asked["task_id"] not in LIBRARY_IDS:
            asked["task_id"] = None
        yield head | asked | report_cells(one.result.report)


def _measure_rows(db: Session) -> Iterator[Row]:
    for one in exported_trials(db):
        for name, value in one.result.report["measures"].items():
            yield {
                "study_code": one.child.study_code,
                "trial_key": one.trial.export_key,
                "measure": name,
                "value": value["value"],
                "low": value.get("low"),
                "high": value.get("high"),
                "unit": value["unit"],
                "reason": value.get("reason"),
            }


def _series_rows(db: Session) -> Iterator[Row]:
    for child in _children(db):
        for row in series_rows(db, child.id):
            row["study_code"] = child.study_code
            yield row


def _child_rows(db: Session) -> Iterator[Row]:
    for child in _children(db):
        trials = trials_of_child(db, child.id)
        sessions = sessions_of(db, child.id)
        if not trials:
            continue
        yield {
            "study_code": child.study_code,
            "age_band_years": age_years(child.birth_month, sessions[0].day),
            "preferred_hand": child.preferred_hand,
            "sessions": len({trial.session_id for trial in trials}),
            "trials": len(trials),
        }


def _dictionary_rows(_db: Session) -> Iterator[Row]:
    for table in ("trials", "measures", "series", "children"):
        for column in columns_of(table):
            named = column._asdict()
            yield {"table": f"{table}.csv", "column": named.pop("name"), **named}


ROWS = {
    "trials": _trial_rows,
    "measures": _measure_rows,
    "series": _series_rows,
    "children": _child_rows,
    "dictionary": _dictionary_rows,
}


def age_years(birth_month: str | None, day: date) -> int | None:
    """Return the age on a day in whole years, from a birth month ``YYYY-MM``.

    Examples
    --------
    >>> age_years("2019-06", date(2026, 5, 31)), age_years("2019-06", date(2026, 6, 1))
    (6, 7)
    """
    if birth_month is None:
        return None
    born = date.fromisoformat(f"{birth_month}-01")
    return (12 * (day.year - born.year) + day.month - born.month) // 12


def cell_text(cell: Cell, kind: str) -> str:
    """Return a cell as it stands in the file.

    Parameters
    ----------
    cell : str, float, int, bool or None
        The value; None becomes empty.
    kind : str
        Type of its column. Only text is guarded against being taken for a formula, so
        that negative numbers stay numbers.

    Returns
    -------
    str
        Text without quotes; the writer adds those.

    Examples
    --------
    >>> cell_text("=1+1", "string"), cell_text(-1.5, "number"), cell_text(True, "boolean")
    ("'=1+1", '-1.5', 'true')
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if kind == "string" and isinstance(cell, str) and cell.startswith(FORMULA_STARTS):
        return f"'{cell}"
    return str(cell)


def csv_blocks(columns: list[ColumnInfo], rows: Iterable[Row]) -> Iterator[str]:
    """Yield a table by RFC 4180, header first, in blocks of whole records.

    Parameters
    ----------
    columns : list of ColumnInfo
        In the order of the file.
    rows : iterable of dict
        By column name; a missing name is a fault.

    Yields
    ------
    str
        Records, each with its CRLF.
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(column.name for column in columns)
    for row in rows:
        writer.writerow(cell_text(row[column.name], column.type) for column in columns)
        if buffer.tell() > BLOCK_LETTERS:
            yield buffer.getvalue()
            buffer.seek(0)
            buffer.truncate()
    yield buffer.getvalue()


def export_blocks(sessions: Sessions, table: str) -> Iterator[str]:
    """Yield a table, reading the database a few trials at a time."""
    with sessions() as db:
        yield from csv_blocks(columns_of(table), ROWS[table](db))
