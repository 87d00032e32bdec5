"""Signing in and out, and who else works here."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from server import audit, auth
from server.deps import (
    THERAPIST_ROLES,
    Address,
    Config,
    Cookie,
    Db,
    MaybeSignedIn,
    Now,
    Therapist,
    Tries,
)
from server.faults import Fault
from server.problems import Problem
from server.request_fields import Body
from server.secret_fields import TypedCode, TypedPassphrase
from server.store_accounts import (
    account_by_name,
    account_name,
    open_accounts_with,
    renew_hash,
    spend_code,
)
from server.tables import Account

router = APIRouter(prefix="/api")

WRONG = "The name or the pass-phrase is not right."
NEEDS_CODE = "This account has a second factor. Give the code that your phone shows."
WRONG_CODE = "This code is not right, or was used already. Wait for the next one."


class Credentials(Body):
    """What an adult signs in with."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    passphrase: TypedPassphrase
    code: TypedCode | None = None


def check_credentials(
    db: Session,
    throttle: auth.Throttle,
    address: str,
    name: str,
    passphrase: str,
    code: str | None,
    now: datetime,
) -> Account:
    """Return the account that a name and a pass-phrase belong to.

    Parameters
    ----------
    db : Session
        Database session; the caller commits, which uses the code up.
    throttle : Throttle
        Counts the tries.
    address : str
        Where the request comes from.
    name, passphrase : str
        As typed.
    code : str or None
        Of the second factor, if the account has one; as typed.
    now : datetime
        Now.

    Returns
    -------
    Account
        Whose they are.

    Raises
    ------
    Problem
        401 if they do not fit, 429 after too many tries. Only to somebody with the right
        pass-phrase it tells, with the path ``/code``, that a code is needed.
    """
    who = account_name(name)
    throttle.count(auth.TRIES_PER_ADDRESS, address)
    throttle.count(auth.TRIES_PER_NAME, who)
    account = account_by_name(db, name)
    if account is not None and account.closed_at is not None:
        account = None
    # Checked even if there is no account, so that the answer takes as long.
    fits = auth.passphrase_fits(account, passphrase)
    if account is None or not fits:
        raise Problem(401, WRONG)
    if account.second_factor_since is not None:
        _check_code(db, throttle, account, code, now)
    if auth.is_outdated(account.passphrase_hash):
        renew_hash(db, account, passphrase)
    throttle.forget(auth.TRIES_PER_NAME, who)
    return account


def _check_code(
    db: Session, throttle: auth.Throttle, account: Account, code: str | None, now: datetime
) -> None:
    if not code:
        raise Problem(401, NEEDS_CODE, errors=[Fault("/code", NEEDS_CODE)])
    throttle.count(auth.CODES_PER_NAME, account.name)
    if not spend_code(db, account, code, now):
        raise Problem(401, WRONG_CODE, errors=[Fault("/code", WRONG_CODE)])
    throttle.forget(auth.CODES_PER_NAME, account.name)


def noted_sign_in(db: Session, account: Account, now: datetime) -> str:
    """Open a sign-in, note it in the audit, commit; return the secret for the cookie.

    Raises
    ------
    Problem
        401 if the account was closed, or its pass-phrase changed, since they were checked.
    """
    checked = account.passphrase_hash
    secret = auth.open_sign_in(db, account, now)
    # Read after the first write, which took the lock: nothing changes any more.
    same = select(Account.id).where(
        Account.id == account.id,
        Account.passphrase_hash == checked,
        Account.closed_at.is_(None),
    )
    if db.scalar(same) is None:
        raise Problem(401, WRONG)
    audit.note(db, now, account.id, "signed_in", "account", account.id)
    db.commit()
    return secret


def noted_sign_out(db: Session, cookie: str | None, account: Account | None, now: datetime) -> None:
    """End the sign-in of a cookie, if it is anybody's; note it in the audit and commit."""
    if account is not None:
        auth.end_sign_in(db, cookie, now)
        audit.note(db, now, account.id, "signed_out", "account", account.id)
        db.commit()


@router.post("/sign-in")
def sign_in(
    body: Credentials,
    response: Response,
    db: Db,
    now: Now,
    settings: Config,
    throttle: Tries,
    address: Address,
) -> dict[str, object]:
    """Sign in; the answer sets the cookie."""
    account = check_credentials(
        db,
        throttle,
        address,
        body.name,
        body.passphrase.get_secret_value(),
        None if body.code is None else body.code.get_secret_value(),
        now,
    )
    secret = noted_sign_in(db, account, now)
    auth.set_cookie(response, settings, secret)
    return {"account_id": account.id, "roles": sorted(account.roles)}


@router.post("/sign-out", status_code=204)
def sign_out(
    db: Db, now: Now, settings: Config, cookie: Cookie, account: MaybeSignedIn
) -> Response:
    """Sign out; the cookie is worth nothing afterwards."""
    noted_sign_out(db, cookie, account, now)
    response = Response(status_code=204)
    auth.drop_cookie(response, settings)
    return response


@router.get("/colleagues")
def list_colleagues(account: Therapist, db: Db, now: Now) -> dict[str, object]:
    """Return the therapists whose accounts are open, for linking children to them."""
    audit.note(db, now, account.id, "saw", "colleagues")
    db.commit()
    return {
        "colleagues": [
            {"account_id": one.id, "name": one.name, "roles": sorted(one.roles)}
            for one in open_accounts_with(db, THERAPIST_ROLES)
        ]
    }
