"""Bad input everywhere: no door breaks, says what was sent, or keeps half of it."""

import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from server.auth import Throttle
from tests.mutations import BODIES, HEADERS, IN_PATHS, IN_QUERIES, mutated
from tests.practice import Practice
from tests.problem_form import assert_problem
from tests.put_back import put_back
from tests.rights import (
    NOT_SIGNED_IN,
    World,
    everything_but_looks,
    is_guarded_form,
    make_world,
    read_table,
)
from tests.rights_requests import request_for

EXPECTED = read_table()
ASKERS = ("linked", "above", "tablet", "owner", "researcher", "out")
WRITES = ("POST", "PUT", "PATCH", "DELETE")
JSON = {"Content-Type": "application/json"}
# Texts that were sent and may not come back.
ECHOES = ("x" * 40, "9" * 40, "__proto__", "0001-01-01", "9999-12-31")
IN_FIELDS = re.compile(r"<input\b[^>]*>|<textarea\b.*?</textarea>", re.DOTALL)

Sent = tuple[str, dict[str, Any]]


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> World:
    return make_world(tmp_path_factory.mktemp("requests"))


@pytest.fixture(scope="module")
def served(world: World, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Practice]:
    with world.running(tmp_path_factory.mktemp("served")) as practice:
        yield practice


@cache
def _rows_of(template: Path) -> list[str]:
    return everything_but_looks(template)


def made_ready(
    world: World, practice: Practice, route: str, watching: sqlite3.Connection
) -> tuple[dict[str, Any], list[str]]:
    """Put the practice back; return a sound request for a route and the rows there are then."""
    put_back(world, practice)
    counted = _version(watching)
    request = request_for(route, practice)
    is_as_it_was = _version(watching) == counted
    rows = _rows_of(world.template) if is_as_it_was else everything_but_looks(practice.path)
    return request, rows


def asker_of(route: str) -> str:
    """Return somebody whom a route answers."""
    found = [one for one in ASKERS if EXPECTED[route][one] < 400]
    if is_guarded_form(route):
        # Whoever is not signed in is sent away before anything is read.
        return next(one for one in found if one not in NOT_SIGNED_IN)
    return next(
        one for one in found if EXPECTED[route][one] < 300 or found == [one] or one == "out"
    )


def _operation(spec: dict[str, Any], route: str) -> dict[str, Any]:
    method, path = route.split(" ")
    found: dict[str, Any] = spec["paths"].get(path, {}).get(method.lower(), {})
    return found


def _bodies(practice: Practice, route: str, request: dict[str, Any]) -> Iterator[dict[str, Any]]:
    spec = practice.app.openapi()
    content = _operation(spec, route).get("requestBody", {}).get("content", {})
    schema = content.get("application/json", {}).get("schema")
    if schema is not None or "json" in request:
        for text in mutated(request.get("json"), schema, spec):
            yield {"content": text, "headers": JSON}
    for field in request.get("data", {}):
        for value in ("", "a\0b", "x" * 9000):
            yield {"data": request["data"] | {field: value}}
        yield {"data": {k: v for k, v in request["data"].items() if k != field}}
        yield {"files": {field: ("f", b"x")}}
    if route.split(" ")[0] in WRITES:
        yield from ({"content": body, "headers": JSON} for body in BODIES)
        sound = request.get("content") or json.dumps(request.get("json")).encode()
        yield from ({"content": sound, "headers": headers} for headers in HEADERS)


def bad_requests(practice: Practice, route: str, request: dict[str, Any]) -> Iterator[Sent]:
    """Yield addresses and what is sent there, each wrong in one place (or right after all)."""
    _, template = route.split(" ")
    sound = {key: request[key] for key in ("json", "content", "params", "data") if key in request}
    path = template.format(**request["at"])
    params = request.get("params", {})
    for body in _bodies(practice, route, request):
        yield path, {"params": params} | body
    for name in re.findall(r"{(\w+)}", template):
        for value in IN_PATHS:
            yield template.format(**request["at"] | {name: value}), sound
    for parameter in _operation(practice.app.openapi(), route).get("parameters", []):
        if parameter["in"] == "query":
            for value in IN_QUERIES:
                yield path, sound | {"params": params | {parameter["name"]: value}}


def answered(client: TestClient, route: str, sent: Sent) -> int:
    """Send a request; return the status of the answer after looking at its form."""
    path, request = sent
    answer = client.request(route.split(" ")[0], path, **request)
    status: int = answer.status_code
    assert status < 500, sent
    if status >= 400:
        told = answer.text
        if answer.headers["content-type"] == "text/html; charset=utf-8":
            # A form that is shown again keeps what was typed, in its own fields and nowhere else.
            told = IN_FIELDS.sub("", told)
        else:
            assert_problem(answer, status)
        assert not any(echo in told for echo in ECHOES), sent
    return status


@pytest.mark.parametrize("route", EXPECTED)
def test_what_is_wrong_in_one_place_breaks_nothing_and_changes_nothing(
    world: World, served: Practice, route: str
) -> None:
    client = world.as_caller(served, asker_of(route))
    with closing(sqlite3.connect(served.path)) as watching:
        request, before = made_ready(world, served, route, watching)
        counted = _version(watching)
        for sent in bad_requests(served, route, request):
            served.app.state.throttle = Throttle()
            status = answered(client, route, sent)
            if counted == (counted := _version(watching)):
                continue
            if status >= 400 or route.startswith("GET "):
                assert everything_but_looks(served.path) == before, sent
            else:
                # It was taken after all: what comes next meets the practice as it was.
                _, before = made_ready(world, served, route, watching)
                counted = _version(watching)


def _version(connection: sqlite3.Connection) -> int:
    """Return a number that changes when anybody else commits."""
    number: int = connection.execute("PRAGMA data_version").fetchone()[0]
    return number
