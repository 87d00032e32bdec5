"""What everybody does with their own account: pass-phrase, second factor, signing out."""

from typing import Annotated

from fastapi import APIRouter, Response
from pydantic import Field, SecretStr

from server import audit, auth, second_factor
from server.deps import Config, Cookie, Db, Now, SignedIn, Tries
from server.faults import Fault
from server.passphrases import require_good
from server.problems import Problem
from server.request_fields import Body
from server.secret_fields import TypedCode, TypedPassphrase
from server.store_accounts import (
    begin_second_factor,
    drop_second_factor,
    end_tablets,
    set_passphrase,
    spend_code,
)
from server.store_invitations import withdraw_resets
from server.tables import Account

router = APIRouter(prefix="/api/account")

NOT_YOURS = "This is not the pass-phrase of this account."
WRONG_CODE = "This code is not right, or was used already. Wait for the next one."
IS_ON = "The second factor is on. Turn it off before you set up another one."
NOT_BEGUN = "No second factor is being set up. Ask for a secret first."
IS_OFF = "The second factor is off."

YesOrNo = Annotated[bool, Field(strict=True)]


class NewPassphrase(Body):
    """The pass-phrase as it was, and as it is to be."""

    old: TypedPassphrase
    new: TypedPassphrase


class SigningOut(Body):
    """Whether the tablets go too."""

    tablets: YesOrNo = False


class Proof(Body):
    """The pass-phrase again, so that a browser left open is not enough."""

    passphrase: TypedPassphrase


class Shown(Body):
    """What the phone shows."""

    code: TypedCode


class ProofAndShown(Body):
    """Both, for taking the second factor off."""

    passphrase: TypedPassphrase
    code: TypedCode


def _check_passphrase(
    throttle: auth.Throttle, account: Account, typed: SecretStr, path: str
) -> None:
    throttle.count(auth.TRIES_PER_NAME, account.name)
    if not auth.passphrase_fits(account, typed.get_secret_value()):
        raise Problem(422, errors=[Fault(path, NOT_YOURS)])
    throttle.forget(auth.TRIES_PER_NAME, account.name)


@router.get("")
def read_account(account: SignedIn) -> dict[str, object]:
    """Return one's own account."""
    return {
        "account_id": account.id,
        "name": account.name,
        "roles": sorted(account.roles),
        "supervisor_id": account.supervisor_id,
        "second_factor": account.second_factor_since is not None,
    }


@router.put("/passphrase", status_code=204, response_class=Response)
def change_passphrase(
    body: NewPassphrase, account: SignedIn, db: Db, now: Now, throttle: Tries, cookie: Cookie
) -> None:
    """Change the pass-phrase; every other browser is signed out."""
    _check_passphrase(throttle, account, body.old, "/old")
    require_good(body.new.get_secret_value(), account.name, "/new")
    set_passphrase(db, account.id, body.new.get_secret_value())
    auth.end_sign_ins(db, account.id, now, but=cookie)
    withdraw_resets(db, account.id, now)
    audit.note(db, now, account.id, "changed", "passphrase", account.id)
    db.commit()


@router.post("/sign-out-everywhere", status_code=204)
def sign_out_everywhere(
    body: SigningOut, account: SignedIn, db: Db, now: Now, settings: Config
) -> Response:
    """Sign out here and in every other browser, and take the day away from the tablets."""
    auth.end_sign_ins(db, account.id, now)
    audit.note(db, now, account.id, "signed_out_everywhere", "account", account.id)
    if body.tablets:
        end_tablets(db, account.id, now)
        audit.note(db, now, account.id, "revoked", "tablets", account.id)
    db.commit()
    response = Response(status_code=204)
    auth.drop_cookie(response, settings)
    return response


@router.post("/second-factor", status_code=201)
def set_up_second_factor(
    body: Proof, account: SignedIn, db: Db, now: Now, throttle: Tries
) -> dict[str, str]:
    """Make a secret for the phone. The second factor is on once a code was shown."""
    _check_passphrase(throttle, account, body.passphrase, "/passphrase")
    secret = begin_second_factor(db, account)
    if secret is None:
        raise Problem(409, IS_ON)
    audit.note(db, now, account.id, "set_up", "second_factor", account.id)
    db.commit()
    return {"secret": secret, "uri": second_factor.address_of(secret, account.name)}


@router.put("/second-factor", status_code=204, response_class=Response)
def turn_on_second_factor(
    body: Shown, account: SignedIn, db: Db, now: Now, throttle: Tries
) -> None:
    """Turn the second factor on, with the first code that the phone shows."""
    if account.second_factor_since is not None:
        raise Problem(409, IS_ON)
    if account.second_factor is None:
        raise Problem(409, NOT_BEGUN)
    throttle.count(auth.CODES_PER_NAME, account.name)
    code = body.code.get_secret_value()
    if not spend_code(db, account, code, now, second_factor_since=now):
        raise Problem(422, errors=[Fault("/code", WRONG_CODE)])
    throttle.forget(auth.CODES_PER_NAME, account.name)
    audit.note(db, now, account.id, "turned_on", "second_factor", account.id)
    db.commit()


@router.post("/second-factor/off", status_code=204, response_class=Response)
def turn_off_second_factor(
    body: ProofAndShown, account: SignedIn, db: Db, now: Now, throttle: Tries
) -> None:
    """Take the second factor off."""
    if account.second_factor_since is None:
        raise Problem(409, IS_OFF)
    _check_passphrase(throttle, account, body.passphrase, "/passphrase")
    throttle.count(auth.CODES_PER_NAME, account.name)
    if not spend_code(db, account, body.code.get_secret_value(), now):
        raise Problem(422, errors=[Fault("/code", WRONG_CODE)])
    throttle.forget(auth.CODES_PER_NAME, account.name)
    drop_second_factor(db, account.id)
    audit.note(db, now, account.id, "turned_off", "second_factor", account.id)
    db.commit()
