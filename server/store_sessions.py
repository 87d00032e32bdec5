"""Sessions, their plans, and the pack of plans a tablet takes along for a day."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.documents import MAX_DOCUMENT_BYTES
from server.store_children import children_of
from server.tables import Account, Child, PlanRow, SessionRow, random_id


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


def save_plan(db: Session, session_id: str, plan: dict[str, Any]) -> dict[str, Any]:
    """Keep a plan as the next version of a session's plan.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    session_id : str
        Which session.
    plan : dict
        ``linnet-plan/1``. Its `plan_id` and `version` are set here.

    Returns
    -------
    dict
        The plan as kept.

    Raises
    ------
    ValueError
        If an item of the version before is missing: items are closed, never deleted.
    """
    row = session_by_id(db, session_id)
    if row is None:
        raise ValueError("there is no such session")
    before = latest_plan(db, session_id)
    if before is not None and not _item_ids(before) <= _item_ids(plan):
        raise ValueError("a plan keeps all items of the version before; close them instead")
    version = 1 if before is None else before["version"] + 1
    kept = plan | {"format": "linnet-plan/1", "plan_id": row.plan_id, "version": version}
    db.add(PlanRow(session_id=session_id, version=version, plan=kept))
    db.flush()
    return kept


def _item_ids(plan: dict[str, Any]) -> set[str]:
    return {item["item_id"] for item in plan["items"]}


def latest_plan(db: Session, session_id: str) -> dict[str, Any] | None:
    """Return the newest version of a session's plan, or None."""
    return db.scalar(
        select(PlanRow.plan)
        .where(PlanRow.session_id == session_id)
        .order_by(PlanRow.version.desc())
        .limit(1)
    )


def day_pack(
    db: Session, account: Account, day: date, *, tablet_id: str, expires_at: datetime
) -> dict[str, Any]:
    """Return the plans a tablet needs for a day.

    It holds nothing that changes from one request to the next by itself, so that equal
    packs have equal ETags; `with_time` adds the server's clock.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        Whose children the tablet shows.
    day : date
        Which day.
    tablet_id : str
        Which tablet asks.
    expires_at : datetime
        How long the tablet may show it.

    Returns
    -------
    dict
        ``linnet-day/1``.
    """
    child_ids = [child.id for child in children_of(db, account)]
    newest = (
        select(PlanRow.session_id, func.max(PlanRow.version).label("version"))
        .group_by(PlanRow.session_id)
        .subquery()
    )
    rows = db.execute(
        select(PlanRow.plan, Child.sign)
        .join(newest, (PlanRow.session_id == newest.c.session_id))
        .where(PlanRow.version == newest.c.version)
        .join(SessionRow, SessionRow.id == PlanRow.session_id)
        .join(Child, Child.id == SessionRow.child_id)
        .where(SessionRow.day == day, SessionRow.closed_at.is_(None), Child.id.in_(child_ids))
        .order_by(SessionRow.started_at, SessionRow.number)
    )
    until = expires_at.isoformat()
    return {
        "format": "linnet-day/1",
        "tablet_id": tablet_id,
        "day": day.isoformat(),
        "expires_at": until,
        "plans": [
            plan
            | {
                "session_label": sign.split(),
                "expires_at": until,
                "limits": {"document_bytes": MAX_DOCUMENT_BYTES},
            }
            for plan, sign in rows
        ],
    }


def with_time(pack: dict[str, Any], now: datetime) -> dict[str, Any]:
    """Return a day pack with the server's clock in every plan."""
    stamp = {"server_time": now.isoformat()}
    return pack | {"plans": [plan | stamp for plan in pack["plans"]]}
