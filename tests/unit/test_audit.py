"""The audit, read: whose lines each sees, page by page."""

import sqlite3
from contextlib import closing
from typing import Any

import pytest

from tests.practice import TELLING, Practice, drawn
from tests.problem_form import assert_problem


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def test_a_supervisor_sees_who_saw_and_changed_a_child_newest_first(practice: Practice) -> None:
    ferry, gull = practice.desk("ferry"), practice.ids["Gull"]
    ferry.patch(f"/api/children/{gull}", json={"preferred_hand": "left"})
    practice.clock.move(minutes=1)
    harbour = practice.desk("harbour")
    told = harbour.get("/api/audit", params={"child_id": gull}).json()
    assert told["before"] is None
    assert [(one["name"], one["verb"], one["kind"]) for one in told["lines"]] == [
        ("ferry", "changed", "child"),
        ("ferry", "saw", "child"),
    ]
    assert {one["child_id"] for one in told["lines"]} == {gull}
    assert set(told["lines"][0]) == {
        "number",
        "at",
        "account_id",
        "name",
        "verb",
        "kind",
        "object_id",
        "child_id",
    }
    # Reading the audit is a line of it too.
    again = harbour.get("/api/audit", params={"child_id": gull}).json()["lines"]
    assert (again[0]["name"], again[0]["verb"], again[0]["kind"]) == ("harbour", "saw", "audit")


def test_the_owner_sees_lines_of_accounts_and_nothing_of_a_child(practice: Practice) -> None:
    gull = practice.ids["Gull"]
    ferry = practice.desk("ferry")
    tree = drawn()
    practice.send(practice.tablet(), tree)
    ferry.get(f"/api/children/{gull}")
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        # As an earlier release wrote them: without saying whose record it was.
        connection.execute(
            "INSERT INTO audit (at, verb, kind, object_id) VALUES "
            "('2026-03-01 10:00:00', 'saw', 'child', ?), "
            "('2026-03-01 10:00:00', 'saw', 'trial', ?)",
            (gull, tree["trial_id"]),
        )
    answer = practice.desk("purser").get("/api/audit", params={"limit": 200})
    lines = answer.json()["lines"]
    assert ("ferry", "signed_in") in {(one["name"], one["verb"]) for one in lines}
    assert {one["child_id"] for one in lines} == {None}
    for secret in (gull, tree["trial_id"], *(word for word in TELLING if word != "2026-03")):
        assert secret not in answer.text


def test_pages_follow_each_other_without_gaps_while_lines_are_added(practice: Practice) -> None:
    for name in ("ferry", "lantern", "harbour", "beacon"):
        practice.desk(name)
    purser = practice.desk("purser")
    ((newest,),) = rows(practice, "SELECT max(number) FROM audit")
    numbers: list[int] = []
    params: dict[str, int] = {"limit": 2}
    for _ in range(10):
        page = purser.get("/api/audit", params=params).json()
        numbers += [one["number"] for one in page["lines"]]
        if page["before"] is None:
            break
        assert len(page["lines"]) == 2
        params = {"limit": 2, "before": page["before"]}
    assert numbers == sorted(numbers, reverse=True)
    assert numbers == [
        one
        for (one,) in rows(
            practice, f"SELECT number FROM audit WHERE number <= {newest} ORDER BY number DESC"
        )
    ]


def test_wrong_roles_and_unseen_children_are_refused(practice: Practice) -> None:
    gull, wren = practice.ids["Gull"], practice.ids["Wren"]
    before = rows(practice, "SELECT count(*) FROM audit WHERE kind = 'audit'")
    for name in ("ferry", "lantern", "beacon", "purser"):
        answer = practice.desk(name).get("/api/audit", params={"child_id": gull})
        assert_problem(answer, 403)
    for name in ("ferry", "harbour", "beacon"):
        assert_problem(practice.desk(name).get("/api/audit"), 403)
    for child_id in (wren, "nothing"):
        answer = practice.desk("harbour").get("/api/audit", params={"child_id": child_id})
        assert_problem(answer, 404)
    assert_problem(practice.client.get("/api/audit"), 401)
    assert_problem(practice.tablet().get("/api/audit", params={"child_id": gull}), 401)
    assert rows(practice, "SELECT count(*) FROM audit WHERE kind = 'audit'") == before


@pytest.mark.parametrize(
    ("params", "path"),
    [
        ({"limit": 0}, "/limit"),
        ({"limit": 201}, "/limit"),
        ({"limit": "puffin"}, "/limit"),
        ({"before": 0}, "/before"),
        ({"before": 2**63}, "/before"),
        ({"before": "puffin"}, "/before"),
    ],
)
def test_a_page_that_cannot_be_is_refused(
    practice: Practice, params: dict[str, Any], path: str
) -> None:
    answer = practice.desk("purser").get("/api/audit", params=params)
    assert_problem(answer, 422, path)
    assert "puffin" not in answer.text
