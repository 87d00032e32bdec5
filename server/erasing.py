"""Erasing a child's record: the rows in one transaction, then their bytes in the file.

The order matters. First the ledger says that it has begun, so that it is ended even if the
power fails; then the rows go, then the file is written anew, then it is searched, and only
then the ledger says that it is done.
"""

import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import ColumnElement, delete, func, insert, select
from sqlalchemy.dialects.sqlite import insert as insert_or_ignore
from sqlalchemy.orm import InstrumentedAttribute, Session

from server import audit
from server.checking import settings_of, tables_in
from server.copies import KeepingFailed, Progress, fold_in, no_progress, open_to_read
from server.database import make_engine, make_sessions
from server.erased_bytes import Found, Traces, left_in_files, traces_of
from server.ledger import Entry, add_to_ledger, read_ledger
from server.tables import (
    AmendmentRow,
    Base,
    CareLink,
    Child,
    Consent,
    ErasedId,
    Erasing,
    Erasure,
    GoalRow,
    MarkRow,
    MeasureValue,
    NoteEvent,
    NoteRow,
    ObservationRow,
    PlanRow,
    ResultRow,
    SessionRow,
    TrialRow,
    VoidRow,
)

RESTORED = "restored"
STILL_THERE = (
    "parts of an erased record are still in the bytes of {files}: run the command again; until "
    "it ends well, the record is not erased"
)


def rows_of(child_id: str) -> dict[type[Base], ColumnElement[bool]]:
    """Return which rows of which tables are a child's record."""
    sessions = select(SessionRow.id).where(SessionRow.child_id == child_id)
    trials = select(TrialRow.id).where(TrialRow.session_id.in_(sessions))
    results = select(ResultRow.id).where(ResultRow.trial_id.in_(trials))
    return {
        Child: Child.id == child_id,
        CareLink: CareLink.child_id == child_id,
        Consent: Consent.child_id == child_id,
        GoalRow: GoalRow.child_id == child_id,
        SessionRow: SessionRow.child_id == child_id,
        PlanRow: PlanRow.session_id.in_(sessions),
        ObservationRow: ObservationRow.session_id.in_(sessions),
        NoteRow: NoteRow.session_id.in_(sessions),
        NoteEvent: NoteEvent.session_id.in_(sessions),
        TrialRow: TrialRow.session_id.in_(sessions),
        MarkRow: MarkRow.trial_id.in_(trials),
        AmendmentRow: AmendmentRow.trial_id.in_(trials),
        VoidRow: VoidRow.trial_id.in_(trials),
        ResultRow: ResultRow.trial_id.in_(trials),
        MeasureValue: MeasureValue.result_id.in_(results),
    }


def counts_of(db: Session, child_id: str) -> dict[str, int]:
    """Return how many rows of each table are a child's record."""
    return {
        table.__tablename__: db.scalar(select(func.count()).select_from(table).where(mine)) or 0
        for table, mine in rows_of(child_id).items()
    }


def _random_ids(db: Session, child_id: str) -> set[str]:
    """Ids that a tablet or a browser may still send, so that it can be told."""
    mine = rows_of(child_id)
    columns: tuple[tuple[type[Base], InstrumentedAttribute[str]], ...] = (
        (Child, Child.id),
        (SessionRow, SessionRow.id),
        (SessionRow, SessionRow.plan_id),
        (TrialRow, TrialRow.id),
        (MarkRow, MarkRow.id),
        (AmendmentRow, AmendmentRow.id),
        (VoidRow, VoidRow.id),
        (ObservationRow, ObservationRow.id),
        (NoteEvent, NoteEvent.id),
        (GoalRow, GoalRow.id),
        (Consent, Consent.id),
    )
    return {
        one for table, column in columns for one in db.scalars(select(column).where(mine[table]))
    }


def erase_rows(db: Session, entry: Entry, at: datetime, reason: str) -> None:
    """Erase the rows of a child and keep the erasure; one transaction, committed by the caller.

    Parameters
    ----------
    db : Session
        Database session without anything in it.
    entry : Entry
        Which child, and the id of the erasure.
    at : datetime
        Now.
    reason : str
        Kept with the erasure if the database does not know it yet.
    """
    child_id = entry.child_id
    db.execute(insert(Erasing).values(child_id=child_id))
    counts, ids = counts_of(db, child_id), _random_ids(db, child_id)
    if db.get(Erasure, entry.erasure_id) is None:
        db.add(
            Erasure(
                id=entry.erasure_id, child_id=child_id, at=entry.at, reason=reason, counts=counts
            )
        )
        db.flush()
    if ids:
        db.execute(
            insert_or_ignore(ErasedId).on_conflict_do_nothing(),
            [{"id": one, "erasure_id": entry.erasure_id} for one in sorted(ids)],
        )
        audit.note(db, at, None, "erased", "child", child_id, child_id=child_id)
    # Everything below the child goes with it.
    db.execute(delete(Child).where(Child.id == child_id))
    db.execute(delete(Erasing))


