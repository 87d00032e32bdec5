"""The table of rights, and a practice in which every address of it leads somewhere."""

import shutil
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from starlette.routing import BaseRoute, Mount, Route

from server.app import create_app
from server.database import make_engine, make_sessions
from server.store_accounts import create_account
from tests.practice import (
    NOON,
    ORIGIN,
    PASSPHRASE,
    Clock,
    Practice,
    make_practice,
    served,
    settings_for,
)

TABLE = Path(__file__).with_name("rights.txt")
# Written by looking and taking away, not by changing.
LOOKS = ("audit", "sign_in", "export_run")
# Mounted folders of files that hold nothing about anybody.
FILES = "/static/"
ADULTS = {
    "linked": "ferry",
    "above": "harbour",
    "unlinked": "lantern",
    "apart": "anchor",
    "researcher": "beacon",
    "owner": "purser",
}
TABLETS = {"tablet": "ferry", "strange": "lantern"}
CALLERS = ("out", "tablet", "strange", *ADULTS)
# Nobody is signed in at these, whatever the form they send.
NOT_SIGNED_IN = ("out", *TABLETS)
# Forms that are there before anybody is signed in, or when somebody leaves.
OPEN_FORMS = ("POST /sign-in", "POST /sign-out", "POST /join")


def is_guarded_form(route: str) -> bool:
    """Whether a route is a form behind the sign-in.

    It answers 303 when it was taken, and 303 to the first page when nobody is signed in and
    nothing was typed: the number alone does not tell the two apart.
    """
    is_form = route.startswith("POST /") and not route.startswith("POST /api/")
    return is_form and route not in OPEN_FORMS


def read_table() -> dict[str, dict[str, int]]:
    """Return the expected status of each caller for each route, such as ``GET /caseload``."""
    lines = [line for line in TABLE.read_text().splitlines() if line and line[0] != "#"]
    head, *rows = [line.split() for line in lines]
    assert tuple(head[1:]) == CALLERS
    table = {}
    for method, path, *cells in rows:
        route = f"{method} {path}"
        assert len(cells) == len(CALLERS), route
        assert route not in table, route
        table[route] = dict(zip(CALLERS, map(int, cells), strict=True))
    return table


def routes_of(app: FastAPI) -> set[str]:
    """Return every route of an application, such as ``GET /caseload``, files left out."""
    found = set()
    for route in _flat(app.routes):
        if isinstance(route, Mount):
            assert route.path.startswith(FILES), route.path
            continue
        assert isinstance(route, Route), type(route)
        found |= {f"{method} {route.path}" for method in (route.methods or ()) - {"HEAD"}}
    return found


def _flat(routes: Iterable[BaseRoute]) -> Iterator[BaseRoute]:
    for route in routes:
        router = getattr(route, "original_router", None)
        yield from [route] if router is None else _flat(router.routes)


@dataclass(frozen=True)
class World:
    """A practice on disk, with somebody signed in or paired for every column."""

    template: Path
    ids: dict[str, str]
    headers: dict[str, dict[str, str]]

    @contextmanager
    def running(self, folder: Path) -> Iterator[Practice]:
        """Serve a fresh copy."""
        path = folder / "rights.sqlite3"
        for old in folder.glob("rights.sqlite3*"):
            old.unlink()
        shutil.copy(self.template, path)
        with served(path, self.ids) as practice:
            yield practice

    def as_caller(self, practice: Practice, caller: str) -> TestClient:
        """Return a client that is one of the columns."""
        return practice.browser(self.headers[caller], follow_redirects=False)


def everything_but_looks(path: Path) -> list[str]:
    """Return all rows of a database except those that say who looked."""
    with closing(sqlite3.connect(path)) as connection:
        return [
            line
            for line in connection.iterdump()
            if not line.startswith(tuple(f'INSERT INTO "{table}"' for table in LOOKS))
            and not line.startswith('INSERT INTO "sqlite_sequence"')
        ]


def make_world(folder: Path) -> World:
    """Fill a practice so that every route of the table has something to find."""
    from tests.rights_requests import fill

    path = folder / "template.sqlite3"
    ids = make_practice(path)
    settings = settings_for(path)
    engine = make_engine(settings)
    with make_sessions(engine)() as db:
        anchor = create_account(db, name="anchor", passphrase=PASSPHRASE, roles={"supervisor"})
        ids["anchor"] = anchor.id
        db.commit()
    engine.dispose()
    clock = Clock()
    app = create_app(settings, clock)
    headers: dict[str, dict[str, str]] = {"out": {}}
    with TestClient(app, headers=ORIGIN) as client:
        practice = Practice(app, client, clock, path, ids)
        for caller, name in ADULTS.items():
            secret = practice.desk(name).cookies["linnet"]
            headers[caller] = {"Cookie": f"linnet={secret}"}
        for caller, name in TABLETS.items():
            held = practice.tablet(name)
            headers[caller] = {"Authorization": held.headers["authorization"]}
        fill(practice)
    assert clock.now == NOON
    return World(path, practice.ids, headers)


def status_of(client: TestClient, route: str, request: dict[str, Any]) -> int:
    """Send a request of the table; return the status of its answer."""
    method, template = route.split(" ")
    path = template.format(**request.get("at", {}))
    more = {key: request[key] for key in ("json", "content", "params", "data") if key in request}
    return int(client.request(method, path, **more).status_code)
