"""Care links: who sees a child from one day to another. Added, ended once, never changed."""

from datetime import date

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.faults import Fault
from server.problems import Problem
from server.store_children import check_sign, link
from server.tables import Account, AccountRole, CareLink, Child

THERAPISTS = ("assistant", "supervisor")
NOT_A_THERAPIST = "This must be the account of a therapist that is not closed."
LINKED_ALREADY = "This account is linked to the child already."
ENDED_ALREADY = "This link has an end already."
BEFORE_ITS_BEGINNING = "A link cannot end before the day it begins."
LAST_LINK = (
    "Nobody else would see this child then. Link another therapist first, then end this link."
)
SAME_SIGN_THERE = (
    "This therapist sees another child with the same two pictures. Change one of them first."
)


def links_of(db: Session, child_id: str) -> list[tuple[CareLink, str]]:
    """Return the links of a child with the names of their accounts, oldest first."""
    rows = (
        select(CareLink, Account.name)
        .join(Account, Account.id == CareLink.account_id)
        .where(CareLink.child_id == child_id)
        .order_by(CareLink.from_day, CareLink.id)
    )
    return [(care_link, name) for care_link, name in db.execute(rows)]


def open_therapists(db: Session) -> list[Account]:
    """Return the accounts of therapists that are not closed, by name."""
    return list(db.scalars(select(Account).where(_open_therapist()).order_by(Account.name)))


def _open_therapist() -> ColumnElement[bool]:
    held = select(AccountRole.account_id).where(AccountRole.role.in_(THERAPISTS))
    return Account.closed_at.is_(None) & Account.id.in_(held)


def add_link(
    db: Session, child: Child, account_id: str, from_day: date, *, made_by: str
) -> tuple[CareLink, str]:
    """Link a therapist to a child.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    child : Child
        Which child.
    account_id : str
        Of the therapist.
    from_day : date
        First day on which the child is seen.
    made_by : str
        Account of the supervisor.

    Returns
    -------
    link : CareLink
        The new link.
    name : str
        Of its account.

    Raises
    ------
    Problem
        422 if it is no open therapist's account; 409 if it is linked already, or sees another
        child with the same pictures.
    """
    account = db.scalar(select(Account).where(Account.id == account_id, _open_therapist()))
    if account is None:
        raise Problem(422, errors=[Fault("/account_id", NOT_A_THERAPIST)])
    # Written before it is checked: from here on nobody else writes.
    made = link(db, account, child, from_day, made_by)
    overlapping = select(CareLink.id).where(
        CareLink.child_id == child.id,
        CareLink.account_id == account.id,
        CareLink.id != made.id,
        or_(CareLink.to_day.is_(None), CareLink.to_day > from_day),
    )
    if db.scalar(overlapping.limit(1)) is not None:
        raise Problem(409, errors=[Fault("/account_id", LINKED_ALREADY)])
    try:
        check_sign(db, child, child.sign, [account.id])
    except Problem:
        raise Problem(409, errors=[Fault("/account_id", SAME_SIGN_THERE)]) from None
    return made, account.name


def end_link(
    db: Session, child_id: str, account_id: str, to_day: date | None, *, today: date
) -> tuple[CareLink, str]:
    """End the link of a therapist to a child.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    child_id, account_id : str
        Between whom.
    to_day : date or None
        From this day on the child is not seen any more; None means from today on, or from its
        first day on if that is still to come.
    today : date
        The practice's day.

    Returns
    -------
    link : CareLink
        The link with its end.
    name : str
        Of its account.

    Raises
    ------
    Problem
        404 if there is no link; 409 if it has an end already, or if nobody else would see the
        child; 422 if it would end before it begins.
    """
    mine = [one for one in links_of(db, child_id) if one[0].account_id == account_id]
    if not mine:
        raise Problem(404)
    without_end = [one for one in mine if one[0].to_day is None]
    if not without_end:
        raise Problem(409, ENDED_ALREADY)
    ended, name = without_end[-1]
    last = max(today, ended.from_day) if to_day is None else to_day
    if last < ended.from_day:
        raise Problem(422, errors=[Fault("/to_day", BEFORE_ITS_BEGINNING)])
    ended.to_day = last
    # Written before it is checked: two therapists who leave at once are not both let go.
    try:
        db.flush()
    except IntegrityError:
        db.rollback()
        raise Problem(409, ENDED_ALREADY) from None
    if not _seen_by_another(db, ended, max(last, today)):
        raise Problem(409, LAST_LINK)
    return ended, name


def _seen_by_another(db: Session, ended: CareLink, day: date) -> bool:
    # One that ends later does not do: the day after, nobody would be left.
    others = (
        select(CareLink.id)
        .join(Account, Account.id == CareLink.account_id)
        .where(
            CareLink.child_id == ended.child_id,
            CareLink.id != ended.id,
            CareLink.from_day <= day,
            CareLink.to_day.is_(None),
            _open_therapist(),
        )
    )
    return db.scalar(others.limit(1)) is not None
