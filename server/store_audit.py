"""The audit, read. It is written by server/audit.py."""

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from server.tables import Account, AuditRow

MOST_LINES = 200
# Kinds of a child's record: old lines of these do not say whose record it was.
OF_A_CHILD = (
    "amendment",
    "care_link",
    "child",
    "consent",
    "cut",
    "entry",
    "goal",
    "mark",
    "note",
    "observation",
    "plan",
    "session",
    "trial",
    "void",
)

Line = tuple[AuditRow, str | None]


def lines_of_child(db: Session, child_id: str, before: int | None, limit: int) -> list[Line]:
    """Return what was done with the record of a child, newest first.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Whose record.
    before : int or None
        Only lines with a lower number.
    limit : int
        At most so many. [1]

    Returns
    -------
    list of (AuditRow, str or None)
        Each line with the name of its account.
    """
    return _lines(db, AuditRow.child_id == child_id, before, limit)


def lines_of_practice(db: Session, before: int | None, limit: int) -> list[Line]:
    """Return what was done with anything but the records of children, newest first.

    Arguments and result are those of `lines_of_child`.
    """
    apart = AuditRow.child_id.is_(None) & AuditRow.kind.not_in(OF_A_CHILD)
    return _lines(db, apart, before, limit)


def _lines(db: Session, which: ColumnElement[bool], before: int | None, limit: int) -> list[Line]:
    rows = (
        select(AuditRow, Account.name)
        .outerjoin(Account, Account.id == AuditRow.account_id)
        .where(which)
        .order_by(AuditRow.number.desc())
        .limit(limit)
    )
    if before is not None:
        rows = rows.where(AuditRow.number < before)
    return [(line, name) for line, name in db.execute(rows)]
