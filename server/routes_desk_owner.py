"""The owner's pages of accounts and invitations: forms before the doors of `routes_owner`."""

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, Query, Request, Response
from starlette.responses import RedirectResponse

from server import audit, routes_owner
from server.account_changes import Change, change_account
from server.deps import Config, Db, Now, Owner
from server.faults import Fault
from server.fields import UUID_PATTERN
from server.page_owner import account_page, accounts_page, moment_words
from server.problems import Problem
from server.routes_owner import NewInvitation, Role
from server.routes_pages import page
from server.settings import Settings
from server.store_accounts import account_by_id
from server.tables import Account

router = APIRouter(include_in_schema=False)

HERE = "/owner"
NO_ROLE = "Tick at least one role."
NOT_SURE = "Tick the box if you mean it. Nothing was changed."
TAKES_AWAY = "This takes a role away. Tick the box if you mean it. Nothing was changed."
DONE = {
    "changed": "The account was changed.",
    "signed-out": "The account is signed out everywhere, and its tablets are ended.",
    "ended": "The account has ended.",
    "opened": "The account is open again.",
    "withdrawn": "The invitation was withdrawn. Its link is worth nothing any more.",
}

Roles = Annotated[list[Role], Form(default_factory=list, max_length=4)]
UuidOrNothing = Annotated[str, Form(pattern=f"^$|{UUID_PATTERN}", max_length=36)]
Tick = Annotated[Literal["", "yes"], Form()]
Done = Annotated[str, Query(max_length=20)]


def owner_page(
    template: str,
    account: Account,
    at: str,
    status: int = 200,
    *,
    done: str | None = None,
    troubles: dict[str, str] | None = None,
    **words: Any,
) -> Response:
    """Return a page of the owner's.

    Parameters
    ----------
    template : str
        Name of its template.
    account : Account
        Who looks.
    at : str
        Which of the owner's pages it belongs to.
    status : int
        HTTP status.
    done : str or None
        What was done, in a sentence.
    troubles : dict or None
        A sentence by the place of a form that was refused.
    **words
        What else the template needs.
    """
    told = {"at": at, "done": done, "troubles": troubles or {}}
    return page(template, account, HERE, status, **words, **told)


def look(db: Db, now: datetime, account: Account, kind: str, object_id: str | None = None) -> None:
    """Note that an owner looked at something; commits."""
    audit.note(db, now, account.id, "saw", kind, object_id)
    db.commit()


def _require(held: bool, why: str, path: str | None = None) -> None:
    if not held:
        raise Problem(422, why, errors=[] if path is None else [Fault(path, why)])


def _whose(db: Db, account_id: str) -> Account:
    whose = account_by_id(db, account_id)
    if whose is None:
        raise Problem(404)
    return whose


def _accounts_page(
    db: Db,
    account: Account,
    now: datetime,
    settings: Settings,
    status: int = 200,
    *,
    done: str | None = None,
    troubles: dict[str, str] | None = None,
    **typed: Any,
) -> Response:
    words = accounts_page(db, settings, now, **typed)
    return owner_page(
        "owner.html", account, "accounts", status, done=done, troubles=troubles, **words
    )


def _account_page(
    db: Db,
    account: Account,
    whose: Account,
    settings: Settings,
    status: int = 200,
    *,
    done: str | None = None,
    troubles: dict[str, str] | None = None,
    **typed: Any,
) -> Response:
    words = account_page(db, whose, settings, **typed) | {"is_own": whose.id == account.id}
    return owner_page(
        "owner-account.html", account, "accounts", status, done=done, troubles=troubles, **words
    )


def _link_page(
    request: Request, account: Account, settings: Settings, made: dict[str, Any], whose: str | None
) -> Response:
    start = str(request.url.replace(path="/", query="", fragment="")).rstrip("/")
    until = moment_words(settings, datetime.fromisoformat(made["expires_at"]))
    link = f"{start}{made['link']}"
    return owner_page("owner-link.html", account, "accounts", link=link, until=until, whose=whose)


@router.get("/owner")
def show_accounts(account: Owner, db: Db, now: Now, settings: Config, done: Done = "") -> Response:
    """Show every account and invitation, and the form of a new one."""
    look(db, now, account, "accounts")
    return _accounts_page(db, account, now, settings, done=DONE.get(done))


@router.post("/owner/invitations")
def invite(
    request: Request,
    account: Owner,
    db: Db,
    now: Now,
    settings: Config,
    roles: Roles,
    supervisor_id: UuidOrNothing = "",
    form: UuidOrNothing = "",
) -> Response:
    """Invite somebody and show the link: only its hash is kept, so it is shown this once."""
    above = supervisor_id or None
    try:
        _require(bool(roles), NO_ROLE)
        body = NewInvitation(id=form or None, roles=roles, supervisor_id=above)
        made = routes_owner.make_invitation(body, account, db, now)
    except Problem as problem:
        db.rollback()
        return _accounts_page(
            db,
            account,
            now,
            settings,
            problem.status,
            troubles=problem.by_place,
            roles=roles,
            supervisor_id=above,
        )
    return _link_page(request, account, settings, made, None)


