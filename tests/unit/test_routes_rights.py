"""Who may come in, and what each may see."""

import sqlite3
from contextlib import closing
from datetime import datetime, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from server.auth import TRIES_PER_NAME, digest
from server.pairing import LETTERS
from tests.practice import PASSPHRASE, TELLING, Practice, drawn
from tests.problem_form import assert_problem

ADULTS = ("harbour", "ferry", "lantern", "beacon", "purser")
SEE_GULL = {"harbour", "ferry"}
THERAPISTS = {"harbour", "ferry", "lantern"}


def sign_in(client: TestClient, name: str, passphrase: str = PASSPHRASE) -> Any:
    return client.post("/api/sign-in", json={"name": name, "passphrase": passphrase})


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


# Signing in


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(practice: Practice) -> None:
    answer = sign_in(practice.client, "ferry")
    assert answer.json()["roles"] == ["assistant"]
    cookie = answer.headers["set-cookie"]
    for part in ("HttpOnly", "SameSite=strict", "Path=/"):
        assert part in cookie
    assert "Secure" not in cookie
    secret = practice.client.cookies["linnet"]
    assert rows(practice, "SELECT hash FROM sign_in") == [(digest(secret),)]


def test_a_pass_phrase_is_kept_as_an_argon2id_hash_only(practice: Practice) -> None:
    hashes = {one for (one,) in rows(practice, "SELECT passphrase_hash FROM account")}
    assert len(hashes) == len(ADULTS)
    assert all(one.startswith("$argon2id$") for one in hashes)
    assert PASSPHRASE.encode() not in practice.path.read_bytes()


def test_case_and_spaces_around_a_name_do_not_matter(practice: Practice) -> None:
    assert sign_in(practice.client, " Ferry ").status_code == 200


@pytest.mark.parametrize("name", ["ferry", "nobody"])
def test_a_wrong_name_and_a_wrong_pass_phrase_get_the_same_answer(
    practice: Practice, name: str
) -> None:
    body = assert_problem(sign_in(practice.client, name, "wrong"), 401)
    assert body["detail"] == "The name or the pass-phrase is not right."
    assert "linnet" not in practice.client.cookies


def test_signing_in_is_throttled_by_name_and_forgotten_after_success(practice: Practice) -> None:
    for _ in range(TRIES_PER_NAME.amount - 1):
        assert sign_in(practice.client, "ferry", "wrong").status_code == 401
    assert sign_in(practice.client, "ferry").status_code == 200
    for _ in range(TRIES_PER_NAME.amount):
        assert sign_in(practice.client, "ferry", "wrong").status_code == 401
    refused = sign_in(practice.client, "ferry")
    assert_problem(refused, 429)
    assert 1 <= int(refused.headers["retry-after"]) <= 120
    assert sign_in(practice.client, "harbour").status_code == 200


