"""What an owner may do, and what the practice never loses by it."""

from functools import partial
from typing import Any

import pytest
from fastapi.testclient import TestClient

from server.account_changes import CIRCLE, LAST_OWNER, NO_SUPERVISOR, SUPERVISES
from tests.accounts import (
    NEW_PASSPHRASE,
    at_once,
    audited,
    browser,
    invitation,
    is_in,
    rows,
    sent,
    sign_in,
    use,
)
from tests.practice import PASSPHRASE, Practice, drawn
from tests.problem_form import assert_problem

NOBODY = "99999999-9999-4999-8999-999999999999"
OWNERS_DOORS = (
    ("GET", "/api/accounts"),
    ("PATCH", "/api/accounts/{ferry}"),
    ("POST", "/api/accounts/{ferry}/reset"),
    ("POST", "/api/accounts/{ferry}/sign-out"),
    ("GET", "/api/invitations"),
    ("POST", "/api/invitations"),
    ("DELETE", "/api/invitations/" + NOBODY),
    ("GET", "/api/settings"),
    ("PUT", "/api/settings/idle_minutes"),
)


def patch(practice: Practice, name: str, by: TestClient | None = None, **changes: Any) -> Any:
    owner = by or practice.desk("purser")
    return owner.patch(f"/api/accounts/{practice.ids[name]}", json=changes)


def refused(answer: Any, why: str) -> None:
    assert assert_problem(answer, 409)["detail"] == why


def account(practice: Practice, name: str) -> dict[str, Any]:
    listed = practice.desk("purser").get("/api/accounts").json()["accounts"]
    (found,) = [one for one in listed if one["name"] == name]
    shown: dict[str, Any] = found
    return shown


@pytest.mark.parametrize("name", ["harbour", "ferry", "beacon"])
def test_only_an_owner_gets_in_here(practice: Practice, name: str) -> None:
    client, before = practice.desk(name), rows(practice, "SELECT count(*) FROM audit")
    for method, path in OWNERS_DOORS:
        assert_problem(client.request(method, path.format_map(practice.ids)), 403)
        assert_problem(practice.client.request(method, path.format_map(practice.ids)), 401)
        assert_problem(practice.tablet().request(method, path.format_map(practice.ids)), 401)
    assert rows(practice, "SELECT count(*) FROM audit") == before


# Accounts


def test_the_list_says_who_there_is_without_secrets(practice: Practice) -> None:
    practice.desk("ferry")
    answer = practice.desk("purser").get("/api/accounts")
    listed = answer.json()["accounts"]
    assert [one["name"] for one in listed] == ["beacon", "ferry", "harbour", "lantern", "purser"]
    assert listed[1] == {
        "account_id": practice.ids["ferry"],
        "name": "ferry",
        "roles": ["assistant"],
        "supervisor_id": practice.ids["harbour"],
        "added_at": None,
        "closed_at": None,
        "second_factor": False,
        "seen_at": "2026-03-03T12:00:00+00:00",
    }
    assert listed[0]["seen_at"] is None
    assert "argon2" not in answer.text


