"""Every route, every caller: the answer is the one in ``tests/rights.txt``."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.rights import (
    CALLERS,
    NOT_SIGNED_IN,
    World,
    everything_but_looks,
    is_guarded_form,
    make_world,
    read_table,
    routes_of,
    status_of,
)
from tests.rights_requests import request_for

EXPECTED = read_table()
REFUSED = range(400, 500)


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> World:
    return make_world(tmp_path_factory.mktemp("rights"))


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    yield tmp_path
    for file in tmp_path.glob("rights.sqlite3*"):
        file.unlink()


def is_refused(route: str, caller: str) -> bool:
    sent_away = is_guarded_form(route) and caller in NOT_SIGNED_IN
    return sent_away or EXPECTED[route][caller] in REFUSED


def test_the_table_holds_every_route_and_no_other(world: World, folder: Path) -> None:
    with world.running(folder) as practice:
        assert set(EXPECTED) == routes_of(practice.app)


@pytest.mark.parametrize("route", EXPECTED)
def test_each_caller_gets_the_answer_of_the_table(world: World, folder: Path, route: str) -> None:
    found = {}
    looks = route.startswith("GET ")
    together = [one for one in CALLERS if looks or is_refused(route, one)]
    with world.running(folder) as practice:
        request = request_for(route, practice)
        before = everything_but_looks(practice.path)
        for caller in together:
            found[caller] = status_of(world.as_caller(practice, caller), route, request)
        # Whoever looks or is refused has changed nothing.
        assert everything_but_looks(practice.path) == before
    for caller in CALLERS:
        if caller not in together:
            with world.running(folder) as practice:
                request = request_for(route, practice)
                found[caller] = status_of(world.as_caller(practice, caller), route, request)
    assert found == EXPECTED[route]


def test_the_table_tells_callers_apart() -> None:
    # A table filled with one number would let everything through.
    columns = {caller: tuple(row[caller] for row in EXPECTED.values()) for caller in CALLERS}
    assert len(set(columns.values())) >= len(CALLERS)
