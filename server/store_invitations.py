"""Invitations: links, used once, that make an account or let one choose a new pass-phrase.

The secret of a link stands behind its ``#``: browsers do not send that part, so it reaches no
log. Only its hash is kept.
"""

from collections.abc import Set as AbstractSet
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.auth import digest, new_secret
from server.store_accounts import open_accounts_with
from server.tables import Invitation

OWNER_LINK_LASTS = timedelta(hours=24)
RESET_LASTS = timedelta(hours=24)
# A week: people away for a few days still come in.
JOIN_LASTS = timedelta(days=7)


def path_of(secret: str) -> str:
    """Return the path of a link; the server's own address goes before it."""
    return f"/join#{secret}"


def invite_owner(db: Session, now: datetime) -> str | None:
    """Make the one-time link for the first owner; the caller commits.

    Earlier links of this kind are withdrawn.

    Returns
    -------
    str or None
        The secret; None if an open account is an owner already.
    """
    if open_accounts_with(db, {"owner"}):
        return None
    _withdraw_all(db, Invitation.purpose == "owner", now)
    secret, _ = _invite(db, now, OWNER_LINK_LASTS, purpose="owner", roles=["owner"])
    return secret


def invite(
    db: Session,
    roles: AbstractSet[str],
    supervisor_id: str | None,
    made_by: str,
    now: datetime,
    *,
    own_id: str | None = None,
) -> tuple[str, Invitation] | None:
    """Invite somebody to make an account; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    roles : set of str
        What the account will be able to do.
    supervisor_id : str or None
        Who will supervise it; checked by the caller.
    made_by : str
        The owner's account.
    now : datetime
        The invitation lasts seven days from here.
    own_id : str or None
        UUID made by the sender; None makes one here.

    Returns
    -------
    tuple of str and Invitation, or None
        The secret for the link, and what is kept; None if there is one of this id already: its
        secret is not kept, so it cannot be said again.
    """
    values = {"purpose": "join", "roles": sorted(roles), "supervisor_id": supervisor_id}
    own = {} if own_id is None else {"id": own_id}
    try:
        return _invite(db, now, JOIN_LASTS, made_by=made_by, **values, **own)
    except IntegrityError:
        db.rollback()
        if own_id is None or invitation_by_id(db, own_id) is None:
            raise
        return None


def invite_reset(
    db: Session, account_id: str, made_by: str, now: datetime
) -> tuple[str, Invitation]:
    """Make a link to choose a new pass-phrase; the caller commits.

    It lasts 24 hours. Earlier links for the same account are withdrawn.

    Returns
    -------
    secret : str
        For the link.
    invitation : Invitation
        What is kept.
    """
    withdraw_resets(db, account_id, now)
    return _invite(
        db, now, RESET_LASTS, purpose="reset", roles=[], account_id=account_id, made_by=made_by
    )


def _invite(
    db: Session, now: datetime, lasts: timedelta, **values: object
) -> tuple[str, Invitation]:
    secret = new_secret()
    invitation = Invitation(hash=digest(secret), made_at=now, expires_at=now + lasts, **values)
    db.add(invitation)
    db.flush()
    return secret, invitation


def invitations(db: Session) -> list[Invitation]:
    """Return all invitations, the newest first."""
    return list(db.scalars(select(Invitation).order_by(Invitation.made_at.desc(), Invitation.id)))


def invitation_by_id(db: Session, invitation_id: str) -> Invitation | None:
    """Return an invitation, or None."""
    return db.get(Invitation, invitation_id)


def state_of(invitation: Invitation, now: datetime) -> str:
    """Return ``used``, ``withdrawn``, ``ended`` or ``open``."""
    if invitation.used_at is not None:
        return "used"
    if invitation.withdrawn_at is not None:
        return "withdrawn"
    return "ended" if invitation.expires_at <= now else "open"


def _is_open(now: datetime) -> ColumnElement[bool]:
    return (
        Invitation.used_at.is_(None)
        & Invitation.withdrawn_at.is_(None)
        & (Invitation.expires_at > now)
    )


def open_invitation(db: Session, secret: str, now: datetime) -> Invitation | None:
    """Return the invitation of a link if it can still be used, else None."""
    return db.scalar(select(Invitation).where(Invitation.hash == digest(secret), _is_open(now)))


def use_invitation(db: Session, invitation_id: str, now: datetime) -> bool:
    """Use an invitation up; the caller commits.

    One statement, so that of two requests with the same link only one succeeds.

    Returns
    -------
    bool
        Whether it was open until now.
    """
    used = update(Invitation).where(Invitation.id == invitation_id, _is_open(now))
    return db.scalar(used.values(used_at=now).returning(Invitation.id)) is not None


def withdraw(db: Session, invitation_id: str, now: datetime) -> bool:
    """Withdraw an invitation; the caller commits.

    Returns
    -------
    bool
        False if it was used before.
    """
    return _withdraw_all(db, Invitation.id == invitation_id, now) > 0 or not db.scalar(
        select(Invitation.used_at.is_not(None)).where(Invitation.id == invitation_id)
    )


def withdraw_resets(db: Session, account_id: str, now: datetime) -> None:
    """Withdraw the links to choose a new pass-phrase for an account; the caller commits."""
    of_account = (Invitation.account_id == account_id) & (Invitation.purpose == "reset")
    _withdraw_all(db, of_account, now)


def withdraw_made_by(db: Session, account_id: str, now: datetime) -> None:
    """Withdraw every open link that an account has made; the caller commits."""
    _withdraw_all(db, Invitation.made_by == account_id, now)


def _withdraw_all(db: Session, which: ColumnElement[bool], now: datetime) -> int:
    withdrawn = (
        update(Invitation)
        .where(which, Invitation.used_at.is_(None), Invitation.withdrawn_at.is_(None))
        .values(withdrawn_at=now)
        .returning(Invitation.id)
    )
    return len(db.scalars(withdrawn).all())
