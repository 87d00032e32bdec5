"""The way back to a page after signing in: an address of one of our own pages, or none."""

import re
from collections.abc import Iterable, Iterator
from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from fastapi.routing import APIRoute

from server.deps import THERAPIST_ROLES
from server.tables import Account

FIELD = "next"
FIRST_PAGE = "/"
ONE_ID = "[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}"
# Open to everybody, or read by the script of a page.
NO_RETURN = frozenset({FIRST_PAGE, "/sign-in", "/join", "/tablet", "/sessions/{session_id}/live"})
# Whose pages begin with which word; all others are those of therapists.
PLACES_OF = {
    "owner": frozenset({"owner"}),
    "export": frozenset({"researcher"}),
    "account": THERAPIST_ROLES | {"owner", "researcher"},
}

# Longer than any address of ours. Looking at every slash of a longer one takes its time.
MOST_LETTERS = 200

Pages = re.Pattern[str]


def pages_of(routers: Iterable[APIRouter]) -> Pages:
    """Return what the addresses of the desk's pages look like: our words and random ids.

    Parameters
    ----------
    routers : iterable of APIRouter
        All routes of the application.

    Returns
    -------
    re.Pattern
        To be matched in full. Nothing that somebody made up fits: no host, no query, no
        name in the place of an id.
    """
    return re.compile("|".join(sorted(_patterns(routers))))


def _patterns(routers: Iterable[APIRouter]) -> Iterator[str]:
    for router in routers:
        for route in router.routes:
            # Pages stand in no schema; an address with a dot is a file, not a page.
            if isinstance(route, APIRoute) and not route.include_in_schema:
                is_page = "GET" in (route.methods or ()) and "." not in route.path
                if is_page and route.path not in NO_RETURN:
                    yield re.sub(r"\{\w+\}", lambda _: ONE_ID, route.path)


def page_of_ours(pages: Pages, address: str) -> str | None:
    """Return an address if it is one of a page of ours, else None."""
    return address if pages.fullmatch(address) else None


def way_back(request: Request) -> str | None:
    """Return the page that somebody was on whose sign-in has ended.

    Parameters
    ----------
    request : Request
        One that was refused because nobody is signed in.

    Returns
    -------
    str or None
        For a form the page that it stood on, else the page that was asked for; of what is
        no page the nearest one above it. Without the query: it may say what is not so any
        more.
    """
    pages: Pages = request.app.state.pages
    asked = [request.url.path]
    if request.method not in ("GET", "HEAD"):
        asked = [*_stood_on(request), *asked]
    return next((found for path in asked for found in _upwards(pages, path)), None)


def _stood_on(request: Request) -> Iterator[str]:
    try:
        parts = urlsplit(request.headers.get("referer", ""))
    except ValueError:
        return
    if parts.netloc == request.headers.get("host"):
        yield parts.path


def _upwards(pages: Pages, path: str) -> Iterator[str]:
    while path and len(path) <= MOST_LETTERS:
        if pages.fullmatch(path):
            yield path
        path = path.rpartition("/")[0]


def sign_in_address(page: str | None) -> str:
    """Return the address of the sign-in that leads on to a page.

    Examples
    --------
    >>> sign_in_address("/caseload"), sign_in_address(None)
    ('/?next=/caseload', '/')
    """
    # Words and ids of ours need no escapes.
    return FIRST_PAGE if page is None else f"{FIRST_PAGE}?{FIELD}={page}"


def may_go_on(account: Account, page: str) -> bool:
    """Return whether an account has a role for the pages of this kind."""
    word = page.split("/")[1]
    return bool(account.roles & PLACES_OF.get(word, THERAPIST_ROLES))
