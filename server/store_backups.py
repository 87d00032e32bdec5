"""When the database was backed up or put back, as the audit remembers it: no file names."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server import audit
from server.tables import AuditRow

DATABASE = "database"
BACKED_UP, RESTORED = "backed_up", "restored"


def note_backup(db: Session, at: datetime) -> None:
    """Note that a verified copy of the database was made; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    at : datetime
        When the copy was begun: what came later is not in it.
    """
    audit.note(db, at, None, BACKED_UP, DATABASE)


def last_backup(db: Session) -> datetime | None:
    """Return when the last backup that is known was begun, or None."""
    return _last(db, BACKED_UP)


def last_restore(db: Session) -> datetime | None:
    """Return when a backup was last put in the place of the database, or None."""
    return _last(db, RESTORED)


def _last(db: Session, verb: str) -> datetime | None:
    # The record of no child: by that the index finds it among all the lines.
    return db.scalar(
        select(AuditRow.at)
        .where(AuditRow.child_id.is_(None), AuditRow.kind == DATABASE, AuditRow.verb == verb)
        .order_by(AuditRow.number.desc())
        .limit(1)
    )
