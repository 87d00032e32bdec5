"""The audit of lists: whose records stood in them."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server import audit
from server.tables import AuditRow

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
    fresh = [one for one in sorted(child_ids) if not _was_noted(db, at, account_id, kind, one)]
    for child_id in fresh:
        audit.note(db, at, account_id, LISTED, kind, child_id, child_id=child_id)
    if fresh:
        db.commit()


def _was_noted(db: Session, at: datetime, account_id: str, kind: str, child_id: str) -> bool:
    latest = db.scalar(
        select(AuditRow.at)
        .where(
            AuditRow.account_id == account_id,
            AuditRow.object_id == child_id,
            AuditRow.verb == LISTED,
            AuditRow.kind == kind,
        )
        .order_by(AuditRow.number.desc())
        .limit(1)
    )
    return latest is not None and abs(at - latest) < audit.SAME_LOOK
