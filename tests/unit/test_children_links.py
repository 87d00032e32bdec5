"""Care links: who sees a child, from one day to another."""

import sqlite3
from contextlib import closing
from datetime import date, timedelta
from typing import Any

import pytest

from server.store_accounts import account_by_id
from server.store_children import child_of, children_of, link, was_linked
from server.tables import Child
from tests.practice import TODAY, Practice, drawn
from tests.problem_form import assert_problem

SECRET = "puffin-never-to-be-repeated"
NOBODY = "00000000-0000-4000-8000-00000000ffff"


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def links(practice: Practice, nickname: str = "Gull") -> str:
    return f"/api/children/{practice.ids[nickname]}/links"


def seen(practice: Practice, name: str, nickname: str = "Gull") -> int:
    address = f"/api/children/{practice.ids[nickname]}"
    return practice.desk(name).get(address).status_code


def test_links_tell_who_and_when_and_a_supervisor_who_else_could(practice: Practice) -> None:
    only = {
        "account_id": practice.ids["ferry"],
        "name": "ferry",
        "from_day": (TODAY - timedelta(days=60)).isoformat(),
        "to_day": None,
        "made_by": None,
    }
    assert practice.desk("ferry").get(links(practice)).json() == {"links": [only]}
    told = practice.desk("harbour").get(links(practice)).json()
    assert told["links"] == [only]
    # Not the researcher, not the owner.
    assert [one["name"] for one in told["therapists"]] == ["ferry", "harbour", "lantern"]


def test_a_supervisor_lets_another_therapist_see_a_child(practice: Practice) -> None:
    assert seen(practice, "lantern") == 404
    harbour = practice.desk("harbour")
    made = harbour.post(links(practice), json={"account_id": practice.ids["lantern"]})
    assert made.status_code == 201
    assert made.json() == {
        "account_id": practice.ids["lantern"],
        "name": "lantern",
        "from_day": "2026-03-03",
        "to_day": None,
        "made_by": practice.ids["harbour"],
    }
    assert seen(practice, "lantern") == 200
    found = rows(practice, "SELECT object_id, child_id FROM audit WHERE verb = 'linked'")
    assert found == [(practice.ids["lantern"], practice.ids["Gull"])]


def test_only_a_supervisor_who_sees_the_child_may_link(practice: Practice) -> None:
    body = {"account_id": practice.ids["lantern"]}
    assert_problem(practice.desk("ferry").post(links(practice), json=body), 403)
    assert_problem(practice.desk("harbour").post(links(practice, "Wren"), json=body), 404)
    assert rows(practice, "SELECT count(*) FROM care_link") == [(2,)]


@pytest.mark.parametrize("name", ["beacon", "purser", "nobody", "closed"])
def test_only_open_accounts_of_therapists_can_be_linked(practice: Practice, name: str) -> None:
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        connection.execute(
            "UPDATE account SET closed_at = '2026-03-01 10:00:00' WHERE name = 'lantern'"
        )
    ids = practice.ids | {"nobody": NOBODY, "closed": practice.ids["lantern"]}
    harbour = practice.desk("harbour")
    answer = harbour.post(links(practice), json={"account_id": ids[name]})
    assert_problem(answer, 422, "/account_id")
    assert rows(practice, "SELECT count(*) FROM care_link") == [(2,)]
    offered = harbour.get(links(practice)).json()["therapists"]
    assert "lantern" not in [one["name"] for one in offered]


def test_nobody_is_linked_twice_at_a_time_but_may_be_linked_again(practice: Practice) -> None:
    harbour, ferry = practice.desk("harbour"), practice.ids["ferry"]
    refused = harbour.post(links(practice), json={"account_id": ferry})
    assert_problem(refused, 409, "/account_id")
    harbour.post(links(practice), json={"account_id": practice.ids["harbour"]})
    assert harbour.post(f"{links(practice)}/{ferry}/end").status_code == 200
    assert harbour.post(links(practice), json={"account_id": ferry}).status_code == 201
    found = rows(practice, "SELECT from_day, to_day FROM care_link WHERE made_by IS NULL")
    assert ("2026-01-02", "2026-03-03") in found
    assert rows(practice, "SELECT count(*) FROM care_link") == [(4,)]


