"""How many sessions and trials there are: counted by the database, never read to be counted."""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.store_voids import not_voided
from server.tables import SessionRow, TrialRow


class SessionCount(NamedTuple):
    """How many sessions a child has, and the day of the last one."""

    sessions: int
    last: date


def sessions_on(db: Session, child_ids: Sequence[str], day: date) -> dict[str, list[SessionRow]]:
    """Return the sessions of some children on a day, in order, by child."""
    rows = db.scalars(
        select(SessionRow)
        .where(SessionRow.child_id.in_(child_ids), SessionRow.day == day)
        .order_by(SessionRow.number)
    )
    found: dict[str, list[SessionRow]] = {}
    for row in rows:
        found.setdefault(row.child_id, []).append(row)
    return found


def session_counts(db: Session, child_ids: Sequence[str]) -> dict[str, SessionCount]:
    """Return how many sessions each child has; one without any is left out."""
    counted = select(SessionRow.child_id, func.count(), func.max(SessionRow.day))
    rows = db.execute(
        counted.where(SessionRow.child_id.in_(child_ids)).group_by(SessionRow.child_id)
    )
    return {child_id: SessionCount(count, last) for child_id, count, last in rows}


def trial_counts(db: Session, session_ids: Sequence[str]) -> dict[str, int]:
    """Return how many trials that are not voided each session has; without any it is left out."""
    rows = db.execute(
        select(TrialRow.session_id, func.count())
        .where(TrialRow.session_id.in_(session_ids), not_voided())
        .group_by(TrialRow.session_id)
    )
    return dict(rows.all())
