"""The sessions of one day with what stands beside them: their order, plans and notes."""

from collections.abc import Collection
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from server.batches import batches
from server.store_notes import SIGNED
from server.store_sessions import NOT_SEEN, SIGNED_STATES
from server.tables import AccountRole, NoteRow, PlanRow, SessionRow

WAITING = "waiting"
DAY = timedelta(days=1)


class NewestPlan(NamedTuple):
    """The newest version of a session's plan, and when it was kept."""

    plan: dict[str, Any]
    at: datetime | None


def in_order_of_day(sessions: Collection[SessionRow]) -> list[SessionRow]:
    """Return sessions by their time; those without one come last, as they were made."""
    return sorted(
        sessions,
        key=lambda one: (
            one.started_at is None,
            0.0 if one.started_at is None else one.started_at.timestamp(),
            one.number,
        ),
    )


def newest_plans(db: Session, session_ids: Collection[str]) -> dict[str, NewestPlan]:
    """Return the newest version of the plan of each session; one without any is left out."""
    other = aliased(PlanRow)
    newest = select(func.max(other.version)).where(other.session_id == PlanRow.session_id)
    found: dict[str, NewestPlan] = {}
    for batch in batches(session_ids):
        rows = db.execute(
            select(PlanRow.session_id, PlanRow.plan, PlanRow.at).where(
                PlanRow.session_id.in_(batch), PlanRow.version == newest.scalar_subquery()
            )
        )
        found |= {session_id: NewestPlan(plan, at) for session_id, plan, at in rows}
    return found


def note_states(db: Session, session_ids: Collection[str]) -> dict[str, str]:
    """Return the state of the note of each session; one without any is left out.

    Parameters
    ----------
    db : Session
        Database session.
    session_ids : collection of str
        Which sessions.

    Returns
    -------
    dict
        ``draft``, ``returned``, ``signed``, ``cosigned``; or ``waiting`` if it is signed and
        its author is no supervisor, so that it waits for a co-signature.
    """
    ends_signed = select(AccountRole.account_id).where(AccountRole.role == "supervisor")
    found: dict[str, str] = {}
    for batch in batches(session_ids):
        rows = db.execute(
            select(NoteRow.session_id, NoteRow.state, NoteRow.account_id.in_(ends_signed)).where(
                NoteRow.session_id.in_(batch)
            )
        )
        for session_id, state, ends in rows:
            found[session_id] = WAITING if state == SIGNED and not ends else state
    return found


def is_signed(state: str | None) -> bool:
    """Return whether a note in a state of `note_states` is signed, and stays as it is."""
    return state in (WAITING, *SIGNED_STATES)


def open_session_of(db: Session, child_id: str, day: date) -> SessionRow | None:
    """Return the first session of a child on a day that is not closed, or None."""
    return db.scalar(
        select(SessionRow)
        .where(
            SessionRow.child_id == child_id, SessionRow.day == day, SessionRow.closed_at.is_(None)
        )
        .order_by(SessionRow.number)
        .limit(1)
    )


def still_running(
    db: Session, child_ids: Collection[str], today: date, now: datetime
) -> list[SessionRow]:
    """Return the sessions that began yesterday and of which nobody said that they are over.

    Parameters
    ----------
    db : Session
        Database session.
    child_ids : collection of str
        Whose sessions.
    today : date
        The practice's day.
    now : datetime
        What began a day ago or earlier does not run any more.

    Returns
    -------
    list of SessionRow
        In the order of their times.
    """
    came = SessionRow.attendance.is_(None) | SessionRow.attendance.not_in(NOT_SEEN)
    rows: list[SessionRow] = []
    for batch in batches(child_ids):
        asked = select(SessionRow).where(
            SessionRow.child_id.in_(batch),
            SessionRow.day == today - DAY,
            SessionRow.started_at > now - DAY,
            SessionRow.ended_at.is_(None),
            SessionRow.closed_at.is_(None),
            came,
        )
        rows += db.scalars(asked)
    return in_order_of_day(rows)
