"""The audit of lists: whose records stood in them."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server import audit
from server.batches import batches
from server.tables import AuditRow, Child

LISTED = "listed"


def note_listing(
    db: Session, at: datetime, account_id: str, kind: str, child_ids: Collection[str]
) -> None:
    """Note whose records an account saw in a list, once for looks close together; commits.

    Parameters
    ----------
    db : Session
        Database session.
    at : datetime
        Now.
    account_id : str
        Who saw it.
    kind : str
        What was listed, such as ``sessions``.
    child_ids : collection of str
        Whose records stood in the list.
    """
    fresh = sorted(set(child_ids) - _noted_lately(db, at, account_id, kind, child_ids))
    for child_id in fresh:
        audit.note(db, at, account_id, LISTED, kind, child_id, child_id=child_id)
    if fresh:
        db.commit()


def _noted_lately(
    db: Session, at: datetime, account_id: str, kind: str, child_ids: Collection[str]
) -> set[str]:
    # One statement, with one step into the index for each child.
    latest = (
        select(AuditRow.at)
        .where(
            AuditRow.account_id == account_id,
            AuditRow.object_id == Child.id,
            AuditRow.verb == LISTED,
            AuditRow.kind == kind,
        )
        .order_by(AuditRow.number.desc())
        .limit(1)
        .correlate(Child)
        .scalar_subquery()
    )
    found = set[str]()
    for batch in batches(child_ids):
        rows = db.execute(select(Child.id, latest).where(Child.id.in_(batch)))
        found |= {one for one, noted in rows if noted and abs(at - noted) < audit.SAME_LOOK}
    return found
