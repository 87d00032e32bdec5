"""Pages for adults. They work without scripts; forms answer 303 after a write."""

from functools import cache
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Form, Request, Response
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.responses import HTMLResponse, RedirectResponse

from server import auth
from server.deps import (
    THERAPIST_ROLES,
    Address,
    Config,
    Cookie,
    Db,
    MaybeSignedIn,
    Now,
    Researcher,
    Tries,
)
from server.joining import join
from server.problems import Problem
from server.routes_accounts import check_credentials, noted_sign_in, noted_sign_out
from server.tables import Account
from server.way_back import FIELD, may_go_on, page_of_ours

router = APIRouter(include_in_schema=False)

NEVER_CACHED = {"Cache-Control": "no-store"}
# Said in the address of the sign-in: what was sent before it was not stored.
LOST = "lost"

# As long as the body of a request may be: what is too long is nobody's, and refused as such.
Typed = Annotated[str, Form()]


class Link(NamedTuple):
    """One link in the head of a page."""

    word: str
    href: str
    here: bool


# Word, address, and who may go there.
PLACES = (
    ("Caseload", "/caseload", THERAPIST_ROLES),
    ("Notes", "/queue", THERAPIST_ROLES),
    ("Export", "/export", frozenset({"researcher"})),
    ("Owner", "/owner", frozenset({"owner"})),
)


@cache
def templates() -> Environment:
    """Return the templates; a name that a page does not give is an error, not a blank."""
    return Environment(
        loader=PackageLoader("web", "desk"),
        autoescape=select_autoescape(["html"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page(
    name: str, account: Account | None, here: str, status: int = 200, **words: Any
) -> HTMLResponse:
    """Return a page that is never kept by a browser.

    Parameters
    ----------
    name : str
        Template.
    account : Account or None
        Who looks.
    here : str
        Address of the place the page belongs to.
    status : int
        HTTP status.
    **words
        What the template needs.

    Returns
    -------
    HTMLResponse
        The page.
    """
    roles = frozenset() if account is None else account.roles
    links = [Link(word, href, href == here) for word, href, who in PLACES if roles & who]
    body = (
        templates()
        .get_template(name)
        .render(account=account, links=links, home=home_of(account), **words)
    )
    return HTMLResponse(body, status, NEVER_CACHED)


def home_of(account: Account | None) -> str:
    """Return the first page of an account."""
    if account is None:
        return "/"
    return next((href for _, href, who in PLACES if account.roles & who), "/")


def _sign_in_page(
    settings: Config, account: Account | None = None, status: int = 200, **words: Any
) -> HTMLResponse:
    usual: dict[str, Any] = {"trouble": None, "ready": False, "wants_code": False}
    usual |= {"typed_name": "", "lost": False}
    return page("sign-in.html", account, "/", status, **usual | {"demo": settings.demo} | words)


def _first_page(request: Request, account: Account, wanted: str) -> str:
    """Return where an account goes on: to the page that was wanted, if it can be."""
    page_wanted = page_of_ours(request.app.state.pages, wanted)
    if page_wanted is not None and may_go_on(account, page_wanted):
        return page_wanted
    return home_of(account)


@router.get("/")
def show_sign_in(request: Request, account: MaybeSignedIn, settings: Config) -> Response:
    """Show the sign-in, or go on for those who are signed in."""
    wanted = request.query_params.get(FIELD, "")
    if account is not None and home_of(account) != "/":
        return RedirectResponse(_first_page(request, account, wanted), 303)
    return _sign_in_page(
        settings,
        account,
        ready="ready" in request.query_params,
        lost=LOST in request.query_params,
        wanted=page_of_ours(request.app.state.pages, wanted),
    )


@router.get("/sign-in")
def show_sign_in_again() -> Response:
    """Lead to the sign-in whoever types the address that its form is sent to."""
    return RedirectResponse("/", 303)


@router.post("/sign-in")
def sign_in(
    request: Request,
    db: Db,
    now: Now,
    settings: Config,
    throttle: Tries,
    address: Address,
    name: Typed = "",
    passphrase: Typed = "",
    code: Typed = "",
    wanted: Annotated[str, Form(alias=FIELD)] = "",
) -> Response:
    """Sign in with a form, and go on to the page that was wanted before."""
    try:
        account = check_credentials(db, throttle, address, name, passphrase, code, now)
        secret = noted_sign_in(db, account, now)
    except Problem as problem:
        wants_code = any(fault.path == "/code" for fault in problem.errors)
        return _sign_in_page(
            settings,
            None,
            problem.status,
            trouble=problem.detail,
            wants_code=wants_code,
            typed_name=name,
            wanted=page_of_ours(request.app.state.pages, wanted),
        )
    response = RedirectResponse(_first_page(request, account, wanted), 303)
    auth.set_cookie(response, settings, secret)
    return response


@router.get("/join")
def show_join() -> Response:
    """Show the page that the link of an invitation opens."""
    return page("join.html", None, "/", troubles={}, secret="", typed_name="")


@router.post("/join")
def use_link(
    secret: Annotated[str, Form(max_length=200)],
    passphrase: Annotated[str, Form(max_length=1000)],
    db: Db,
    now: Now,
    throttle: Tries,
    address: Address,
    name: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Make an account, or choose a new pass-phrase, with a form."""
    try:
        join(db, throttle, address, secret=secret, name=name, passphrase=passphrase, now=now)
    except Problem as problem:
        return page(
            "join.html",
            None,
            "/",
            problem.status,
            troubles=problem.by_place,
            secret=secret,
            typed_name=name,
        )
    return RedirectResponse("/?ready", 303)


@router.post("/sign-out")
def sign_out(
    db: Db, now: Now, settings: Config, cookie: Cookie, account: MaybeSignedIn
) -> Response:
    """Sign out with a form."""
    noted_sign_out(db, cookie, account, now)
    response = RedirectResponse("/", 303)
    auth.drop_cookie(response, settings)
    return response


@router.get("/export")
def show_export(account: Researcher, db: Db) -> Response:
    """Show what a researcher can take away."""
    from server.page_export import export_page

    return page("export.html", account, "/export", **export_page(db))
