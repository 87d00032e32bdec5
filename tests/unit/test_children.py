"""Children: added, changed and refused through the API."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from server.signs import SIGNS
from tests.practice import Practice
from tests.problem_form import assert_problem

SET_OF_SIGNS = Path(__file__).parents[2] / "web" / "shared" / "signs.svg"
TERN = {
    "code": "BW-93",
    "sign": ["anchor", "bell"],
    "nickname": "Tern",
    "birth_month": "2020-01",
    "preferred_hand": "left",
}
SECRET = "Puffin-never-to-be-repeated"


def rows(practice: Practice, query: str, *values: Any) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query, values).fetchall()


def audit_lines(practice: Practice, child_id: str) -> set[tuple[str, str]]:
    return set(rows(practice, "SELECT verb, kind FROM audit WHERE child_id = ?", child_id))


def test_the_set_of_signs_is_that_of_the_drawings() -> None:
    drawn = re.findall(r'<symbol id="sign-([a-z]+)"', SET_OF_SIGNS.read_text())
    assert tuple(drawn) == SIGNS


def test_a_child_is_seen_by_who_added_it_from_today_on(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    answer = ferry.post("/api/children", json=TERN)
    assert answer.status_code == 201
    child = answer.json()
    assert child == TERN | {"child_id": child["child_id"], "retention_until": None}
    assert ferry.get(f"/api/children/{child['child_id']}").json() == child | {"sessions": []}
    listed = ferry.get("/api/children").json()["children"]
    assert [one["code"] for one in listed] == ["BW-91", "BW-93"]
    found = rows(
        practice,
        "SELECT account_id, from_day, to_day, made_by FROM care_link WHERE child_id = ?",
        child["child_id"],
    )
    assert found == [(practice.ids["ferry"], "2026-03-03", None, practice.ids["ferry"])]
    lines = audit_lines(practice, child["child_id"])
    assert {("added", "child"), ("linked", "care_link"), ("saw", "child")} <= lines


def test_a_child_is_seen_by_the_supervisor_and_by_nobody_else(practice: Practice) -> None:
    made = practice.desk("ferry").post("/api/children", json=TERN).json()
    address = f"/api/children/{made['child_id']}"
    assert practice.desk("harbour").get(address).status_code == 200
    assert_problem(practice.desk("lantern").get(address), 404)


@pytest.mark.parametrize(
    ("day", "until"),
    [(0, "2034-03-03"), (-3, "2034-02-28")],
)
def test_a_new_child_is_kept_for_as_long_as_the_practice_has_chosen(
    practice: Practice, day: int, until: str
) -> None:
    practice.desk("purser").put("/api/settings/retention_years", json={"value": 8})
    practice.clock.move(days=day)
    made = practice.desk("lantern").post("/api/children", json=TERN | {"code": "BW-81"})
    assert made.json()["retention_until"] == until  # [C] eight years on
    chosen = {"code": "BW-82", "sign": ["rope", "oar"], "retention_until": "2030-01-01"}
    assert (
        practice.desk("lantern").post("/api/children", json=chosen).json() | chosen
        == (practice.desk("lantern").get("/api/children").json()["children"][1])
    )


def test_only_code_and_sign_are_needed(practice: Practice) -> None:
    body = {"code": "  BW-94 ", "sign": ["rope", "oar"]}
    child = practice.desk("lantern").post("/api/children", json=body).json()
    assert child["code"] == "BW-94"
    assert child["nickname"] is None
    assert child["birth_month"] is None
    assert child["preferred_hand"] is None


def test_a_code_is_unique_in_the_practice_and_it_is_not_said_whose_it_is(
    practice: Practice,
) -> None:
    lantern = practice.desk("lantern")
    before = rows(practice, "SELECT * FROM child")
    refused = lantern.post("/api/children", json=TERN | {"code": "BW-91"})
    body = assert_problem(refused, 409, "/code")
    assert practice.ids["Gull"] not in refused.text
    assert "Gull" not in str(body)
    changed = lantern.patch(f"/api/children/{practice.ids['Wren']}", json={"code": "BW-91"})
    assert_problem(changed, 409, "/code")
    assert rows(practice, "SELECT * FROM child") == before
    assert rows(practice, "SELECT count(*) FROM care_link") == [(2,)]


@pytest.mark.parametrize("sign", [["boat", "kite"], ["kite", "boat"]])
def test_two_children_of_one_account_never_have_the_same_pictures(
    practice: Practice, sign: list[str]
) -> None:
    ferry = practice.desk("ferry")
    assert_problem(ferry.post("/api/children", json=TERN | {"sign": sign}), 409, "/sign")
    assert rows(practice, "SELECT count(*) FROM child") == [(2,)]
    # Somebody who does not see the other child may use them.
    assert practice.desk("lantern").post("/api/children", json=TERN | {"sign": sign}).is_success


def test_a_changed_sign_is_compared_with_what_everybody_sees_who_sees_the_child(
    practice: Practice,
) -> None:
    ferry, harbour = practice.desk("ferry"), practice.desk("harbour")
    # Seen by the supervisor only, who also sees the assistant's child.
    tern = harbour.post("/api/children", json=TERN).json()
    address = f"/api/children/{practice.ids['Gull']}"
    assert_problem(ferry.patch(address, json={"sign": TERN["sign"]}), 409, "/sign")
    assert ferry.get(address).json()["sign"] == ["boat", "kite"]
    assert ferry.patch(address, json={"sign": ["kite", "boat"]}).json()["sign"] == ["kite", "boat"]
    own = f"/api/children/{tern['child_id']}"
    assert_problem(harbour.patch(own, json={"sign": ["boat", "kite"]}), 409, "/sign")


def test_what_is_not_given_stays_and_null_takes_away(practice: Practice) -> None:
    ferry, address = practice.desk("ferry"), f"/api/children/{practice.ids['Gull']}"
    before = ferry.get(address).json()
    changed = ferry.patch(
        address, json={"preferred_hand": "mixed", "retention_until": "2036-03-03"}
    )
    assert changed.status_code == 200
    after = ferry.get(address).json()
    assert after == before | {"preferred_hand": "mixed", "retention_until": "2036-03-03"}
    ferry.patch(address, json={"nickname": None, "retention_until": None, "birth_month": None})
    last = ferry.get(address).json()
    assert (last["nickname"], last["retention_until"], last["birth_month"]) == (None, None, None)
    assert last["preferred_hand"] == "mixed"
    assert ("changed", "child") in audit_lines(practice, practice.ids["Gull"])


BAD_CHILDREN = [
    ({"code": None}, "/code"),
    ({"code": ""}, "/code"),
    ({"code": "   "}, "/code"),
    ({"code": "x" * 41}, "/code"),
    ({"code": f"{SECRET}\nb"}, "/code"),
    ({"code": 12}, "/code"),
    ({"sign": None}, "/sign"),
    ({"sign": ["boat"]}, "/sign"),
    ({"sign": ["boat", "boat"]}, "/sign"),
    ({"sign": ["boat", SECRET]}, "/sign"),
    ({"sign": ["boat", "kite", "crab"]}, "/sign"),
    ({"sign": ["boat"] * 11}, "/sign"),
    ({"sign": "boat kite"}, "/sign"),
    ({"sign": [1, 2]}, "/sign/0"),
    ({"nickname": ""}, "/nickname"),
    ({"nickname": f"{SECRET}\x00"}, "/nickname"),
    ({"birth_month": "2026-13"}, "/birth_month"),
    ({"birth_month": "2026-04"}, "/birth_month"),
    ({"birth_month": SECRET}, "/birth_month"),
    ({"preferred_hand": SECRET}, "/preferred_hand"),
    ({"retention_until": "2026-03-02"}, "/retention_until"),
    ({"retention_until": 1772496000}, "/retention_until"),
    ({SECRET: 1}, ""),
]


@pytest.mark.parametrize(("change", "path"), BAD_CHILDREN)
def test_what_does_not_fit_is_refused_without_repeating_it(
    practice: Practice, change: dict[str, Any], path: str
) -> None:
    ferry = practice.desk("ferry")
    before = rows(practice, "SELECT * FROM child")
    new = ferry.post("/api/children", json=TERN | change)
    assert_problem(new, 422, path)
    old = ferry.patch(f"/api/children/{practice.ids['Gull']}", json=change)
    assert_problem(old, 422, path)
    assert SECRET not in new.text + old.text
    assert rows(practice, "SELECT * FROM child") == before
    assert rows(practice, "SELECT count(*) FROM care_link") == [(2,)]


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b"null", b'"x"', b'{"code": NaN}'])
def test_what_is_no_child_at_all_is_refused(practice: Practice, body: bytes) -> None:
    head = {"Content-Type": "application/json"}
    answer = practice.desk("ferry").post("/api/children", content=body, headers=head)
    assert_problem(answer, 422)
    assert rows(practice, "SELECT count(*) FROM child") == [(2,)]


def test_code_and_sign_are_both_asked_for(practice: Practice) -> None:
    body = assert_problem(practice.desk("ferry").post("/api/children", json={}), 422)
    assert {one["path"] for one in body["errors"]} == {"/code", "/sign"}


def test_looking_at_the_list_is_noted_for_each_child_in_it(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    for _ in range(2):
        ferry.get("/api/children")
    found = rows(practice, "SELECT account_id, child_id FROM audit WHERE kind = 'children'")
    assert found == [(practice.ids["ferry"], practice.ids["Gull"])]