def test_a_sign_in_ends_when_signed_out_or_after_twelve_hours(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    secret = ferry.cookies["linnet"]
    assert ferry.get("/api/children").status_code == 200
    assert ferry.post("/api/sign-out").status_code == 204
    ferry.cookies.set("linnet", secret)
    assert_problem(ferry.get("/api/children"), 401)
    again = practice.desk("ferry")
    practice.clock.move(hours=12, seconds=1)
    assert_problem(again.get("/api/children"), 401)


def test_a_page_without_a_sign_in_leads_to_the_first_page(practice: Practice) -> None:
    answer = practice.client.get("/caseload", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/?next=/caseload")


# Pairing


def test_a_code_becomes_a_token_once(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    made = ferry.post("/api/pairing-codes")
    assert made.status_code == 201
    code = made.json()["code"]
    assert len(code) == 8
    assert set(code) <= set(LETTERS)
    typed = f" {code[:4].lower()}-{code[4:]} "
    paired = practice.client.post("/api/pair", json={"code": typed})
    assert set(paired.json()) == {"token", "tablet_id", "read_until"}
    assert len(paired.json()["token"]) >= 43  # [C] 256 bits in base64: 42.67 letters
    assert_problem(practice.client.post("/api/pair", json={"code": code}), 422)
    stored = rows(practice, "SELECT hash FROM token")
    assert stored == [(digest(paired.json()["token"]),)]
    assert code not in {one for (one,) in rows(practice, "SELECT hash FROM pairing_code")}


def test_a_code_ends_after_ten_minutes(practice: Practice) -> None:
    code = practice.desk("ferry").post("/api/pairing-codes").json()["code"]
    practice.clock.move(minutes=10)
    assert_problem(practice.client.post("/api/pair", json={"code": code}), 422)


def test_pairing_is_throttled(practice: Practice) -> None:
    answers = [practice.client.post("/api/pair", json={"code": "AAAAAAAA"}) for _ in range(11)]
    assert [one.status_code for one in answers] == [422] * 10 + [429]


def test_a_new_pairing_keeps_the_tablet_s_id_and_leaves_the_old_token_write_only(
    practice: Practice,
) -> None:
    def pair(client: TestClient) -> dict[str, str]:
        code = practice.desk("ferry").post("/api/pairing-codes").json()["code"]
        answer: dict[str, str] = client.post("/api/pair", json={"code": code}).json()
        return answer

    first = pair(practice.client)
    old = practice.holding(first["token"])
    second = pair(old)
    assert second["tablet_id"] == first["tablet_id"]
    assert_problem(old.get("/api/tablet/day"), 401)
    assert practice.send(old, drawn()).status_code == 201
    assert practice.holding(second["token"]).get("/api/tablet/day").status_code == 200


# The day pack


def test_the_day_pack_holds_the_plans_of_linked_children_without_names(
    practice: Practice,
) -> None:
    answer = practice.tablet("ferry").get("/api/tablet/day")
    pack = answer.json()
    assert pack["format"] == "linnet-day/1"
    assert pack["day"] == "2026-03-03"
    assert [one["session_label"] for one in pack["plans"]] == [["boat", "kite"]]
    (plan,) = pack["plans"]
    assert plan["format"] == "linnet-plan/1"
    assert plan["version"] == 1
    assert datetime.fromisoformat(plan["server_time"]) == practice.clock.now
    assert [one["item_id"] for one in plan["items"]] == ["a1"]
    assert not any(word in answer.text for word in TELLING if word != "2026-03")
    both = practice.tablet("harbour").get("/api/tablet/day").json()["plans"]
    assert len(both) == 1


def test_an_unchanged_day_pack_is_answered_304(practice: Practice) -> None:
    tablet = practice.tablet()
    first = tablet.get("/api/tablet/day")
    practice.clock.move(minutes=5)
    again = tablet.get("/api/tablet/day", headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    told = [datetime.fromisoformat(one.headers["linnet-time"]) for one in (first, again)]
    assert told == [practice.clock.now - timedelta(minutes=5), practice.clock.now]
    with practice.app.state.sessions() as db:
        from server.store_sessions import latest_plan, save_plan

        session_id = practice.ids["Gull session"]
        plan = latest_plan(db, session_id)
        assert plan is not None
        plan["items"][0]["state"] = "closed"
        assert save_plan(db, session_id, plan)["version"] == 2
        db.commit()
    changed = tablet.get("/api/tablet/day", headers={"If-None-Match": first.headers["etag"]})
    assert changed.status_code == 200
    assert changed.json()["plans"][0]["version"] == 2


def test_a_token_reads_until_its_day_ends_and_writes_for_thirty(practice: Practice) -> None:
    tablet, early, late = practice.tablet(), drawn(), drawn()
    assert practice.send(tablet, early).status_code == 201
    practice.clock.move(hours=12)
    assert_problem(tablet.get("/api/tablet/day"), 401)
    assert practice.send(tablet, late).status_code == 201
    flags = dict(rows(practice, "SELECT id, late FROM trial"))
    assert flags == {early["trial_id"]: 0, late["trial_id"]: 1}
    reports = [practice.send(tablet, tree).json()["report"] for tree in (early, late)]
    assert ["late" in report["quality"]["flags"] for report in reports] == [False, True]
    practice.clock.move(days=30)
    assert_problem(practice.send(tablet, drawn()), 401)


def test_a_revoked_token_can_do_nothing(practice: Practice) -> None:
    tablet = practice.tablet()
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        connection.execute("UPDATE token SET revoked_at = '2026-03-03 11:00:00'")
    assert_problem(tablet.get("/api/tablet/day"), 401)
    assert_problem(practice.send(tablet, drawn()), 401)


def test_a_token_can_read_nothing_but_the_day_pack(practice: Practice) -> None:
    tree, tablet = drawn(), practice.tablet()
    practice.send(tablet, tree)
    for path in (
        f"/api/trials/{tree['trial_id']}",
        f"/api/trials/{tree['trial_id']}/report",
        "/api/children",
        f"/api/children/{practice.ids['Gull']}",
        "/api/export/trials.csv",
    ):
        assert_problem(tablet.get(path), 401)
    assert_problem(tablet.post("/api/pairing-codes"), 401)


# Links; who may do what on every route is in tests/rights.txt


def test_marks_and_trials_of_unlinked_children_cannot_be_written(practice: Practice) -> None:
    tree = drawn()
    practice.send(practice.tablet("ferry"), tree)
    mark = {"id": "22222222-2222-4222-8222-222222222222", "outcome": "spoilt"}
    path = f"/api/trials/{tree['trial_id']}/marks"
    assert_problem(practice.tablet("lantern").post(path, json=mark), 404)
    assert_problem(practice.desk("lantern").post(path, json=mark), 404)
    assert_problem(practice.desk("beacon").post(path, json=mark), 403)
    # Not even by sending it again does another's tablet get to see a report.
    assert_problem(practice.send(practice.tablet("lantern"), tree), 409)


def test_a_supervisor_also_sees_the_children_of_supervised_assistants(
    practice: Practice,
) -> None:
    seen = practice.desk("harbour").get("/api/children").json()["children"]
    assert [one["code"] for one in seen] == ["BW-91"]


def test_an_ended_link_hides_the_child_but_a_late_trial_still_arrives(
    practice: Practice,
) -> None:
    tablet = practice.tablet()
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        connection.execute("UPDATE care_link SET to_day = '2026-03-03'")
    assert_problem(practice.desk("ferry").get(f"/api/children/{practice.ids['Gull']}"), 404)
    assert tablet.get("/api/tablet/day").json()["plans"] == []
    assert practice.send(tablet, drawn()).status_code == 201


# Requests from elsewhere


@pytest.mark.parametrize("origin", ["https://other.test", "null", "http://testserver:81"])
def test_a_write_from_another_site_is_refused(practice: Practice, origin: str) -> None:
    ferry = practice.desk("ferry")
    answer = ferry.post("/api/pairing-codes", headers={"Origin": origin})
    assert_problem(answer, 403)
    assert rows(practice, "SELECT count(*) FROM pairing_code") == [(0,)]


def test_a_script_that_names_no_origin_may_write(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    del ferry.headers["origin"]
    assert ferry.post("/api/pairing-codes").status_code == 201
    cross = ferry.post("/api/pairing-codes", headers={"Sec-Fetch-Site": "cross-site"})
    assert_problem(cross, 403)


def test_every_answer_carries_the_strict_header_fields(practice: Practice) -> None:
    with practice.app.state.sessions() as db:
        assert db is not None
    answers = [
        practice.client.get("/healthz"),
        practice.client.get("/api/nothing"),
        practice.client.get("/api/children"),
        practice.client.put("/healthz"),
        practice.client.post("/api/sign-in", content=b"{"),
        practice.client.post("/api/sign-in", content=b"{}", headers={"Origin": "null"}),
    ]
    practice.app.state.health = None
    answers.append(practice.client.get("/healthz"))
    assert [one.status_code for one in answers] == [200, 404, 401, 405, 422, 403, 500]
    for answer in answers:
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; script-src 'self';")
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["cache-control"] == "no-store"


def test_the_audit_says_who_did_what_without_names(practice: Practice) -> None:
    tree = drawn()
    practice.send(practice.tablet(), tree)
    ferry = practice.desk("ferry")
    for _ in range(3):
        ferry.get(f"/api/trials/{tree['trial_id']}")
    practice.clock.move(minutes=11)
    ferry.get(f"/api/trials/{tree['trial_id']}")
    practice.desk("beacon").get("/api/export/trials.csv")
    lines = rows(practice, "SELECT account_id, verb, kind, object_id FROM audit ORDER BY number")
    ferry_id, beacon_id = practice.ids["ferry"], practice.ids["beacon"]
    assert lines == [
        (ferry_id, "stored", "trial", tree["trial_id"]),
        (ferry_id, "signed_in", "account", ferry_id),
        (ferry_id, "saw", "trial", tree["trial_id"]),
        (ferry_id, "saw", "trial", tree["trial_id"]),
        (beacon_id, "signed_in", "account", beacon_id),
        (beacon_id, "exported", "trials.csv", None),
    ]
