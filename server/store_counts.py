"""How many sessions and trials there are: counted by the database, never read to be counted."""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from sqlalchemy import ColumnElement, distinct, func, select
from sqlalchemy.orm import Session

from server.batches import batches
from server.store_voids import not_voided
from server.tables import MarkRow, ResultRow, SessionRow, TrialRow

NOT_DONE = "not_done"


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
    """Return how many trials of each session are in; a session without any is left out.

    Voided trials are none, and neither is what a tablet sends of a repetition that was not done.
    """
    found: dict[str, int] = {}
    for batch in batches(session_ids):
        rows = db.execute(
            select(TrialRow.session_id, func.count())
            .where(TrialRow.session_id.in_(batch), not_voided(), _was_done())
            .group_by(TrialRow.session_id)
        )
        found |= dict(rows.all())
    return found


def trial_counts_by_item(
    db: Session, session_ids: Sequence[str]
) -> dict[str, dict[str | None, int]]:
    """Return how many trials of each item of the plan are in, by session and id of the item.

    It reads results, so it costs more than `trial_counts`, which counts the same trials.
    """
    item_id = ResultRow.facts["item_id"].as_string()
    found: dict[str, dict[str | None, int]] = {}
    for batch in batches(session_ids):
        # A trial may have results of several releases.
        rows = db.execute(
            select(TrialRow.session_id, item_id, func.count(distinct(TrialRow.arrival)))
            .join(ResultRow, ResultRow.trial_id == TrialRow.id)
            .where(TrialRow.session_id.in_(batch), not_voided(), _was_done())
            .group_by(TrialRow.session_id, item_id)
        )
        for session_id, item, count in rows:
            found.setdefault(session_id, {})[item] = count
    return found


def sessions_sent(db: Session, session_ids: Sequence[str]) -> set[str]:
    """Return the sessions of which anything was sent, voided or not done as it may be."""
    found: set[str] = set()
    for batch in batches(session_ids):
        sent = select(TrialRow.session_id).where(TrialRow.session_id.in_(batch)).distinct()
        found |= set(db.scalars(sent))
    return found


def _was_done() -> ColumnElement[bool]:
    newest = (
        select(MarkRow.outcome)
        .where(MarkRow.trial_id == TrialRow.id)
        .order_by(MarkRow.number.desc())
        .limit(1)
        .correlate(TrialRow)
        .scalar_subquery()
    )
    return func.coalesce(newest, "") != NOT_DONE
