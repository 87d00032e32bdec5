"""Children, and who may see them."""

import secrets
from collections.abc import Collection
from datetime import date, datetime

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.faults import Fault
from server.problems import Problem
from server.signs import same_pair
from server.store_accounts import supervised_ids
from server.tables import Account, CareLink, Child

STUDY_CODE_BYTES = 5
# Under this key a database session holds the practice's day: what every look goes by.
TODAY = "practice_day"

CODE_TAKEN = "This code is in use in the practice already. Choose another one."
SIGN_TAKEN = (
    "Another child that is seen together with this one has the same two pictures. Choose others."
)


def create_child(
    db: Session,
    *,
    code: str,
    sign: str,
    nickname: str | None = None,
    birth_month: str | None = None,
    preferred_hand: str | None = None,
    retention_until: date | None = None,
    added_at: datetime | None = None,
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
    retention_until : date or None
        Until when the record is to be kept.
    added_at : datetime or None
        Now.

    Returns
    -------
    Child
        The child, with its random id and study code.

    Raises
    ------
    Problem
        409 if the code is taken.
    """
    if birth_month is not None:
        date.fromisoformat(f"{birth_month}-01")
    child = Child(
        code=code,
        nickname=nickname,
        sign=sign,
        birth_month=birth_month,
        preferred_hand=preferred_hand,
        retention_until=retention_until,
        added_at=added_at,
        study_code=f"s{secrets.token_hex(STUDY_CODE_BYTES)}",
    )
    db.add(child)
    keep_child(db)
    return child


def keep_child(db: Session) -> None:
    """Write what changed of a child; the caller commits.

    Raises
    ------
    Problem
        409 if the code is taken.
    """
    try:
        db.flush()
    except IntegrityError:
        db.rollback()
        raise Problem(409, errors=[Fault("/code", CODE_TAKEN)]) from None


def link(
    db: Session, account: Account, child: Child, from_day: date, made_by: str | None = None
) -> CareLink:
    """Let an account see a child from a day on; the caller commits."""
    care_link = CareLink(
        account_id=account.id, child_id=child.id, from_day=from_day, made_by=made_by
    )
    db.add(care_link)
    db.flush()
    return care_link


def check_sign(db: Session, child: Child, sign: str, account_ids: Collection[str]) -> None:
    """Refuse a sign that would be seen twice on one day.

    Parameters
    ----------
    db : Session
        Database session; what it has changed already is looked at too.
    child : Child
        Whose sign.
    sign : str
        Two pictures; their order does not tell children apart.
    account_ids : collection of str
        Accounts that see the child; so do their supervisors.

    Raises
    ------
    Problem
        409 if one of them also sees another child with the same pictures, now or later.
    """
    supervisors = select(Account.supervisor_id).where(
        Account.id.in_(account_ids), Account.supervisor_id.is_not(None)
    )
    seers = {*account_ids, *(one for one in db.scalars(supervisors) if one is not None)}
    supervised = select(Account.id).where(Account.supervisor_id.in_(seers))
    carers = seers | set(db.scalars(supervised))
    seen = select(CareLink.child_id).where(CareLink.account_id.in_(carers), _not_over(db))
    others = select(Child.sign).where(Child.id.in_(seen), Child.id != child.id)
    if any(same_pair(sign, other) for other in db.scalars(others)):
        raise Problem(409, errors=[Fault("/sign", SIGN_TAKEN)])


def with_equal_signs(db: Session, account: Account) -> set[str]:
    """Return the children an account sees, now or later, beside another of the same pictures."""
    rows = db.execute(select(Child.id, Child.sign).where(_links(db, account, _not_over(db))))
    together: dict[frozenset[str], set[str]] = {}
    for child_id, sign in rows:
        together.setdefault(frozenset(sign.split()), set()).add(child_id)
    return {one for same in together.values() if len(same) > 1 for one in same}


def seers_of(db: Session, child_id: str) -> list[str]:
    """Return the accounts that are linked to a child, now or later."""
    links = select(CareLink.account_id).where(CareLink.child_id == child_id, _not_over(db))
    return list(db.scalars(links.distinct()))


def _not_over(db: Session) -> ColumnElement[bool]:
    day = db.info.get(TODAY)
    if day is None:
        return CareLink.to_day.is_(None)
    return or_(CareLink.to_day.is_(None), CareLink.to_day > day)


def in_force(db: Session, on: date | None = None) -> ColumnElement[bool]:
    """Return the condition that a link lets its account see the child.

    Parameters
    ----------
    db : Session
        Knows the practice's day if it serves a request.
    on : date or None
        Which day; None means the practice's day.

    Returns
    -------
    ColumnElement
        Of `CareLink`. A link ends with the beginning of its last day: ended today is ended
        now. Where no day is known, a link is in force as long as no end is set.
    """
    day = db.info.get(TODAY) if on is None else on
    if day is None:
        return CareLink.to_day.is_(None)
    return (CareLink.from_day <= day) & or_(CareLink.to_day.is_(None), CareLink.to_day > day)


def _carers(db: Session, account: Account) -> list[str]:
    return [account.id, *supervised_ids(db, account)]


def _links(db: Session, account: Account, when: ColumnElement[bool]) -> ColumnElement[bool]:
    linked = select(CareLink.child_id).where(CareLink.account_id.in_(_carers(db, account)), when)
    return Child.id.in_(linked)


def children_of(db: Session, account: Account, *, on: date | None = None) -> list[Child]:
    """Return the children an account may see, by code.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        An account; a supervisor also sees the children of supervised assistants.
    on : date or None
        On which day; None means the practice's day, as in `in_force`.

    Returns
    -------
    list of Child
        Those with a link that has begun and has not ended.
    """
    seen = _links(db, account, in_force(db, on))
    return list(db.scalars(select(Child).where(seen).order_by(Child.code)))


def child_of(
    db: Session, account: Account, child_id: str, *, on: date | None = None
) -> Child | None:
    """Return a child if the account may see it on a day (None: the practice's), else None."""
    seen = _links(db, account, in_force(db, on))
    return db.scalar(select(Child).where(Child.id == child_id, seen))


def was_linked(db: Session, account: Account, child_id: str, day: date) -> bool:
    """Return whether an account was linked to a child on the day of a session.

    A trial that a tablet sends late is taken even if the link has ended since.
    """
    then = (CareLink.from_day <= day) & or_(CareLink.to_day.is_(None), CareLink.to_day >= day)
    seen = _links(db, account, then)
    return db.scalar(select(Child.id).where(Child.id == child_id, seen)) is not None