def test_a_therapist_with_a_child_of_the_same_pictures_is_not_linked(practice: Practice) -> None:
    address = f"/api/children/{practice.ids['Wren']}"
    practice.desk("lantern").patch(address, json={"sign": ["kite", "boat"]})
    body = {"account_id": practice.ids["lantern"]}
    refused = practice.desk("harbour").post(links(practice), json=body)
    assert_problem(refused, 409, "/account_id")
    assert rows(practice, "SELECT count(*) FROM care_link") == [(2,)]


def test_a_link_that_begins_tomorrow_shows_nothing_today(practice: Practice) -> None:
    body = {"account_id": practice.ids["lantern"], "from_day": "2026-03-04"}
    assert practice.desk("harbour").post(links(practice), json=body).status_code == 201
    assert seen(practice, "lantern") == 404
    assert len(practice.tablet("lantern").get("/api/tablet/day").json()["plans"]) == 1
    practice.clock.move(days=1)
    assert seen(practice, "lantern") == 200


def test_a_link_that_ends_today_is_ended_now_but_takes_today_s_late_trials(
    practice: Practice,
) -> None:
    tablet = practice.tablet()
    practice.desk("harbour").post(links(practice), json={"account_id": practice.ids["harbour"]})
    ended = practice.desk("ferry").post(f"{links(practice)}/{practice.ids['ferry']}/end")
    assert ended.status_code == 200
    assert ended.json()["to_day"] == "2026-03-03"
    assert seen(practice, "ferry") == 404
    assert tablet.get("/api/tablet/day").json()["plans"] == []
    assert practice.send(tablet, drawn()).status_code == 201
    found = rows(practice, "SELECT object_id, child_id FROM audit WHERE verb = 'unlinked'")
    assert found == [(practice.ids["ferry"], practice.ids["Gull"])]