def test_roles_change_at_once_and_what_was_not_given_stays(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    assert_problem(ferry.get("/api/export/trials.csv"), 403)
    answer = patch(practice, "ferry", roles=["researcher", "assistant", "researcher"])
    assert answer.json()["roles"] == ["assistant", "researcher"]
    assert answer.json()["supervisor_id"] == practice.ids["harbour"]
    assert answer.json()["closed_at"] is None
    assert ferry.get("/api/export/trials.csv").status_code == 200
    assert audited(practice, "account")[-1] == ("purser", "changed", "ferry")


def test_an_empty_change_changes_nothing(practice: Practice) -> None:
    before = account(practice, "ferry")
    assert patch(practice, "ferry").json() == before
    assert ("purser", "changed", "ferry") not in audited(practice, "account")


def test_the_last_open_owner_stays_one(practice: Practice) -> None:
    refused(patch(practice, "purser", closed=True), LAST_OWNER)
    refused(patch(practice, "purser", roles=["supervisor"]), LAST_OWNER)
    assert patch(practice, "beacon", roles=["owner"]).status_code == 200
    assert patch(practice, "purser", closed=True).status_code == 200
    beacon = practice.desk("beacon")
    refused(patch(practice, "beacon", by=beacon, closed=True), LAST_OWNER)
    assert account_is_open(practice, "beacon")


def account_is_open(practice: Practice, name: str) -> bool:
    query = "SELECT closed_at IS NULL FROM account WHERE name = ?"
    return rows(practice, query, name) == [(1,)]


def test_two_owners_who_close_each_other_at_once_leave_one(practice: Practice) -> None:
    assert patch(practice, "beacon", roles=["owner"]).status_code == 200
    for _ in range(4):
        purser, beacon = practice.desk("purser"), practice.desk("beacon")
        calls = [
            partial(patch, practice, "beacon", by=purser, closed=True),
            partial(patch, practice, "purser", by=beacon, closed=True),
        ]
        statuses = [answer.status_code for answer in at_once(calls)]
        # The second one is refused, or is not signed in any more.
        assert sorted(statuses) in ([200, 401], [200, 409])
        assert account_is_open(practice, "purser") != account_is_open(practice, "beacon")
        rows(practice, "UPDATE account SET closed_at = NULL")


def test_closing_ends_browsers_tablets_and_codes_and_keeps_the_first_day(
    practice: Practice,
) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet("ferry")
    code = ferry.post("/api/pairing-codes").json()["code"]
    assert patch(practice, "ferry", closed=True).json()["closed_at"] == "2026-03-03T12:00:00+00:00"
    practice.clock.move(minutes=5)
    assert patch(practice, "ferry", closed=True).json()["closed_at"] == "2026-03-03T12:00:00+00:00"
    assert not is_in(ferry)
    assert_problem(sign_in(practice, "ferry"), 401)
    assert_problem(practice.send(tablet, drawn()), 401)
    assert_problem(browser(practice).post("/api/pair", json={"code": code}), 422)
    assert patch(practice, "ferry", closed=False).json()["closed_at"] is None
    assert_problem(practice.send(tablet, drawn()), 401)
    assert sign_in(practice, "ferry").status_code == 200
    verbs = [verb for who, verb, thing in audited(practice, "account") if thing == "ferry"]
    assert verbs == ["signed_in", "closed", "reopened", "signed_in"]


def test_whoever_is_no_therapist_any_more_loses_the_tablets(practice: Practice) -> None:
    tablet = practice.tablet("ferry")
    assert patch(practice, "ferry", roles=["researcher"]).status_code == 200
    assert_problem(practice.send(tablet, drawn()), 401)


def test_no_child_is_left_without_an_open_therapist(practice: Practice) -> None:
    """Lantern alone sees Wren; Gull is seen by ferry and by its supervisor."""
    for change in ({"closed": True}, {"roles": ["researcher"]}):
        body = assert_problem(patch(practice, "lantern", **change), 409)
        assert body["detail"].startswith("No open therapist could see 1 of the children any more.")
        assert practice.ids["Wren"] not in str(body)
    assert account_is_open(practice, "lantern")
    assert account(practice, "lantern")["roles"] == ["assistant"]
    assert patch(practice, "ferry", closed=True).status_code == 200
    body = assert_problem(patch(practice, "ferry", supervisor_id=None), 409)
    assert body["detail"].startswith("No open therapist could see 1 of the children")
    rows(practice, "UPDATE care_link SET to_day = '2026-03-03'")
    assert patch(practice, "lantern", closed=True).status_code == 200


def test_two_who_see_a_child_cannot_both_be_closed_at_once(practice: Practice) -> None:
    rows(
        practice,
        "INSERT INTO care_link (account_id, child_id, from_day) VALUES (?, ?, '2026-01-01')",
        practice.ids["harbour"],
        practice.ids["Wren"],
    )
    assert patch(practice, "ferry", supervisor_id=None).status_code == 200
    owner = practice.desk("purser")
    calls = [
        partial(patch, practice, name, by=owner, closed=True) for name in ("lantern", "harbour")
    ]
    assert sorted(answer.status_code for answer in at_once(calls)) == [200, 409]


def test_a_supervisor_is_an_open_supervisor_and_no_circle(practice: Practice) -> None:
    ids = practice.ids
    for supervisor in (ids["lantern"], ids["purser"], NOBODY):
        body = assert_problem(
            patch(practice, "ferry", supervisor_id=supervisor), 422, "/supervisor_id"
        )
        assert body["errors"][0]["detail"] == NO_SUPERVISOR
    assert (
        patch(practice, "lantern", roles=["supervisor"], supervisor_id=ids["harbour"]).json()[
            "supervisor_id"
        ]
        == ids["harbour"]
    )
    for name, above in (("harbour", "lantern"), ("harbour", "harbour")):
        body = assert_problem(
            patch(practice, name, supervisor_id=ids[above]), 422, "/supervisor_id"
        )
        assert body["errors"][0]["detail"] == CIRCLE
    assert account(practice, "harbour")["supervisor_id"] is None


def test_whoever_supervises_others_stays_a_supervisor(practice: Practice) -> None:
    refused(patch(practice, "harbour", closed=True), SUPERVISES)
    refused(patch(practice, "harbour", roles=["researcher"]), SUPERVISES)
    assert patch(practice, "ferry", supervisor_id=None).status_code == 200
    assert patch(practice, "harbour", roles=["researcher"]).status_code == 200
    body = assert_problem(
        patch(practice, "ferry", supervisor_id=practice.ids["harbour"]), 422, "/supervisor_id"
    )
    assert body["errors"][0]["detail"] == NO_SUPERVISOR


def test_two_changes_of_one_account_at_once_end_as_one_of_them(practice: Practice) -> None:
    owner = practice.desk("purser")
    for _ in range(4):
        calls = [
            partial(patch, practice, "beacon", by=owner, roles=roles)
            for roles in (["researcher", "assistant"], ["supervisor", "owner"], ["researcher"])
        ]
        assert [answer.status_code for answer in at_once(calls)] == [200, 200, 200]
        left = account(practice, "beacon")["roles"]
        assert left in (["assistant", "researcher"], ["owner", "supervisor"], ["researcher"])


def test_the_owner_signs_somebody_out_of_everything(practice: Practice) -> None:
    ferry, tablet, harbour = (
        practice.desk("ferry"),
        practice.tablet("ferry"),
        practice.desk("harbour"),
    )
    path = f"/api/accounts/{practice.ids['ferry']}/sign-out"
    assert practice.desk("purser").post(path).status_code == 204
    assert not is_in(ferry)
    assert is_in(harbour)
    assert_problem(practice.send(tablet, drawn()), 401)
    assert ("purser", "signed_out_everywhere", "ferry") in audited(practice, "account")
    assert audited(practice, "tablets") == [("purser", "revoked", "ferry")]


@pytest.mark.parametrize("account_id", [NOBODY, "ferry", "%00"])
def test_an_account_that_is_not_there_is_not_found(practice: Practice, account_id: str) -> None:
    owner, path = practice.desk("purser"), f"/api/accounts/{account_id}"
    assert_problem(owner.patch(path, json={"closed": True}), 404)
    assert_problem(owner.post(f"{path}/reset"), 404)
    assert_problem(owner.post(f"{path}/sign-out"), 404)
    assert_problem(owner.delete(f"/api/invitations/{account_id}"), 404)


# Invitations


def test_an_invitation_is_listed_with_its_state_but_without_its_link(practice: Practice) -> None:
    owner = practice.desk("purser")
    states = []
    for _ in range(4):
        made = owner.post("/api/invitations", json={"roles": ["assistant"]})
        states.append((made.json()["invitation_id"], made.json()["link"].partition("#")[2]))
        assert made.json()["state"] == "open"
        practice.clock.move(seconds=1)
    assert use(practice, states[0][1]).status_code == 201
    path = "/api/invitations/"
    for _ in range(2):
        assert owner.delete(path + states[1][0]).status_code == 204
    assert_problem(owner.delete(path + states[0][0]), 409)
    rows(practice, "UPDATE invitation SET expires_at = made_at WHERE id = ?", states[2][0])
    listed = owner.get("/api/invitations")
    found = [(one["invitation_id"], one["state"]) for one in listed.json()["invitations"]]
    ids = [one for one, _ in states]
    assert found == list(zip(reversed(ids), ("open", "ended", "withdrawn", "used"), strict=True))
    assert not any(secret in listed.text for _, secret in states)


def test_who_supervises_a_newcomer_is_checked_when_inviting(practice: Practice) -> None:
    body = {"roles": ["assistant"], "supervisor_id": practice.ids["lantern"]}
    answer = practice.desk("purser").post("/api/invitations", json=body)
    assert_problem(answer, 422, "/supervisor_id")
    assert rows(practice, "SELECT count(*) FROM invitation") == [(0,)]


# Settings


def test_settings_have_defaults_and_keep_what_was_chosen(practice: Practice) -> None:
    owner = practice.desk("purser")
    listed = owner.get("/api/settings").json()["settings"]
    assert {one["name"]: one["value"] for one in listed} == {
        "idle_minutes": 60,
        "retention_years": None,
    }
    assert all(one["help"].endswith(".") and one["default"] == one["value"] for one in listed)
    for name, values in (
        ("idle_minutes", (30, 60)),
        ("retention_years", (8, None, 30)),
    ):
        for value in values:
            answer = owner.put(f"/api/settings/{name}", json={"value": value})
            assert answer.json()["value"] == value
            assert owner.get("/api/settings").text.count('"value":') == 2
    newest = {one["name"]: one["value"] for one in owner.get("/api/settings").json()["settings"]}
    assert newest["retention_years"] == 30
    assert rows(practice, "SELECT count(*) FROM practice_setting") == [(5,)]
    assert owner.put("/api/settings/retention_years", json={"value": 30}).status_code == 200
    assert rows(practice, "SELECT count(*) FROM practice_setting") == [(5,)]
    assert audited(practice, "setting.retention_years") == [("purser", "changed", None)] * 3


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("idle_minutes", True),
        ("idle_minutes", 60.0),
        ("idle_minutes", None),
        ("idle_minutes", 10**30),
        ("idle_minutes", 4),
        ("idle_minutes", 721),
        ("idle_minutes", "Quill"),
        ("retention_years", 0),
        ("retention_years", [8]),
        ("retention_years", {"Quill": 8}),
    ],
)
def test_a_value_of_another_kind_is_refused(practice: Practice, name: str, value: Any) -> None:
    answer = practice.desk("purser").put(f"/api/settings/{name}", json={"value": value})
    assert_problem(answer, 422, "/value")
    assert "Quill" not in answer.text
    assert rows(practice, "SELECT count(*) FROM practice_setting") == [(0,)]


