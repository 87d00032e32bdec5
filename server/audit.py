"""Who saw, changed or exported what, and when. Ids only: no names, no text."""

from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.tables import AuditRow

# One page asks for several parts of the same trial: that is one look at it.
SAME_LOOK = timedelta(minutes=10)


def note(
    db: Session,
    at: datetime,
    account_id: str | None,
    verb: str,
    kind: str,
    object_id: str | None = None,
    *,
    child_id: str | None = None,
) -> None:
    """Add a line to the audit; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    at : datetime
        Now.
    account_id : str or None
        Who did it.
    verb, kind : str
        What was done to what kind of thing, such as ``saw`` a ``trial``.
    object_id : str or None
        Random id of the thing.
    child_id : str or None
        Whose record it belongs to.
    """
    db.add(
        AuditRow(
            at=at,
            account_id=account_id,
            verb=verb,
            kind=kind,
            object_id=object_id,
            child_id=child_id,
        )
    )


def note_look(
    db: Session, at: datetime, account_id: str, kind: str, object_id: str, *, child_id: str
) -> None:
    """Note that somebody saw something, once for looks close together; commits."""
    latest = db.scalar(
        select(AuditRow.at)
        .where(
            AuditRow.account_id == account_id,
            AuditRow.object_id == object_id,
            AuditRow.kind == kind,
            AuditRow.verb == "saw",
        )
        .order_by(AuditRow.number.desc())
        .limit(1)
    )
    if latest is None or abs(at - latest) >= SAME_LOOK:
        note(db, at, account_id, "saw", kind, object_id, child_id=child_id)
        db.commit()
