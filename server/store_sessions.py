"""Sessions: dated sittings with one child."""

from collections.abc import Collection, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import func, literal, select, union_all
from sqlalchemy.orm import Session

from analysis import ANALYSIS_VERSION
from server.attendance import NOT_SEEN, why_seen
from server.batches import batches
from server.faults import Fault
from server.problems import Problem
from server.store_counts import trial_counts
from server.store_plans import latest_plan, save_plan
from server.tables import (
    AmendmentRow,
    Child,
    MarkRow,
    NoteRow,
    PlanRow,
    ResultRow,
    SessionRow,
    TrialRow,
    VoidRow,
    random_id,
)

__all__ = [
    "NOT_SEEN",
    "change_session",
    "close",
    "create_session",
    "latest_plan",
    "live_state",
    "reopen",
    "save_plan",
    "session_by_id",
    "session_of_plan",
    "sessions_between",
    "sessions_of",
    "summaries",
]

LONGEST = timedelta(hours=24)
SIGNED_STATES = ("signed", "cosigned")

ENDS_FIRST = "A session ends after it starts."
NOT_STARTED = "A session that ended has also begun. Say when it began."
TOO_LONG = "A session lasts at most 24 hours."
NOT_OVER = "This is later than now: a session ends when it is over."
SIGNED = (
    "The note of this session is signed, so its facts stay as they are. Write an addendum to the "
    "note instead."
)


def create_session(
    db: Session,
    *,
    child_id: str,
    day: date,
    place: str | None = None,
    position: str | None = None,
    started_at: datetime | None = None,
    ended_at: datetime | None = None,
    closed_at: datetime | None = None,
    attendance: str | None = None,
    plan_id: str | None = None,
    account_id: str | None = None,
    kind: str | None = None,
) -> SessionRow:
    """Add a session.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    child_id : str
        Whose session.
    day : date
        In the practice's time zone.
    place, position, attendance : str or None
        Where, how the child sits or stands, and whether the child came.
    started_at, ended_at, closed_at : datetime or None
        Aware; None as long as it has not happened.
    plan_id : str or None
        Id its plans will carry; a random one if None.
    account_id : str or None
        Who made it.
    kind : {"individual", "group"} or None
        None where nobody said.

    Returns
    -------
    SessionRow
        The session, with its ids.
    """
    row = SessionRow(
        child_id=child_id,
        day=day,
        place=place,
        position=position,
        started_at=started_at,
        ended_at=ended_at,
        closed_at=closed_at,
        attendance=attendance,
        plan_id=plan_id or random_id(),
        account_id=account_id,
        kind=kind,
    )
    db.add(row)
    db.flush()
    return row


def session_by_id(db: Session, session_id: str) -> SessionRow | None:
    """Return a session, or None."""
    return db.scalar(select(SessionRow).where(SessionRow.id == session_id))


def session_of_plan(db: Session, plan_id: str) -> SessionRow | None:
    """Return the session a plan belongs to, or None."""
    return db.scalar(select(SessionRow).where(SessionRow.plan_id == plan_id))


def sessions_of(db: Session, child_id: str) -> list[SessionRow]:
    """Return the sessions of a child, newest last."""
    return list(
        db.scalars(
            select(SessionRow)
            .where(SessionRow.child_id == child_id)
            .order_by(SessionRow.day, SessionRow.number)
        )
    )


def sessions_between(
    db: Session, children: Collection[Child], first: date, last: date
) -> list[SessionRow]:
    """Return the sessions of some children from one day to another, both included, in order."""
    mine = SessionRow.child_id.in_([child.id for child in children])
    return list(
        db.scalars(
            select(SessionRow)
            .where(mine, SessionRow.day.between(first, last))
            .order_by(SessionRow.day, SessionRow.started_at, SessionRow.number)
        )
    )