def test_there_are_no_other_settings(practice: Practice) -> None:
    answer = practice.desk("purser").put("/api/settings/quill", json={"value": 1})
    assert_problem(answer, 404)


# Bodies


@pytest.mark.parametrize(
    ("method", "path", "body", "where"),
    [
        ("PATCH", "accounts/{ferry}", {"roles": []}, "/roles"),
        ("PATCH", "accounts/{ferry}", {"roles": None}, "/roles"),
        ("PATCH", "accounts/{ferry}", {"roles": ["Quill"]}, "/roles/0"),
        ("PATCH", "accounts/{ferry}", {"roles": ["assistant"] * 5}, "/roles"),
        ("PATCH", "accounts/{ferry}", {"supervisor_id": "Quill"}, "/supervisor_id"),
        ("PATCH", "accounts/{ferry}", {"supervisor_id": 5}, "/supervisor_id"),
        ("PATCH", "accounts/{ferry}", {"closed": None}, "/closed"),
        ("PATCH", "accounts/{ferry}", {"closed": "true"}, "/closed"),
        ("PATCH", "accounts/{ferry}", {"name": "Quill"}, ""),
        ("PATCH", "accounts/{ferry}", [], ""),
        ("POST", "invitations", {}, "/roles"),
        ("POST", "invitations", {"roles": "owner"}, "/roles"),
        ("POST", "invitations", {"roles": ["\ud800"]}, "/roles/0"),
        ("POST", "invitations", {"roles": ["owner"], "Quill": 1}, ""),
        ("PUT", "settings/idle_minutes", {}, "/value"),
        ("PUT", "settings/idle_minutes", {"value": 30, "Quill": 1}, ""),
    ],
)
def test_a_bad_body_is_refused_with_its_path_and_changes_nothing(
    practice: Practice, method: str, path: str, body: Any, where: str
) -> None:
    owner = practice.desk("purser")
    before = owner.get("/api/accounts").text
    answer = sent(owner, method, "/api/" + path.format_map(practice.ids), body)
    assert_problem(answer, 422, where)
    assert "Quill" not in answer.text
    assert owner.get("/api/accounts").text == before
    for table in ("invitation", "practice_setting"):
        assert rows(practice, f"SELECT count(*) FROM {table}") == [(0,)]


# Colleagues


def test_therapists_see_who_else_works_here(practice: Practice) -> None:
    assert patch(practice, "ferry", closed=True).status_code == 200
    use(practice, invitation(practice, "assistant", "researcher"), "skiff")
    for name in ("harbour", "lantern"):
        listed = practice.desk(name).get("/api/colleagues").json()["colleagues"]
        assert [(one["name"], one["roles"]) for one in listed] == [
            ("harbour", ["supervisor"]),
            ("lantern", ["assistant"]),
            ("skiff", ["assistant", "researcher"]),
        ]
        assert all(set(one) == {"account_id", "name", "roles"} for one in listed)
    for name in ("beacon", "purser"):
        assert_problem(practice.desk(name).get("/api/colleagues"), 403)
    assert sign_in(practice, "skiff", NEW_PASSPHRASE).status_code == 200
    assert PASSPHRASE not in str(rows(practice, "SELECT * FROM audit"))
