"""Voids: that a trial is not to be used, or is to be used again. The newest one counts."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, false, func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.batches import batches
from server.problems import Problem
from server.tables import TrialRow, VoidRow

OTHER_VOID = "Another void is already stored under this id. It was not changed."


def add_void(
    db: Session,
    *,
    void_id: str,
    trial_id: str,
    account_id: str,
    at: datetime,
    voided: bool,
    reason: str,
) -> tuple[VoidRow, bool]:
    """Void a trial, or take that back; the caller commits.

    Parameters
    ----------
    db : Session
        Database session without unsaved changes.
    void_id : str
        UUID made by the sender: the same void sent again changes nothing.
    trial_id, account_id : str
        Of which trial, by whom.
    at : datetime
        Now.
    voided : bool
        False if the trial is to be used again.
    reason : str
        Why.

    Returns
    -------
    void : VoidRow
        As stored.
    created : bool
        False if it was there already, or the newest void of the trial says the same.

    Raises
    ------
    Problem
        409 if the id belongs to another void.
    """
    values = {"trial_id": trial_id, "voided": voided, "reason": reason}
    found = _same_void(db, void_id, values) or _so_already(db, trial_id, voided=voided)
    if found is not None:
        return found, False
    row = VoidRow(id=void_id, account_id=account_id, at=at, **values)
    db.add(row)
    try:
        db.flush()
    except IntegrityError:
        # Sent twice at once: the other one was faster.
        db.rollback()
        found = _same_void(db, void_id, values)
        if found is None:
            raise
        return found, False
    return row, True


def _same_void(db: Session, void_id: str, values: dict[str, Any]) -> VoidRow | None:
    found = db.scalar(select(VoidRow).where(VoidRow.id == void_id))
    if found is not None and any(getattr(found, key) != values[key] for key in values):
        raise Problem(409, OTHER_VOID)
    return found


def _so_already(db: Session, trial_id: str, *, voided: bool) -> VoidRow | None:
    newest = next(reversed(voids_of(db, trial_id)), None)
    return newest if newest is not None and newest.voided == voided else None


def voids_of(db: Session, trial_id: str) -> list[VoidRow]:
    """Return the voids of a trial, newest last."""
    mine = select(VoidRow).where(VoidRow.trial_id == trial_id)
    return list(db.scalars(mine.order_by(VoidRow.number)))


def voided_ids(db: Session, trial_ids: Collection[str]) -> set[str]:
    """Return which of some trials are voided now."""
    newest: dict[str, bool] = {}
    for batch in batches(trial_ids):
        mine = select(VoidRow.trial_id, VoidRow.voided).where(VoidRow.trial_id.in_(batch))
        newest |= dict(db.execute(mine.order_by(VoidRow.number)).all())
    return {trial_id for trial_id, voided in newest.items() if voided}


def not_voided() -> ColumnElement[bool]:
    """Return the condition that a row of `TrialRow` is not voided, for counts."""
    newest = (
        select(VoidRow.voided)
        .where(VoidRow.trial_id == TrialRow.id)
        .order_by(VoidRow.number.desc())
        .limit(1)
        .correlate(TrialRow)
        .scalar_subquery()
    )
    return func.coalesce(newest, false()) == false()


def as_dict(row: VoidRow) -> dict[str, Any]:
    """Return a void in plain types."""
    return {
        "id": row.id,
        "voided": row.voided,
        "reason": row.reason,
        "account_id": row.account_id,
        "at": row.at.isoformat(),
    }
