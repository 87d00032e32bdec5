"""Signing in and out."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Response
from pydantic import BaseModel, Field, SecretStr
from sqlalchemy.orm import Session

from server import audit, auth
from server.deps import Address, Config, Cookie, Db, MaybeSignedIn, Now, Tries
from server.problems import Problem
from server.store_accounts import account_by_name, account_name
from server.tables import Account

router = APIRouter(prefix="/api")

WRONG = "The name or the pass-phrase is not right."


class Credentials(BaseModel):
    """What an adult signs in with."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    passphrase: Annotated[SecretStr, Field(min_length=1, max_length=1000)]


def check_credentials(
    db: Session, throttle: auth.Throttle, address: str, name: str, passphrase: str
) -> Account:
    """Return the account that a name and a pass-phrase belong to.

    Parameters
    ----------
    db : Session
        Database session.
    throttle : Throttle
        Counts the tries.
    address : str
        Where the request comes from.
    name, passphrase : str
        As typed.

    Returns
    -------
    Account
        Whose they are.

    Raises
    ------
    Problem
        401 if they do not fit, 429 after too many tries.
    """
    who = account_name(name)
    throttle.count(auth.TRIES_PER_ADDRESS, address)
    throttle.count(auth.TRIES_PER_NAME, who)
    account = account_by_name(db, name)
    # Checked even if there is no account, so that the answer takes as long.
    fits = auth.passphrase_fits(account, passphrase)
    if account is None or not fits:
        raise Problem(401, WRONG)
    throttle.forget(auth.TRIES_PER_NAME, who)
    return account


def noted_sign_in(db: Session, account: Account, now: datetime) -> str:
    """Open a sign-in, note it in the audit, commit; return the secret for the cookie."""
    secret = auth.open_sign_in(db, account, now)
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
        db, throttle, address, body.name, body.passphrase.get_secret_value()
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
