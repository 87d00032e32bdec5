"""Consents: what a family has agreed to, from which day until which."""

from collections.abc import Collection
from datetime import date, datetime

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from server.batches import batches
from server.faults import Fault
from server.problems import Problem
from server.tables import Consent
from server.tables_people import CONSENT_PURPOSES

GIVEN_ALREADY = "This consent is noted already."
WITHDRAWN_ALREADY = "This consent has been withdrawn already."
BEFORE_GIVEN = "A consent cannot be withdrawn before the day it was given."


def consents_of(db: Session, child_id: str) -> list[Consent]:
    """Return the consents of a child, oldest first."""
    rows = select(Consent).where(Consent.child_id == child_id)
    return list(db.scalars(rows.order_by(Consent.given_on, Consent.at, Consent.id)))


def add_consent(
    db: Session,
    *,
    child_id: str,
    purpose: str,
    given_on: date,
    given_by: str,
    account_id: str,
    at: datetime,
) -> Consent:
    """Note a consent.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    child_id : str
        Whose record it is for.
    purpose, given_by : str
        One of `CONSENT_PURPOSES`, and one of `CONSENT_GIVERS`.
    given_on : date
        When it was given.
    account_id : str
        Who notes it.
    at : datetime
        Now.

    Returns
    -------
    Consent
        The consent, with its random id.

    Raises
    ------
    Problem
        409 if the same one is noted already and was not withdrawn.
    """
    consent = Consent(
        child_id=child_id,
        purpose=purpose,
        given_on=given_on,
        given_by=given_by,
        account_id=account_id,
        at=at,
    )
    # Written before it is checked: from here on nobody else writes.
    db.add(consent)
    db.flush()
    same = select(Consent.id).where(
        Consent.child_id == child_id,
        Consent.id != consent.id,
        Consent.purpose == purpose,
        Consent.given_on == given_on,
        Consent.given_by == given_by,
        Consent.withdrawn_on.is_(None),
    )
    if db.scalar(same.limit(1)) is not None:
        raise Problem(409, GIVEN_ALREADY)
    return consent


def withdraw(db: Session, child_id: str, consent_id: str, on: date, at: datetime) -> Consent:
    """Note that a consent was withdrawn.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    child_id, consent_id : str
        Which consent of which child.
    on : date
        From this day on it is not in force.
    at : datetime
        Now.

    Returns
    -------
    Consent
        The consent as it is now.

    Raises
    ------
    Problem
        404 if the child has no such consent, 422 if it was given later than that, 409 if it
        was withdrawn already.
    """
    mine = (Consent.id == consent_id) & (Consent.child_id == child_id)
    consent = db.scalar(select(Consent).where(mine))
    if consent is None:
        raise Problem(404)
    if on < consent.given_on:
        raise Problem(422, errors=[Fault("/on", BEFORE_GIVEN)])
    still_given = mine & Consent.withdrawn_on.is_(None)
    changed = db.execute(
        update(Consent)
        .where(still_given)
        .values(withdrawn_on=on, withdrawn_at=at)
        .returning(Consent.id)
    )
    if changed.first() is None:
        raise Problem(409, WITHDRAWN_ALREADY)
    db.refresh(consent)
    return consent


def in_force(db: Session, child_ids: Collection[str], purpose: str, day: date) -> set[str]:
    """Return the children for whom there is consent to a purpose on a day.

    Parameters
    ----------
    db : Session
        Database session.
    child_ids : collection of str
        Which children are asked about.
    purpose : str
        One of `CONSENT_PURPOSES`.
    day : date
        Which day.

    Returns
    -------
    set of str
        Ids of children with a consent that was given by then and not withdrawn by then.
        Whoever withdraws, withdraws for all: what others gave before holds no longer, and
        the purpose needs a consent given after that.

    Raises
    ------
    ValueError
        If there is no such purpose.
    """
    if purpose not in CONSENT_PURPOSES:
        raise ValueError(f"purpose must be one of {', '.join(CONSENT_PURPOSES)}")
    found: dict[str, list[Consent]] = {}
    for batch in batches(child_ids):
        rows = select(Consent).where(
            Consent.child_id.in_(batch),
            Consent.purpose == purpose,
            Consent.given_on <= day,
        )
        for consent in db.scalars(rows):
            found.setdefault(consent.child_id, []).append(consent)
    return {child_id for child_id, consents in found.items() if holds(consents, day)}


def holds(consents: Collection[Consent], day: date) -> bool:
    """Return whether one of a child's consents to one purpose holds on a day."""
    ends = [
        (one.withdrawn_on, one.withdrawn_at)
        for one in consents
        if one.withdrawn_on is not None and one.withdrawn_at is not None and one.withdrawn_on <= day
    ]
    # Of one day, what was noted later was said later.
    return any(
        one.given_on <= day
        and (one.withdrawn_on is None or one.withdrawn_on > day)
        and all((one.given_on, one.at) >= end for end in ends)
        for one in consents
    )
