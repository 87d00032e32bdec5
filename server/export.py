"""Tables for research, de-identified by construction.

A row is made from named columns only, none of which holds a name, a code, a date, free
text or an id that is used anywhere else. Only children with a consent to research that is
in force are in the tables. Small groups are not left out yet.
"""

from collections.abc import Iterator
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.columns import CONDITION_COLUMNS, LINNET, ColumnInfo
from server.database import Sessions
from server.dictionary import report_cells, trial_columns
from server.export_csv import Row, csv_blocks
from server.export_series import series_columns, series_rows
from server.library import LIBRARY
from server.store_children import TODAY
from server.store_consents import in_force
from server.store_marks import latest_marks, was_helped
from server.store_results import facts_with
from server.store_sessions import sessions_of
from server.store_trials import results_of, trials_of_child
from server.store_voids import not_voided
from server.tables import Child, ExportRun, MarkRow, ResultRow, SessionRow, TrialRow
from server.trial_readings import hand_noted

RESEARCH = "research"
LIBRARY_IDS = frozenset(task["task_id"] for task in LIBRARY)

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
    ColumnInfo("hand_used", "string", "", "Hand used", "As amended, else as marked.", LINNET),
    ColumnInfo("helped", "boolean", "", "Helped", "Help was marked, set-up aside.", LINNET),
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
    ColumnInfo(
        "trials",
        "integer",
        "1",
        "Trials",
        "Trials, whatever came of them; voided ones not.",
        LINNET,
    ),
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
    children = list(db.scalars(select(Child).order_by(Child.study_code)))
    agreed = in_force(db, [child.id for child in children], RESEARCH, db.info[TODAY])
    return [child for child in children if child.id in agreed]


def left_out(db: Session) -> dict[str, int]:
    """Return how many children, and trials of the others, the tables leave out, by reason. [1]"""
    ids = [child.id for child in _children(db)]
    everybody = db.scalar(select(func.count()).select_from(Child)) or 0
    of_agreed = (
        select(func.count())
        .select_from(TrialRow)
        .join(SessionRow, SessionRow.id == TrialRow.session_id)
        .where(SessionRow.child_id.in_(ids))
    )
    return {
        "children_without_consent": everybody - len(ids),
        "trials_voided": db.scalar(of_agreed.where(~not_voided())) or 0,
        "cuts_and_entries": db.scalar(of_agreed.where(TrialRow.kind != "trial")) or 0,
    }


def exported_trials(db: Session) -> Iterator[ExportedTrial]:
    """Yield all trials of all children that are not voided, those of one child in order."""
    for child in _children(db):
        days = {session.id: session.day for session in sessions_of(db, child.id)}
        trials = trials_of_child(db, child.id, voided=False)
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
        facts = facts_with(one.result)
        head: Row = {
            "study_code": one.child.study_code,
            "trial_key": one.trial.export_key,
            "day_offset": (one.day - one.first_day).days,
            "seq": one.trial.seq,
            "outcome": None if one.mark is None else one.mark.outcome,
            "hand_used": hand_noted(facts, one.mark),
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
        trials = trials_of_child(db, child.id, voided=False)
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


def export_blocks(
    sessions: Sessions, table: str, *, account_id: str, at: datetime, today: date
) -> Iterator[str]:
    """Yield a table, reading the database a few trials at a time; note how much it was.

    Parameters
    ----------
    sessions : Sessions
        Maker of database sessions.
    table : str
        One of `ROWS`.
    account_id : str
        Who takes it away.
    at : datetime
        Now.
    today : date
        The practice's day, on which consents must be in force.

    Yields
    ------
    str
        Records, each with its CRLF.
    """
    with sessions() as db:
        db.info[TODAY] = today
        counted = _Counted(ROWS[table](db))
        run = ExportRun(account_id=account_id, at=at, table_name=table, left_out=left_out(db))
        try:
            yield from csv_blocks(columns_of(table), counted)
        finally:
            # Also if nobody waits for the rest: what was sent has left.
            run.rows = counted.count
            db.add(run)
            db.commit()


class _Counted:
    """Rows, counted as they go by."""

    def __init__(self, rows: Iterator[Row]) -> None:
        self.rows = rows
        self.count = 0

    def __iter__(self) -> Iterator[Row]:
        for row in self.rows:
            self.count += 1
            yield row
