"""Consents: noted, withdrawn once, and what they cover on a day."""

import sqlite3
from contextlib import closing
from datetime import date
from typing import Any

import pytest

from server.store_consents import in_force
from tests.practice import Practice
from tests.problem_form import assert_problem

SECRET = "puffin-never-to-be-repeated"
RESEARCH = {"purpose": "research", "given_on": "2026-02-01", "given_by": "parent"}
NOTHING = {"measuring": False, "research": False, "samples": False, "photographs": False}


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def consents(practice: Practice, nickname: str = "Gull") -> str:
    return f"/api/children/{practice.ids[nickname]}/consents"


def covered(practice: Practice, purpose: str, day: date) -> set[str]:
    ids = [practice.ids["Gull"], practice.ids["Wren"]]
    with practice.app.state.sessions() as db:
        return in_force(db, ids, purpose, day)


def give(practice: Practice, **change: Any) -> str:
    answer = practice.desk("ferry").post(consents(practice), json=RESEARCH | change)
    assert answer.status_code == 201
    consent_id: str = answer.json()["consent_id"]
    return consent_id


def withdraw(practice: Practice, consent_id: str, on: str) -> Any:
    address = f"{consents(practice)}/{consent_id}/withdraw"
    return practice.desk("ferry").post(address, json={"on": on})


def test_a_consent_is_noted_and_listed(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    assert ferry.get(consents(practice)).json() == {"consents": [], "today": NOTHING}
    made = ferry.post(consents(practice), json=RESEARCH)
    assert made.status_code == 201
    consent = made.json()
    assert consent == RESEARCH | {
        "consent_id": consent["consent_id"],
        "account_id": practice.ids["ferry"],
        "at": "2026-03-03T12:00:00+00:00",
        "withdrawn_on": None,
        "withdrawn_at": None,
    }
    told = ferry.get(consents(practice)).json()
    assert told == {"consents": [consent], "today": NOTHING | {"research": True}}
    found = rows(practice, "SELECT object_id, child_id FROM audit WHERE verb = 'added'")
    assert found == [(consent["consent_id"], practice.ids["Gull"])]


def test_a_consent_is_withdrawn_once(practice: Practice) -> None:
    consent_id = give(practice)
    answer = withdraw(practice, consent_id, "2026-03-02")
    assert answer.status_code == 200
    assert answer.json()["withdrawn_on"] == "2026-03-02"
    assert answer.json()["withdrawn_at"] == "2026-03-03T12:00:00+00:00"
    assert_problem(withdraw(practice, consent_id, "2026-03-03"), 409)
    assert rows(practice, "SELECT withdrawn_on FROM consent") == [("2026-03-02",)]
    assert practice.desk("ferry").get(consents(practice)).json()["today"] == NOTHING
    found = rows(practice, "SELECT object_id, child_id FROM audit WHERE verb = 'withdrew'")
    assert found == [(consent_id, practice.ids["Gull"])]


def test_a_consent_covers_its_days_its_purpose_and_its_child_only(practice: Practice) -> None:
    consent_id = give(practice)
    withdraw(practice, consent_id, "2026-03-02")
    gull = {practice.ids["Gull"]}
    assert covered(practice, "research", date(2026, 1, 31)) == set()
    assert covered(practice, "research", date(2026, 2, 1)) == gull
    assert covered(practice, "research", date(2026, 3, 1)) == gull
    assert covered(practice, "research", date(2026, 3, 2)) == set()
    assert covered(practice, "samples", date(2026, 2, 1)) == set()
    with practice.app.state.sessions() as db, pytest.raises(ValueError, match="purpose"):
        in_force(db, [], "anything", date(2026, 2, 1))


def test_who_withdraws_withdraws_for_all_until_somebody_gives_again(practice: Practice) -> None:
    give(practice)
    give(practice, given_by="guardian")
    of_child = give(practice, given_by="child")
    withdraw(practice, of_child, "2026-03-01")
    assert covered(practice, "research", date(2026, 2, 28)) == {practice.ids["Gull"]}
    assert covered(practice, "research", date(2026, 3, 1)) == set()
    give(practice, given_by="child", given_on="2026-03-02")
    assert covered(practice, "research", date(2026, 3, 1)) == set()
    assert covered(practice, "research", date(2026, 3, 2)) == {practice.ids["Gull"]}


def test_given_again_on_the_day_of_the_withdrawal_holds_if_it_was_noted_later(
    practice: Practice,
) -> None:
    withdraw(practice, give(practice, given_on="2026-03-03"), "2026-03-03")
    assert covered(practice, "research", date(2026, 3, 3)) == set()
    practice.clock.move(minutes=5)
    give(practice, given_on="2026-03-03")
    assert covered(practice, "research", date(2026, 3, 3)) == {practice.ids["Gull"]}


def test_the_same_consent_is_not_noted_twice(practice: Practice) -> None:
    give(practice)
    assert_problem(practice.desk("ferry").post(consents(practice), json=RESEARCH), 409)
    assert rows(practice, "SELECT count(*) FROM consent") == [(1,)]


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"purpose": SECRET}, "/purpose"),
        ({"purpose": None}, "/purpose"),
        ({"given_by": SECRET}, "/given_by"),
        ({"given_on": "2026-03-04"}, "/given_on"),
        ({"given_on": SECRET}, "/given_on"),
        ({"given_on": 5}, "/given_on"),
        ({SECRET: 1}, ""),
    ],
)
def test_a_consent_that_does_not_fit_is_refused(
    practice: Practice, change: dict[str, Any], path: str
) -> None:
    answer = practice.desk("ferry").post(consents(practice), json=RESEARCH | change)
    assert_problem(answer, 422, path)
    assert SECRET not in answer.text
    assert rows(practice, "SELECT count(*) FROM consent") == [(0,)]


@pytest.mark.parametrize("on", ["2026-01-31", "2026-03-04", SECRET, None, 7])
def test_a_withdrawal_that_does_not_fit_is_refused(practice: Practice, on: Any) -> None:
    answer = withdraw(practice, give(practice), on)
    assert_problem(answer, 422, "/on")
    assert SECRET not in answer.text
    assert rows(practice, "SELECT withdrawn_on, withdrawn_at FROM consent") == [(None, None)]


def test_a_consent_of_another_child_is_not_there(practice: Practice) -> None:
    consent_id = give(practice)
    body = {"on": "2026-03-03"}
    wren = practice.desk("lantern")
    assert_problem(wren.post(f"{consents(practice, 'Wren')}/{consent_id}/withdraw", json=body), 404)
    assert_problem(wren.post(f"{consents(practice)}/{consent_id}/withdraw", json=body), 404)
    assert_problem(wren.get(consents(practice)), 404)
    assert_problem(wren.post(consents(practice), json=RESEARCH), 404)
    assert_problem(withdraw(practice, SECRET, "2026-03-03"), 404)
