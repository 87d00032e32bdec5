"""Using the link of an invitation: a new account, or a new pass-phrase for one."""

from datetime import datetime

from sqlalchemy.orm import Session

from server import audit, auth
from server.account_changes import supervisor_fault
from server.faults import Fault
from server.passphrases import require_good
from server.problems import Problem
from server.store_accounts import (
    TAKEN_NAME,
    account_by_id,
    account_by_name,
    account_name,
    create_account,
    drop_second_factor,
    require_name,
    set_passphrase,
)
from server.store_invitations import open_invitation, use_invitation
from server.tables import Account, Invitation

WRONG_LINK = (
    "This link is not right, was used already, or has ended. Ask whoever sent it for a new one."
)
NEW_LINK = "This invitation does not fit any more. Ask whoever sent it for a new one."
NEEDS_NAME = "Choose the name that you will sign in with."
OTHER_NAME = (
    "This link is for the pass-phrase of an account with another name. Leave the name empty."
)


def join(
    db: Session,
    throttle: auth.Throttle,
    address: str,
    *,
    secret: str,
    name: str,
    passphrase: str,
    now: datetime,
) -> tuple[Account, bool]:
    """Use a link up, note it in the audit, and commit.

    Somebody who chooses a new pass-phrase is signed out everywhere, and the second factor
    goes: whoever asks the owner for such a link may have lost the phone as well.

    Parameters
    ----------
    db : Session
        Database session.
    throttle : Throttle
        Counts the tries.
    address : str
        Where the request comes from.
    secret : str
        What stands behind the ``#`` of the link.
    name : str
        For a new account. Empty, or the account's own name, for a new pass-phrase.
    passphrase : str
        As typed.
    now : datetime
        Now.

    Returns
    -------
    account : Account
        Whose pass-phrase it is.
    is_new : bool
        Whether the account was made now.

    Raises
    ------
    Problem
        422 for a link that cannot be used, a name or a pass-phrase that does not do; 409 for
        an invitation that fits no more; 429 after too many tries.
    """
    throttle.count(auth.JOINS_PER_ADDRESS, address)
    throttle.count(auth.JOINS_IN_ALL)
    invitation = open_invitation(db, secret.strip(), now)
    if invitation is None:
        raise Problem(422, errors=[Fault("/secret", WRONG_LINK)])
    if invitation.purpose == "reset":
        return _renewed(db, invitation, name, passphrase, now), False
    return _made(db, invitation, name, passphrase, now), True


def _use_up(db: Session, invitation: Invitation, now: datetime) -> None:
    """Take the write lock and the link; two requests at once do not both get here."""
    if not use_invitation(db, invitation.id, now):
        raise Problem(422, errors=[Fault("/secret", WRONG_LINK)])


def _made(
    db: Session, invitation: Invitation, name: str, passphrase: str, now: datetime
) -> Account:
    if not name.strip():
        raise Problem(422, errors=[Fault("/name", NEEDS_NAME)])
    require_name(name, "/name")
    require_good(passphrase, account_name(name), "/passphrase")
    _use_up(db, invitation, now)
    if account_by_name(db, name) is not None:
        raise Problem(422, errors=[Fault("/name", TAKEN_NAME)])
    if supervisor_fault(db, invitation.supervisor_id) is not None:
        raise Problem(409, NEW_LINK)
    account = create_account(
        db,
        name=name,
        passphrase=passphrase,
        roles=set(invitation.roles),
        supervisor_id=invitation.supervisor_id,
        now=now,
    )
    invitation.account_id = account.id
    audit.note(db, now, account.id, "joined", "account", account.id)
    db.commit()
    return account


def _renewed(
    db: Session, invitation: Invitation, name: str, passphrase: str, now: datetime
) -> Account:
    account = account_by_id(db, invitation.account_id or "")
    if account is None or account.closed_at is not None:
        raise Problem(409, NEW_LINK)
    if name.strip() and account_name(name) != account.name:
        raise Problem(422, errors=[Fault("/name", OTHER_NAME)])
    require_good(passphrase, account.name, "/passphrase")
    _use_up(db, invitation, now)
    set_passphrase(db, account.id, passphrase)
    drop_second_factor(db, account.id)
    auth.end_sign_ins(db, account.id, now)
    audit.note(db, now, account.id, "reset", "passphrase", account.id)
    db.commit()
    return account
