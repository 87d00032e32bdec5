"""Children, and who may see them."""

import secrets
from datetime import date

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.orm import Session

from server.store_accounts import supervised_ids
from server.tables import Account, CareLink, Child

STUDY_CODE_BYTES = 5


def create_child(
    db: Session,
    *,
    code: str,
    sign: str,
    nickname: str | None = None,
    birth_month: str | None = None,
    preferred_hand: str | None = None,
) -> Child:
    """Add a child.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    code : str
        What the practice calls the child in its own papers.
    sign : str
        Two picture signs, such as ``"boat kite"``: what the tablet shows.
    nickname : str or None
        If wanted.
    birth_month : str or None
        ``YYYY-MM``.
    preferred_hand : {"left", "right", "mixed"} or None
        As reported.

    Returns
    -------
    Child
        The child, with its random id and study code.
    """
    if birth_month is not None:
        date.fromisoformat(f"{birth_month}-01")
    child = Child(
        code=code,
        nickname=nickname,
        sign=sign,
        birth_month=birth_month,
        preferred_hand=preferred_hand,
        study_code=f"s{secrets.token_hex(STUDY_CODE_BYTES)}",
    )
    db.add(child)
    db.flush()
    return child


def link(db: Session, account: Account, child: Child, from_day: date) -> CareLink:
    """Let an account see a child from a day on; the caller commits."""
    care_link = CareLink(account_id=account.id, child_id=child.id, from_day=from_day)
    db.add(care_link)
    db.flush()
    return care_link


def _carers(db: Session, account: Account) -> list[str]:
    return [account.id, *supervised_ids(db, account)]


def _links(db: Session, account: Account, when: ColumnElement[bool]) -> ColumnElement[bool]:
    linked = select(CareLink.child_id).where(CareLink.account_id.in_(_carers(db, account)), when)
    return Child.id.in_(linked)


def children_of(db: Session, account: Account) -> list[Child]:
    """Return the children an account may see now, by code.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        An account; a supervisor also sees the children of supervised assistants.

    Returns
    -------
    list of Child
        Those with a link that has not ended.
    """
    seen = _links(db, account, CareLink.to_day.is_(None))
    return list(db.scalars(select(Child).where(seen).order_by(Child.code)))


def child_of(db: Session, account: Account, child_id: str) -> Child | None:
    """Return a child if the account may see it now, else None."""
    seen = _links(db, account, CareLink.to_day.is_(None))
    return db.scalar(select(Child).where(Child.id == child_id, seen))


def was_linked(db: Session, account: Account, child_id: str, day: date) -> bool:
    """Return whether an account was linked to a child on the day of a session.

    A trial that a tablet sends late is taken even if the link has ended since.
    """
    then = (CareLink.from_day <= day) & or_(CareLink.to_day.is_(None), CareLink.to_day >= day)
    seen = _links(db, account, then)
    return db.scalar(select(Child.id).where(Child.id == child_id, seen)) is not None
