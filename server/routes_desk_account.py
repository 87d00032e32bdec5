"""The page of one's own account: forms before the doors of `routes_own_account`."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, Query, Response
from pydantic import SecretStr
from starlette.responses import RedirectResponse

from server import auth, routes_own_account
from server.deps import Config, Cookie, Db, Now, SignedIn, Tries
from server.faults import Fault
from server.page_account import account_words, secret_square, secret_words
from server.problems import Problem
from server.routes_own_account import NewPassphrase, Proof, ProofAndShown, Shown, SigningOut
from server.routes_pages import page
from server.tables import Account

router = APIRouter(include_in_schema=False)

HERE = "/account"
EMPTY = "Type this too."
TOO_LONG = "This is too long: it has at most {most} characters."
MOST_CHARACTERS, MOST_IN_CODE = 1000, 20
DONE = {
    "passphrase": "Your pass-phrase was changed. Every other browser is signed out.",
    "on": "The second factor is on. From now on you sign in with a code from your phone too.",
    "off": "The second factor is off.",
}

# Any text is taken here: what does not fit is refused on the page.
Typed = Annotated[str, Form()]


def _page(
    account: Account,
    status: int = 200,
    *,
    done: str | None = None,
    troubles: dict[str, str] | None = None,
    **shown: Any,
) -> Response:
    usual = {"secret": None, "square": None, "done": done, "troubles": troubles or {}}
    return page("account.html", account, HERE, status, **account_words(account), **usual | shown)


def _again(db: Db, account: Account, problem: Problem, form: str) -> Response:
    db.rollback()
    troubles = {f"{form}{path}": why for path, why in problem.by_place.items()}
    return _page(account, problem.status, troubles=troubles)


def _secret(text: str, path: str) -> SecretStr:
    if not text:
        raise Problem(422, errors=[Fault(path, EMPTY)])
    most = MOST_IN_CODE if path == "/code" else MOST_CHARACTERS
    if len(text) > most:
        raise Problem(422, errors=[Fault(path, TOO_LONG.format(most=most))])
    return SecretStr(text)


@router.get("/account")
def show_account(account: SignedIn, done: Annotated[str, Query(max_length=20)] = "") -> Response:
    """Show one's own account."""
    return _page(account, done=DONE.get(done))


@router.post("/account/passphrase")
def change_passphrase(
    account: SignedIn,
    db: Db,
    now: Now,
    throttle: Tries,
    cookie: Cookie,
    old: Typed = "",
    new: Typed = "",
) -> Response:
    """Change the pass-phrase with a form; every other browser is signed out."""
    try:
        body = NewPassphrase(old=_secret(old, "/old"), new=_secret(new, "/new"))
        routes_own_account.change_passphrase(body, account, db, now, throttle, cookie)
    except Problem as problem:
        return _again(db, account, problem, "/passphrase")
    return RedirectResponse(f"{HERE}?done=passphrase", 303)


@router.post("/account/second-factor")
def begin_factor(
    account: SignedIn, db: Db, now: Now, throttle: Tries, passphrase: Typed = ""
) -> Response:
    """Make a secret for the phone and show it: this once, to whoever knows the pass-phrase."""
    try:
        body = Proof(passphrase=_secret(passphrase, "/passphrase"))
        made = routes_own_account.set_up_second_factor(body, account, db, now, throttle)
    except Problem as problem:
        return _again(db, account, problem, "/factor")
    db.refresh(account)
    secret = made["secret"]
    return _page(account, secret=secret_words(secret), square=secret_square(secret, account.name))


@router.post("/account/second-factor/on")
def turn_factor_on(
    account: SignedIn, db: Db, now: Now, throttle: Tries, code: Typed = ""
) -> Response:
    """Turn the second factor on with the first code that the phone shows."""
    try:
        body = Shown(code=_secret(code, "/code"))
        routes_own_account.turn_on_second_factor(body, account, db, now, throttle)
    except Problem as problem:
        return _again(db, account, problem, "/factor")
    return RedirectResponse(f"{HERE}?done=on", 303)


@router.post("/account/second-factor/off")
def turn_factor_off(
    account: SignedIn,
    db: Db,
    now: Now,
    throttle: Tries,
    passphrase: Typed = "",
    code: Typed = "",
) -> Response:
    """Take the second factor off, with pass-phrase and code."""
    try:
        body = ProofAndShown(
            passphrase=_secret(passphrase, "/passphrase"), code=_secret(code, "/code")
        )
        routes_own_account.turn_off_second_factor(body, account, db, now, throttle)
    except Problem as problem:
        return _again(db, account, problem, "/factor")
    return RedirectResponse(f"{HERE}?done=off", 303)


@router.post("/account/sign-out-everywhere")
def sign_out_everywhere(
    account: SignedIn,
    db: Db,
    now: Now,
    settings: Config,
    tablets: Annotated[Literal["", "yes"], Form()] = "",
) -> Response:
    """Sign out here and in every other browser; the tablets too if that is wanted."""
    body = SigningOut(tablets=tablets == "yes")
    routes_own_account.sign_out_everywhere(body, account, db, now, settings)
    response = RedirectResponse("/", 303)
    auth.drop_cookie(response, settings)
    return response
