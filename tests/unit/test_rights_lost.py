"""Rights that end: at every door whoever had them gets the answer of whoever never had them."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from typing import Any
from uuid import uuid4

import pytest

from tests.practice import Practice, drawn
from tests.problem_form import assert_problem
from tests.put_back import put_back
from tests.rights import World, make_world, read_table, status_of
from tests.rights_requests import request_for

EXPECTED = read_table()
# Where nobody has to be known, nothing can be lost.
GUARDED = [
    route for route, row in EXPECTED.items() if row["out"] in (401, 303) and "sign" not in route
]
LINK = "INSERT INTO care_link (account_id, child_id, from_day, to_day) VALUES (:lantern, :Gull, {})"
NO_ROLE = "DELETE FROM account_role WHERE account_id = :ferry"
# What happens, to whom, and whose answers there are from then on.
CASES = {
    "a link that begins tomorrow": ([LINK.format("'2026-03-04', NULL")], "unlinked", "unlinked"),
    "a link that ended yesterday": (
        [LINK.format("'2026-01-01', '2026-03-02'")],
        "unlinked",
        "unlinked",
    ),
    "a link that ended today": (
        [LINK.format("'2026-01-01', '2026-03-03'")],
        "unlinked",
        "unlinked",
    ),
    "supervision that ended": (
        [
            "UPDATE account SET supervisor_id = NULL WHERE id = :ferry",
            "UPDATE care_link SET to_day = '2026-03-03' WHERE account_id = :harbour",
        ],
        "above",
        "apart",
    ),
    "a closed account at the desk": (
        ["UPDATE account SET closed_at = '2026-03-03 11:00:00' WHERE id = :ferry"],
        "linked",
        "out",
    ),
    "a closed account's tablet": (
        ["UPDATE account SET closed_at = '2026-03-03 11:00:00' WHERE id = :ferry"],
        "tablet",
        "out",
    ),
    "another role at the desk": (
        [NO_ROLE, "INSERT INTO account_role VALUES (:ferry, 'researcher')"],
        "linked",
        "researcher",
    ),
    "another role's tablet": (
        [NO_ROLE, "INSERT INTO account_role VALUES (:ferry, 'researcher')"],
        "tablet",
        "out",
    ),
    "a tablet that was revoked": (
        ["UPDATE token SET revoked_at = '2026-03-03 11:00:00' WHERE account_id = :ferry"],
        "tablet",
        "out",
    ),
}


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> World:
    return make_world(tmp_path_factory.mktemp("lost"))


@pytest.fixture(scope="module")
def served(world: World, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Practice]:
    with world.running(tmp_path_factory.mktemp("served")) as practice:
        yield practice


def change(practice: Practice, statements: list[str]) -> None:
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        for statement in statements:
            connection.execute(statement, practice.ids)


@pytest.mark.parametrize("case", CASES)
def test_what_was_lost_is_lost_at_every_door(world: World, served: Practice, case: str) -> None:
    statements, caller, like = CASES[case]
    found, expected = {}, {}
    for route in GUARDED:
        put_back(world, served)
        request = request_for(route, served)
        change(served, statements)
        found[route] = status_of(world.as_caller(served, caller), route, request)
        expected[route] = EXPECTED[route][like]
    assert found == expected


def linked_anew(practice: Practice) -> Any:
    """The desk of a therapist who was linked to Gull today."""
    body = {"account_id": practice.ids["lantern"]}
    address = f"/api/children/{practice.ids['Gull']}/links"
    assert practice.desk("harbour").post(address, json=body).status_code == 201
    return practice.desk("lantern")


def earlier_session(practice: Practice, day: str) -> str:
    address = f"/api/children/{practice.ids['Gull']}/sessions"
    made: str = practice.desk("ferry").post(address, json={"day": day}).json()["session_id"]
    return made


def mark_of(tree: dict[str, Any], client: Any) -> Any:
    body = {"id": str(uuid4()), "outcome": "spoilt"}
    return client.post(f"/api/trials/{tree['trial_id']}/marks", json=body)


def test_whoever_is_linked_now_adds_to_sessions_of_before(practice: Practice) -> None:
    params = {"session": earlier_session(practice, "2026-03-01")}
    old, new = drawn(), drawn()
    assert practice.send(practice.desk("ferry"), old, params=params).status_code == 201
    lantern = linked_anew(practice)
    assert mark_of(old, lantern).status_code == 201
    assert practice.send(lantern, new, params=params).status_code == 201
    assert practice.send(lantern, new, params=params).status_code == 200


def test_a_desk_whose_link_has_ended_sends_nothing_by_way_of_a_plan(practice: Practice) -> None:
    lantern, first = linked_anew(practice), drawn()
    assert practice.send(lantern, first).status_code == 201
    address = f"/api/children/{practice.ids['Gull']}/links/{practice.ids['lantern']}/end"
    assert practice.desk("harbour").post(address).status_code == 200
    assert_problem(practice.send(lantern, drawn()), 422, "/plan/plan_id")
    assert_problem(practice.send(lantern, first), 404)
    assert_problem(mark_of(first, lantern), 404)


def test_a_tablet_still_gets_rid_of_a_trial_that_was_moved(practice: Practice) -> None:
    """To a day on which its therapist was not linked yet."""
    tablet, other, tree = practice.tablet(), practice.tablet(), drawn()
    assert practice.send(tablet, tree).status_code == 201
    body = {
        "id": str(uuid4()),
        "patch": {"session_id": earlier_session(practice, "2025-06-02")},
        "reason": "Drawn in another session.",
    }
    address = f"/api/trials/{tree['trial_id']}/amendments"
    assert practice.desk("ferry").post(address, json=body).status_code == 201
    assert practice.send(tablet, tree).status_code == 200
    assert mark_of(tree, tablet).status_code == 201
    assert_problem(mark_of(tree, other), 404)


def test_a_mark_holds_no_control_characters(practice: Practice) -> None:
    tablet, tree = practice.tablet(), drawn()
    practice.send(tablet, tree)
    body = {"id": str(uuid4()), "outcome": "spoilt", "why": "a\x1b[31m"}
    address = f"/api/trials/{tree['trial_id']}/marks"
    assert_problem(tablet.post(address, json=body), 422, "/why")
