"""Every view, change and export leaves a line in the audit, and says whose record it was."""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from typing import Any

import pytest

from tests.practice import Practice
from tests.put_back import put_back
from tests.rights import (
    CALLERS,
    NOT_SIGNED_IN,
    OPEN_FORMS,
    World,
    is_guarded_form,
    make_world,
    read_table,
    status_of,
)
from tests.rights_requests import request_for

EXPECTED = read_table()
# What tells nothing about anybody, or nothing that one does not know oneself.
NOT_NOTED = {
    "GET /healthz": "alive or not",
    "GET /api/openapi.json": "the same for everybody",
    "GET /api/schemas/": "the same for everybody",
    "GET /api/schemas/{name}": "the same for everybody",
    "GET /api/measures": "the same for everybody",
    "GET /api/signs": "the same for everybody",
    "GET /tablet": "the page without a child's plans",
    "GET /tablet-worker.js": "the same for everybody",
    "GET /": "the page to sign in",
    "GET /join": "the page to join",
    "GET /export": "which tables there are",
    "GET /api/account": "one's own account",
    "GET /account": "one's own account",
}
OF_A_CHILD = re.compile(r"{(child|session|trial|cut|entry|goal|observation|consent)_id}")
# Lists in which the record of a child stands.
LISTS = {
    "GET /api/children",
    "GET /api/notes",
    "GET /api/sessions",
    "GET /api/tablet/day",
    "GET /caseload",
    "GET /queue",
    "GET /run-sheet",
}


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> World:
    return make_world(tmp_path_factory.mktemp("audit"))


@pytest.fixture(scope="module")
def served(world: World, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Practice]:
    with world.running(tmp_path_factory.mktemp("served")) as practice:
        yield practice


def askers(route: str) -> list[str]:
    """Return who gets an answer that tells or changes something, one for each kind of account."""
    row = EXPECTED[route]
    # A form goes on to another page after it was taken.
    is_form = route in OPEN_FORMS or is_guarded_form(route)
    found = [one for one in CALLERS if row[one] < 300 or (is_form and row[one] == 303)]
    # Whoever is not signed in anywhere cannot sign out, and one of each kind is enough.
    nobody = "sign-out" in route or is_guarded_form(route)
    left_out = {"strange", "unlinked", "apart"} | set(NOT_SIGNED_IN if nobody else ())
    return [one for one in found if one not in left_out]


def before_asking(practice: Practice, route: str) -> dict[str, Any]:
    """Return a sound request whose answer tells or changes something."""
    if route.endswith("/reopen"):
        session = practice.ids["Gull session"]
        practice.desk("ferry").post(f"/api/sessions/{session}/close")
    request = request_for(route, practice)
    if route.startswith("GET "):
        # Looks close together are one look, and the record was looked at when it was filled.
        practice.clock.move(minutes=11)
    return request


def new_lines(practice: Practice, after: int) -> list[Any]:
    query = "SELECT verb, kind, child_id FROM audit WHERE number > ?"
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query, (after,)).fetchall()


def last_number(practice: Practice) -> int:
    with closing(sqlite3.connect(practice.path)) as connection:
        number: int = connection.execute("SELECT max(number) FROM audit").fetchone()[0]
        return number


@pytest.mark.parametrize("route", sorted(EXPECTED.keys() - NOT_NOTED.keys()))
def test_an_answer_leaves_a_line_in_the_audit(world: World, served: Practice, route: str) -> None:
    for asker in askers(route):
        put_back(world, served)
        request = before_asking(served, route)
        number = last_number(served)
        status = status_of(world.as_caller(served, asker), route, request)
        assert status == EXPECTED[route][asker]
        lines = new_lines(served, number)
        assert lines or (route == "GET /api/notes" and asker == "linked"), asker
        if lines and (OF_A_CHILD.search(route) or route in LISTS):
            assert served.ids["Gull"] in {child for _, _, child in lines}, (asker, lines)


def test_what_leaves_no_line_is_still_a_route() -> None:
    assert NOT_NOTED.keys() <= EXPECTED.keys()
    assert EXPECTED.keys() >= LISTS