@router.post("/owner/invitations/{invitation_id}/withdraw")
def withdraw(
    invitation_id: str, account: Owner, db: Db, now: Now, settings: Config, sure: Tick = ""
) -> Response:
    """Withdraw an invitation with a form."""
    try:
        _require(sure == "yes", NOT_SURE)
        routes_owner.withdraw_invitation(invitation_id, account, db, now)
    except Problem as problem:
        if problem.status == 404:
            raise
        db.rollback()
        troubles = {invitation_id: problem.detail}
        return _accounts_page(db, account, now, settings, problem.status, troubles=troubles)
    return RedirectResponse(f"{HERE}?done=withdrawn", 303)


@router.get("/owner/accounts/{account_id}")
def show_account(
    account_id: str, account: Owner, db: Db, now: Now, settings: Config, done: Done = ""
) -> Response:
    """Show one account with what can be done about it."""
    whose = _whose(db, account_id)
    look(db, now, account, "account", whose.id)
    return _account_page(db, account, whose, settings, done=DONE.get(done))


@router.post("/owner/accounts/{account_id}/change")
def change(
    account_id: str,
    account: Owner,
    db: Db,
    now: Now,
    settings: Config,
    roles: Roles,
    supervisor_id: UuidOrNothing = "",
    sure: Tick = "",
) -> Response:
    """Change roles and supervisor of an account with a form."""
    whose = _whose(db, account_id)
    wanted, above = set[str](roles), supervisor_id or None
    try:
        _require(bool(wanted), NO_ROLE)
        _require(sure == "yes" or whose.roles <= wanted, TAKES_AWAY, "/sure")
        change_account(db, whose.id, Change(wanted, above, moves=True), account, now)
    except Problem as problem:
        db.rollback()
        troubles = {f"/change{path}": why for path, why in problem.by_place.items()}
        return _account_page(
            db,
            account,
            whose,
            settings,
            problem.status,
            troubles=troubles,
            roles=wanted,
            supervisor_id=above,
        )
    return RedirectResponse(_after(account, whose, "changed"), 303)


def _after(account: Account, whose: Account, done: str) -> str:
    # Whoever has just ended their own account, or is no owner any more, has no page here.
    stays = account.id != whose.id or (whose.closed_at is None and "owner" in whose.roles)
    return f"{HERE}/accounts/{whose.id}?done={done}" if stays else "/"


@router.post("/owner/accounts/{account_id}/reset")
def reset(
    account_id: str,
    request: Request,
    account: Owner,
    db: Db,
    now: Now,
    settings: Config,
    sure: Tick = "",
) -> Response:
    """Make a link for a new pass-phrase and show it this once."""
    whose = _whose(db, account_id)
    try:
        _require(sure == "yes", NOT_SURE)
        made = routes_owner.reset(whose.id, account, db, now)
    except Problem as problem:
        return _refused(db, account, whose, settings, problem, "/reset")
    return _link_page(request, account, settings, made, whose.name)


@router.post("/owner/accounts/{account_id}/sign-out")
def sign_out(
    account_id: str, account: Owner, db: Db, now: Now, settings: Config, sure: Tick = ""
) -> Response:
    """Sign an account out everywhere, and end its tablets, with a form."""
    whose = _whose(db, account_id)
    if not sure:
        return _refused(db, account, whose, settings, Problem(422, NOT_SURE), "/sign-out")
    routes_owner.sign_out(whose.id, account, db, now)
    return RedirectResponse(_after(account, whose, "signed-out"), 303)


@router.post("/owner/accounts/{account_id}/ending")
def end_or_open(
    account_id: str,
    account: Owner,
    db: Db,
    now: Now,
    settings: Config,
    closed: Annotated[Literal["yes", "no"], Form()],
    sure: Tick = "",
) -> Response:
    """End an account, or open it again, with a form."""
    whose = _whose(db, account_id)
    try:
        _require(sure == "yes", NOT_SURE)
        change_account(db, whose.id, Change(closed=closed == "yes"), account, now)
    except Problem as problem:
        return _refused(db, account, whose, settings, problem, "/ending")
    return RedirectResponse(_after(account, whose, "ended" if closed == "yes" else "opened"), 303)


def _refused(
    db: Db, account: Account, whose: Account, settings: Settings, problem: Problem, where: str
) -> Response:
    db.rollback()
    why = " ".join(problem.by_place.values())
    return _account_page(db, account, whose, settings, problem.status, troubles={where: why})
