"""The pack of plans that a tablet takes along for a day."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, aliased

from server.grading import steps_beside
from server.store_children import children_of
from server.store_tasks import task_by_id
from server.strict_json import MAX_DOCUMENT_BYTES
from server.tables import Account, Child, PlanRow, SessionRow


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
        Which day, in the practice's time zone.
    tablet_id : str
        Which tablet asks.
    expires_at : datetime
        How long the tablet may show it.

    Returns
    -------
    dict
        ``linnet-day/1``. Closed sessions are left out; closed items are not, so that the
        tablet learns that they are closed. Items of practice have the next rungs beside
        them, as `steps`.
    """
    until = expires_at.isoformat()
    added = {"expires_at": until, "limits": {"document_bytes": MAX_DOCUMENT_BYTES}}
    child_ids = [child.id for child in children_of(db, account, on=day)]
    return {
        "format": "linnet-day/1",
        "tablet_id": tablet_id,
        "day": day.isoformat(),
        "expires_at": until,
        "plans": [
            _with_steps(db, plan) | {"session_label": sign.split()} | added
            for plan, sign in db.execute(_newest_plans(child_ids, day)).all()
        ],
    }


def _with_steps(db: Session, plan: dict[str, Any]) -> dict[str, Any]:
    items = []
    for item in plan["items"]:
        task = task_by_id(db, item["task"]["task_id"], item["task"]["revision"])
        steps = {} if task is None else steps_beside(task, item)
        items.append(item | {"steps": steps} if steps else item)
    return plan | {"items": items}


def _newest_plans(child_ids: list[str], day: date) -> Select[tuple[dict[str, Any], str]]:
    other = aliased(PlanRow)
    newest = select(func.max(other.version)).where(other.session_id == PlanRow.session_id)
    return (
        select(PlanRow.plan, Child.sign)
        .join(SessionRow, SessionRow.id == PlanRow.session_id)
        .join(Child, Child.id == SessionRow.child_id)
        .where(
            SessionRow.day == day,
            SessionRow.closed_at.is_(None),
            Child.id.in_(child_ids),
            PlanRow.version == newest.scalar_subquery(),
        )
        .order_by(SessionRow.started_at, SessionRow.number)
    )


def children_in(db: Session, pack: dict[str, Any]) -> dict[str, str]:
    """Return the id of the child of each plan in a day pack, by the plan's id."""
    plan_ids = [plan["plan_id"] for plan in pack["plans"]]
    query = select(SessionRow.plan_id, SessionRow.child_id).where(SessionRow.plan_id.in_(plan_ids))
    return {row.plan_id: row.child_id for row in db.execute(query)}


def with_time(pack: dict[str, Any], now: datetime) -> dict[str, Any]:
    """Return a day pack with the server's clock in every plan."""
    stamp = {"server_time": now.isoformat()}
    return pack | {"plans": [plan | stamp for plan in pack["plans"]]}
