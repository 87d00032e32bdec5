"""Marks: what the adult knows after a trial. Added, never changed; the newest one counts."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server import audit
from server.batches import batches
from server.problems import Problem
from server.tables import MarkRow

OTHER_MARK = "Another mark is already stored under this id."
# `set_up` is how an earlier release's demo wrote it.
SET_UP = ("setup", "set_up")


def add_mark(
    db: Session,
    *,
    mark_id: str,
    trial_id: str,
    account_id: str,
    at: datetime,
    outcome: str | None = None,
    why: str | None = None,
    hand_used: str | None = None,
    help_given: dict[str, Any] | None = None,
    child_id: str | None = None,
) -> tuple[MarkRow, bool]:
    """Add a mark to a trial; commits.

    Parameters
    ----------
    db : Session
        Database session.
    mark_id : str
        UUID made by the sender: the same mark sent again changes nothing.
    trial_id, account_id : str
        Of which trial, by whom.
    at : datetime
        When it arrived.
    outcome : {"finished", "stopped", "spoilt", "not_done"} or None
        How the trial ended.
    why : str or None
        Why it was spoilt or stopped.
    hand_used : {"left", "right", "both"} or None
        The hand that really drew.
    help_given : dict or None
        Set-up, cues, physical help.
    child_id : str or None
        Whose record it belongs to, for the audit; None notes nothing.

    Returns
    -------
    mark : MarkRow
        The mark as stored.
    created : bool
        False if it was there already.

    Raises
    ------
    Problem
        409 if the id belongs to another mark.
    """
    values = {
        "trial_id": trial_id,
        "outcome": outcome,
        "why": why,
        "hand_used": hand_used,
        "help": help_given,
    }
    found = _same_mark(db, mark_id, values)
    if found is not None:
        return found, False
    mark = MarkRow(id=mark_id, account_id=account_id, at=at, **values)
    db.add(mark)
    if child_id is not None:
        audit.note(db, at, account_id, "marked", "trial", trial_id, child_id=child_id)
    try:
        db.commit()
    except IntegrityError:
        db.rollback()
        found = _same_mark(db, mark_id, values)
        if found is None:
            raise
        return found, False
    return mark, True


def _same_mark(db: Session, mark_id: str, values: dict[str, Any]) -> MarkRow | None:
    found = db.scalar(select(MarkRow).where(MarkRow.id == mark_id))
    if found is not None and any(getattr(found, key) != values[key] for key in values):
        raise Problem(409, OTHER_MARK)
    return found


def marks_of(db: Session, trial_id: str) -> list[MarkRow]:
    """Return the marks of a trial, newest last."""
    return list(
        db.scalars(select(MarkRow).where(MarkRow.trial_id == trial_id).order_by(MarkRow.number))
    )


def latest_marks(db: Session, trial_ids: Collection[str]) -> dict[str, MarkRow]:
    """Return the mark that counts for each trial that has one."""
    found: dict[str, MarkRow] = {}
    for batch in batches(trial_ids):
        marks = select(MarkRow).where(MarkRow.trial_id.in_(batch)).order_by(MarkRow.number)
        found |= {mark.trial_id: mark for mark in db.scalars(marks)}
    return found


def counts(mark: MarkRow | None) -> bool:
    """Return whether a trial counts: spoilt, stopped and undone ones are kept, not counted."""
    return mark is None or mark.outcome in (None, "finished")


def was_helped(mark: MarkRow | None) -> bool:
    """Return whether help was noted for a trial; setting it up is none."""
    noted = {} if mark is None or mark.help is None else mark.help
    return _any_help({key: value for key, value in noted.items() if key not in SET_UP})


def _any_help(noted: object) -> bool:
    if isinstance(noted, dict):
        return any(_any_help(value) for value in noted.values())
    if isinstance(noted, str):
        return noted not in ("", "none")
    return bool(noted)