def test_a_link_that_ends_later_shows_the_child_until_then(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    harbour.post(links(practice), json={"account_id": practice.ids["harbour"]})
    address = f"{links(practice)}/{practice.ids['ferry']}/end"
    assert harbour.post(address, json={"to_day": "2026-03-05"}).status_code == 200
    for expected in (200, 200, 404):
        assert seen(practice, "ferry") == expected
        practice.clock.move(days=1)


def test_the_end_is_set_once(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    harbour.post(links(practice), json={"account_id": practice.ids["harbour"]})
    address = f"{links(practice)}/{practice.ids['ferry']}/end"
    assert harbour.post(address, json={"to_day": "2026-03-04"}).status_code == 200
    assert_problem(harbour.post(address), 409)
    assert rows(practice, "SELECT to_day FROM care_link WHERE to_day IS NOT NULL") == [
        ("2026-03-04",)
    ]


def test_an_assistant_ends_her_own_link_only(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    harbour.post(links(practice), json={"account_id": practice.ids["lantern"]})
    address = f"{links(practice)}/{practice.ids['ferry']}/end"
    assert_problem(practice.desk("lantern").post(address), 403)
    assert practice.desk("ferry").post(address).status_code == 200


def test_the_last_link_through_which_a_child_is_seen_is_kept(practice: Practice) -> None:
    harbour, ferry = practice.desk("harbour"), practice.desk("ferry")
    address = f"{links(practice)}/{practice.ids['ferry']}/end"
    for client in (harbour, ferry):
        assert_problem(client.post(address), 409)
    # Not by a link that begins later, nor by one of an account that is closed.
    later = {"account_id": practice.ids["lantern"], "from_day": "2026-03-10"}
    harbour.post(links(practice), json=later)
    assert_problem(ferry.post(address), 409)
    harbour.post(links(practice), json={"account_id": practice.ids["harbour"]})
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        connection.execute(
            "UPDATE account SET closed_at = '2026-03-01 10:00:00' WHERE name = 'harbour'"
        )
    assert_problem(ferry.post(address), 409)
    assert rows(practice, "SELECT count(*) FROM care_link WHERE to_day IS NOT NULL") == [(0,)]
    # From the day on which the other one sees the child it may end.
    assert ferry.post(address, json={"to_day": "2026-03-10"}).status_code == 200


def test_a_link_that_ends_later_lets_no_other_one_end(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    harbour.post(links(practice), json={"account_id": practice.ids["lantern"]})
    lanterns = f"{links(practice)}/{practice.ids['lantern']}/end"
    assert harbour.post(lanterns, json={"to_day": "2026-03-04"}).status_code == 200
    # Else nobody would see the child from the next day on.
    assert_problem(harbour.post(f"{links(practice)}/{practice.ids['ferry']}/end"), 409)
    assert seen(practice, "ferry") == 200


def test_a_link_that_has_not_begun_can_be_called_off(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    later = {"account_id": practice.ids["lantern"], "from_day": "2026-03-10"}
    harbour.post(links(practice), json=later)
    address = f"{links(practice)}/{practice.ids['lantern']}/end"
    assert_problem(harbour.post(address, json={"to_day": "2026-03-09"}), 422, "/to_day")
    assert harbour.post(address).json()["to_day"] == "2026-03-10"
    with practice.app.state.sessions() as db:
        account = account_by_id(db, practice.ids["lantern"])
        assert account is not None
        days = [TODAY + timedelta(days=ahead) for ahead in range(20)]
        assert not any(child_of(db, account, practice.ids["Gull"], on=day) for day in days)


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({}, "/account_id"),
        ({"account_id": SECRET}, "/account_id"),
        ({"account_id": None}, "/account_id"),
        ({"account_id": NOBODY, "from_day": SECRET}, "/from_day"),
        ({"account_id": NOBODY, "from_day": 3}, "/from_day"),
        ({"account_id": NOBODY, SECRET: 1}, ""),
    ],
)
def test_a_link_that_does_not_fit_is_refused(
    practice: Practice, body: dict[str, Any], path: str
) -> None:
    answer = practice.desk("harbour").post(links(practice), json=body)
    assert_problem(answer, 422, path)
    assert SECRET not in answer.text
    assert rows(practice, "SELECT count(*) FROM care_link") == [(2,)]


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({"to_day": SECRET}, "/to_day"),
        ({"to_day": "2025-12-01"}, "/to_day"),
        ({SECRET: 1}, ""),
    ],
)
def test_an_end_that_does_not_fit_is_refused(
    practice: Practice, body: dict[str, Any], path: str
) -> None:
    address = f"{links(practice)}/{practice.ids['ferry']}/end"
    answer = practice.desk("harbour").post(address, json=body)
    assert_problem(answer, 422, path)
    assert SECRET not in answer.text
    assert rows(practice, "SELECT count(*) FROM care_link WHERE to_day IS NOT NULL") == [(0,)]


def test_the_end_of_a_link_that_is_not_there_is_not_found(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    for account_id in (practice.ids["lantern"], SECRET):
        assert_problem(harbour.post(f"{links(practice)}/{account_id}/end"), 404)


@pytest.mark.parametrize(
    ("on", "is_seen", "is_late"),
    [
        (date(2026, 2, 28), False, False),
        (date(2026, 3, 1), True, True),
        (date(2026, 3, 4), True, True),
        # The last day: over for looking, not yet for a late trial.
        (date(2026, 3, 5), False, True),
        (date(2026, 3, 6), False, False),
    ],
)
def test_a_link_is_in_force_from_its_first_day_to_before_its_last(
    practice: Practice, on: date, is_seen: bool, is_late: bool
) -> None:
    with practice.app.state.sessions() as db:
        account = account_by_id(db, practice.ids["lantern"])
        child = db.get(Child, practice.ids["Gull"])
        assert account is not None
        assert child is not None
        link(db, account, child, date(2026, 3, 1)).to_day = date(2026, 3, 5)
        db.flush()
        assert (child_of(db, account, child.id, on=on) is not None) == is_seen
        assert (child in children_of(db, account, on=on)) == is_seen
        assert was_linked(db, account, child.id, on) == is_late
