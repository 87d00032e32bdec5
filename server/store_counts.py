"""How many sessions and trials there are: counted by the database, never read to be counted."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple, Protocol

from sqlalchemy import ColumnElement, and_, case, distinct, func, not_, select
from sqlalchemy.orm import Session

from server.batches import batches
from server.store_voids import not_voided
from server.tables import MarkRow, ResultRow, SessionRow, TrialRow

NOT_DONE = "not_done"


class SessionCount(NamedTuple):
    """How many sessions a child has, and the day of the last one."""

    sessions: int
    last: date


class CameIn(NamedTuple):
    """What came in of a session: the only count of its trials that pages say.

    Attributes
    ----------
    all : int
        How many trials came in, whatever became of them. [1]
    voided : int
        How many of them are voided. [1]
    not_done : int
        How many of the others were not done. [1]
    """

    all: int
    voided: int
    not_done: int

    @property
    def usable(self) -> int:
        """How many were done and are not voided. [1]"""
        return self.all - self.voided - self.not_done


NOTHING_IN = CameIn(0, 0, 0)


class Kept(Protocol):
    """A trial that was read with what became of it."""

    @property
    def voided(self) -> bool:
        """Whether it is voided."""

    @property
    def mark(self) -> MarkRow | None:
        """The mark that counts."""


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


def came_in(db: Session, session_ids: Sequence[str]) -> dict[str, CameIn]:
    """Return what came in of each session; one of which nothing did is left out."""
    voided, not_done = not_(not_voided()), and_(not_voided(), not_(_was_done()))
    found: dict[str, CameIn] = {}
    for batch in batches(session_ids):
        rows = db.execute(
            select(TrialRow.session_id, func.count(), _sum_of(voided), _sum_of(not_done))
            .where(TrialRow.session_id.in_(batch))
            .group_by(TrialRow.session_id)
        )
        found |= {session_id: CameIn(*counts) for session_id, *counts in rows}
    return found


def tally(trials: Iterable[Kept]) -> CameIn:
    """Return what `came_in` says of a session, from its trials where a page has read them."""
    found = list(trials)
    kept = [one.mark for one in found if not one.voided]
    not_done = sum(mark is not None and mark.outcome == NOT_DONE for mark in kept)
    return CameIn(len(found), len(found) - len(kept), not_done)


def _sum_of(condition: ColumnElement[bool]) -> ColumnElement[int]:
    return func.sum(case((condition, 1), else_=0))


def trial_counts(db: Session, session_ids: Sequence[str]) -> dict[str, int]:
    """Return how many trials of each session can be used; a session without any is left out.

    Voided trials are none, and neither is what a tablet sends of a repetition that was not done.
    """
    counted = came_in(db, session_ids)
    return {one: count.usable for one, count in counted.items() if count.usable}


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