def clean(path: Path) -> None:
    """Write the file of a database anew from its living rows, and end its WAL.

    Raises
    ------
    KeepingFailed
        If another program reads it at this moment.
    """
    with closing(sqlite3.connect(path, isolation_level=None, timeout=10)) as connection:
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("VACUUM")
    fold_in(path)


def erase_in(
    path: Path,
    entries: Iterable[Entry],
    *,
    at: datetime,
    again: bool = False,
    progress: Progress = no_progress,
) -> list[Found]:
    """Erase children from a database file that nobody serves, and search its bytes for them.

    Parameters
    ----------
    path : Path
        The file, of the newest schema.
    entries : iterable of Entry
        Which children. One that is not there only has its erasure noted.
    at : datetime
        Now.
    again : bool
        Whether they were erased before and have come back.
    progress : callable
        Called with the files searched so far and the number of all.

    Returns
    -------
    list of Found
        Words of theirs that stand in the record of somebody else as well.

    Raises
    ------
    KeepingFailed
        If anything of an erased record is left.
    """
    engine = make_engine(settings_of(path))
    traces: Traces = {}
    try:
        for entry in entries:
            reason = RESTORED if again or entry.done else entry.reason
            with make_sessions(engine)() as db:
                traces |= traces_of(db, entry.child_id)
                erase_rows(db, entry, at, reason)
                db.commit()
    finally:
        engine.dispose()
    clean(path)
    return seen_gone(path, traces, progress)


def seen_gone(path: Path, traces: Traces, progress: Progress = no_progress) -> list[Found]:
    """Search the bytes of a database's files; return the words that living rows explain.

    Raises
    ------
    KeepingFailed
        If anything is left that no living row explains.
    """
    found = left_in_files(path, traces, progress)
    left = sorted({str(one.file) for one in found if not one.tables})
    if left:
        raise KeepingFailed(STILL_THERE.format(files=", ".join(left)))
    # Two lines may look alike for the length of a piece: that is no trace of a child.
    return [one for one in found if one.is_word]


def erased_in(path: Path) -> dict[str, Entry]:
    """Return the erasures that a database knows, whatever its schema, by their id."""
    with closing(open_to_read(path)) as connection:
        if "erasure" not in tables_in(connection):
            return {}
        rows = connection.execute("SELECT id, child_id, at, reason FROM erasure").fetchall()
    return {
        number: Entry(
            number, child_id, datetime.fromisoformat(at).replace(tzinfo=UTC), reason, done=True
        )
        for number, child_id, at, reason in rows
    }


def owed(path: Path, entries: Iterable[Entry]) -> list[Entry]:
    """Return the erasures that a database does not know, or whose child is in it."""
    known = erased_in(path)
    with closing(open_to_read(path)) as connection:
        present = {child_id for (child_id,) in connection.execute("SELECT id FROM child")}
    return [
        entry for entry in entries if entry.erasure_id not in known or entry.child_id in present
    ]


def erase_children(
    path: Path, entries: Sequence[Entry], *, at: datetime, progress: Progress = no_progress
) -> list[Found]:
    """Erase children from the practice's database, with the ledger around it.

    Arguments, results and errors are those of `erase_in`; also ends what was cut short.
    """
    unfinished = [entry for entry in read_ledger(path).values() if not entry.done]
    add_to_ledger(path, [replace(entry, done=False) for entry in entries])
    found = erase_in(path, entries, at=at, progress=progress)
    begun = {entry.erasure_id: entry for entry in (*unfinished, *entries)}
    add_to_ledger(path, [entry.as_done() for entry in begun.values()])
    return found


def apply_ledger(path: Path, at: datetime) -> int:
    """Erase the children of the ledger that are in the database again, before it is served.

    Also ends an erasure that was cut short, and writes a ledger that was lost anew.

    Parameters
    ----------
    path : Path
        The database, of the newest schema; nobody serves it yet.
    at : datetime
        Now.

    Returns
    -------
    int
        How many erasures had to be made again or ended.

    Raises
    ------
    KeepingFailed
        If the ledger cannot be read or anything of an erased record is left.
    """
    ledger, known = read_ledger(path), erased_in(path)
    lost = {number: entry for number, entry in known.items() if number not in ledger}
    add_to_ledger(path, lost.values())
    entries = owed(path, (ledger | lost).values())
    unfinished = [entry for entry in ledger.values() if not entry.done]
    if not entries and not unfinished:
        return 0
    erase_children(path, entries, at=at)
    return len({entry.erasure_id for entry in (*entries, *unfinished)})
