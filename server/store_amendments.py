"""Amendments: corrections of what a trial's record says. Added, never changed."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.problems import Problem
from server.tables import AmendmentRow, TrialRow

OTHER_AMENDMENT = "Another amendment is already stored under this id. It was not changed."


def add_amendment(
    db: Session,
    *,
    amendment_id: str,
    trial_id: str,
    account_id: str,
    at: datetime,
    patch: Mapping[str, Any],
    reason: str,
) -> tuple[AmendmentRow, bool]:
    """Add an amendment, and move the trial if it names another session; the caller commits.

    Parameters
    ----------
    db : Session
        Database session without unsaved changes.
    amendment_id : str
        UUID made by the sender: the same amendment sent again changes nothing.
    trial_id, account_id : str
        Of which trial, by whom.
    at : datetime
        Now.
    patch : mapping
        With the keys of `server.amending.Patch`; its session is one of the same child.
    reason : str
        Why.

    Returns
    -------
    amendment : AmendmentRow
        As stored, with its number.
    created : bool
        False if it was there already.

    Raises
    ------
    Problem
        409 if the id belongs to another amendment.
    """
    found = same_amendment(db, amendment_id, trial_id=trial_id, patch=patch, reason=reason)
    if found is not None:
        return found, False
    # The number is found in the statement that takes it: no other amendment gets between.
    number = select(func.coalesce(func.max(AmendmentRow.amendment_no), 0) + 1)
    row = AmendmentRow(
        id=amendment_id,
        trial_id=trial_id,
        amendment_no=number.where(AmendmentRow.trial_id == trial_id).scalar_subquery(),
        patch=dict(patch),
        reason=reason,
        account_id=account_id,
        at=at,
    )
    db.add(row)
    try:
        db.flush()
    except IntegrityError:
        # Sent twice at once: the other one was faster.
        db.rollback()
        found = same_amendment(db, amendment_id, trial_id=trial_id, patch=patch, reason=reason)
        if found is None:
            raise
        return found, False
    db.refresh(row)
    if "session_id" in patch:
        moved = update(TrialRow).where(TrialRow.id == trial_id)
        db.execute(moved.values(session_id=patch["session_id"]))
    return row, True


def same_amendment(
    db: Session, amendment_id: str, *, trial_id: str, patch: Mapping[str, Any], reason: str
) -> AmendmentRow | None:
    """Return the amendment stored under an id, or None if the id is free.

    Raises
    ------
    Problem
        409 if it is another one.
    """
    found = db.scalar(select(AmendmentRow).where(AmendmentRow.id == amendment_id))
    given = (trial_id, dict(patch), reason)
    if found is not None and (found.trial_id, found.patch, found.reason) != given:
        raise Problem(409, OTHER_AMENDMENT)
    return found


def amendments_of(db: Session, trial_id: str) -> list[AmendmentRow]:
    """Return the amendments of a trial, newest last."""
    mine = select(AmendmentRow).where(AmendmentRow.trial_id == trial_id)
    return list(db.scalars(mine.order_by(AmendmentRow.amendment_no)))


def patches_of(db: Session, trial_ids: list[str]) -> dict[str, list[dict[str, Any]]]:
    """Return the patches of each trial that has any, in order."""
    mine = select(AmendmentRow.trial_id, AmendmentRow.patch)
    rows = db.execute(
        mine.where(AmendmentRow.trial_id.in_(trial_ids)).order_by(AmendmentRow.amendment_no)
    )
    found: dict[str, list[dict[str, Any]]] = {}
    for trial_id, patch in rows:
        found.setdefault(trial_id, []).append(patch)
    return found


def as_dict(row: AmendmentRow) -> dict[str, Any]:
    """Return an amendment in plain types."""
    return {
        "id": row.id,
        "amendment_no": row.amendment_no,
        "patch": row.patch,
        "reason": row.reason,
        "account_id": row.account_id,
        "at": row.at.isoformat(),
    }