def summaries(db: Session, session_ids: Collection[str]) -> dict[str, dict[str, Any]]:
    """Return what stands beside each session in a list.

    Returns
    -------
    dict
        By session id: `plan_version`, `trials` (how many are in, as everywhere) and
        `note_state`, if there is one.
    """
    ids = list(session_ids)
    counts = trial_counts(db, ids)
    found: dict[str, dict[str, Any]] = {
        one: {"plan_version": 0, "trials": counts.get(one, 0), "note_state": None} for one in ids
    }
    for batch in batches(ids):
        plans = select(PlanRow.session_id, func.max(PlanRow.version)).group_by(PlanRow.session_id)
        for session_id, version in db.execute(plans.where(PlanRow.session_id.in_(batch))):
            found[session_id]["plan_version"] = version
        notes = select(NoteRow.session_id, NoteRow.state)
        for session_id, state in db.execute(notes.where(NoteRow.session_id.in_(batch))):
            found[session_id]["note_state"] = state
    return found


def check_times(started_at: datetime | None, ended_at: datetime | None, now: datetime) -> None:
    """Refuse a session that ends before it starts, a day and more after it, or after now."""
    if ended_at is None:
        return
    if started_at is None:
        raise Problem(422, errors=[Fault("/started_at", NOT_STARTED)])
    if ended_at < started_at:
        raise Problem(422, errors=[Fault("/ended_at", ENDS_FIRST)])
    if ended_at - started_at > LONGEST:
        raise Problem(422, errors=[Fault("/ended_at", TOO_LONG)])
    if ended_at > now:
        raise Problem(422, errors=[Fault("/ended_at", NOT_OVER)])


def change_session(
    db: Session, session: SessionRow, values: Mapping[str, Any], now: datetime
) -> None:
    """Change facts of a session whose note is not signed; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    session : SessionRow
        Which session.
    values : mapping
        New values by column.
    now : datetime
        No session ends later.

    Raises
    ------
    Problem
        409 if the note is signed; 422 if it would end before it starts or after now, or if
        nobody came of whom trials are in, or an activity or a rest is noted.
    """
    was = session.attendance
    # What is flushed first takes the write lock: the note cannot be signed in between.
    for name, value in values.items():
        setattr(session, name, value)
    db.flush()
    db.refresh(session)
    _refuse_signed(db, session)
    check_times(session.started_at, session.ended_at, now)
    if session.attendance != was and session.attendance in NOT_SEEN:
        _refuse_not_seen(db, session)


def _refuse_not_seen(db: Session, session: SessionRow) -> None:
    why = why_seen(db, session.id)
    if why is not None:
        db.rollback()
        raise Problem(422, errors=[Fault("/attendance", why)])


def close(db: Session, session: SessionRow, at: datetime) -> bool:
    """Close a session, so that it leaves the day packs; the caller commits.

    Returns
    -------
    bool
        False if it was closed already: then it stays as it is.
    """
    if session.closed_at is not None:
        return False
    session.closed_at = at
    db.flush()
    return True


def reopen(db: Session, session: SessionRow) -> bool:
    """Open a closed session again; the caller commits.

    Returns
    -------
    bool
        False if it was open.

    Raises
    ------
    Problem
        409 if its note is signed.
    """
    if session.closed_at is None:
        return False
    session.closed_at = None
    db.flush()
    _refuse_signed(db, session)
    return True


def _refuse_signed(db: Session, session: SessionRow) -> None:
    state = db.scalar(select(NoteRow.state).where(NoteRow.session_id == session.id))
    if state in SIGNED_STATES:
        db.rollback()
        raise Problem(409, SIGNED)


def live_state(db: Session, session_id: str) -> list[Any]:
    """Return numbers that differ whenever the trials of a session, or what is added, do.

    One small statement: a page asks every two seconds while a child draws.
    """
    mine = TrialRow.session_id == session_id
    numbers = (MarkRow.number, AmendmentRow.number, VoidRow.number, ResultRow.id)
    # Moving one trial away and another one in keeps the count, but not the sum.
    parts = [select(literal(0), func.count(), func.sum(TrialRow.arrival)).where(mine)]
    for place, number in enumerate(numbers, start=1):
        table = number.class_
        parts.append(
            select(literal(place), func.count(), func.max(number))
            .join(TrialRow, TrialRow.id == table.trial_id)
            .where(mine)
        )
    return [ANALYSIS_VERSION, *sorted(tuple(row) for row in db.execute(union_all(*parts)))]
