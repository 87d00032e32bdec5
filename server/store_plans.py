"""Plans of sessions: versions that are added and never changed."""

from datetime import datetime
from typing import Any

from sqlalchemy import select, tuple_
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.problems import Problem
from server.tables import PlanRow, SessionRow

FORMAT = "linnet-plan/1"
OTHER_VERSION = (
    "This plan was changed in the meantime. Nothing was stored: look at the newest version and "
    "try again."
)

Items = list[dict[str, Any]]


def save_plan(
    db: Session,
    session_id: str,
    plan: dict[str, Any],
    *,
    account_id: str | None = None,
    at: datetime | None = None,
) -> dict[str, Any]:
    """Keep a plan as the next version of a session's plan.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    session_id : str
        Which session.
    plan : dict
        ``linnet-plan/1``. Its `plan_id` and `version` are set here.
    account_id : str or None
        Who planned it.
    at : datetime or None
        Now.

    Returns
    -------
    dict
        The plan as kept.

    Raises
    ------
    ValueError
        If an item of the version before is missing: items are closed, never deleted.
    """
    row = db.scalar(select(SessionRow).where(SessionRow.id == session_id))
    if row is None:
        raise ValueError("there is no such session")
    before = latest_plan(db, session_id)
    if before is not None and not _item_ids(before) <= _item_ids(plan):
        raise ValueError("a plan keeps all items of the version before; close them instead")
    version = 1 if before is None else before["version"] + 1
    kept = plan | {"format": FORMAT, "plan_id": row.plan_id, "version": version}
    db.add(PlanRow(session_id=session_id, version=version, plan=kept, account_id=account_id, at=at))
    db.flush()
    return kept


def _item_ids(plan: dict[str, Any]) -> set[str]:
    return {item["item_id"] for item in plan["items"]}


def next_version(
    db: Session,
    session: SessionRow,
    plan: dict[str, Any],
    *,
    based_on: int,
    account_id: str,
    at: datetime,
) -> dict[str, Any]:
    """Keep a plan as the version after the one that it builds on; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    session : SessionRow
        Whose plan.
    plan : dict
        With all items of the version before; `plan_id` and `version` are set here.
    based_on : int
        The version it was made from; 0 if there was none.
    account_id : str
        Who planned it.
    at : datetime
        Now.

    Returns
    -------
    dict
        The plan as kept.

    Raises
    ------
    Problem
        409 if another version was kept in the meantime.
    """
    version = based_on + 1
    kept = plan | {"format": FORMAT, "plan_id": session.plan_id, "version": version}
    db.add(PlanRow(session_id=session.id, version=version, plan=kept, account_id=account_id, at=at))
    try:
        db.flush()
    except IntegrityError:
        # Two at once built on the same version: the other one was faster.
        db.rollback()
        raise Problem(409, OTHER_VERSION) from None
    return kept


def latest_plan(db: Session, session_id: str) -> dict[str, Any] | None:
    """Return the newest version of a session's plan, or None."""
    return db.scalar(
        select(PlanRow.plan)
        .where(PlanRow.session_id == session_id)
        .order_by(PlanRow.version.desc())
        .limit(1)
    )


def plan_at(db: Session, session_id: str, version: int) -> dict[str, Any] | None:
    """Return one version of a session's plan, or None."""
    return db.scalar(
        select(PlanRow.plan).where(PlanRow.session_id == session_id, PlanRow.version == version)
    )


def version_of(plan: dict[str, Any] | None) -> int:
    """Return the version of a plan; 0 if there is none."""
    return 0 if plan is None else int(plan["version"])


def items_of_last_session(db: Session, session: SessionRow) -> Items:
    """Return the items of the newest earlier session of the same child that has any."""
    place = tuple_(SessionRow.day, SessionRow.number)
    before = db.scalars(
        select(SessionRow.id)
        .where(SessionRow.child_id == session.child_id)
        .where(place < tuple_(session.day, session.number))
        .order_by(SessionRow.day.desc(), SessionRow.number.desc())
    )
    for session_id in before:
        plan = latest_plan(db, session_id)
        if plan is not None and plan["items"]:
            items: Items = plan["items"]
            return items
    return []
