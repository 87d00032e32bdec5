"""Tablets: who sees them, what they are called, how they are ended, their calibrations."""

import sqlite3
from contextlib import closing
from typing import Any

import pytest
from fastapi.testclient import TestClient

from server import store_tablets
from tests.practice import TELLING, Practice, drawn
from tests.problem_form import assert_problem

NOBODY = "00000000-0000-4000-8000-00000000dead"
CARD = "11111111-1111-4111-8111-111111111111"


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def change(practice: Practice, statement: str) -> None:
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        connection.execute(statement)


def paired(practice: Practice, name: str, holding: TestClient | None = None) -> dict[str, str]:
    """Pair a tablet as it is really done; `holding` shows the token it has."""
    code = practice.desk(name).post("/api/pairing-codes").json()["code"]
    answer = (holding or practice.client).post("/api/pair", json={"code": code})
    assert answer.status_code == 200, answer.text
    found: dict[str, str] = answer.json()
    return found


def tablets_of(practice: Practice, name: str) -> list[Any]:
    answer = practice.desk(name).get("/api/tablets")
    assert answer.status_code == 200, answer.text
    found: list[Any] = answer.json()["tablets"]
    return found


def card(**more: Any) -> dict[str, Any]:
    return {"id": CARD, "px_per_mm": 5.21, "ratio": 2.0, "screen_mm": [207.0, 136.0]} | more


# Which tablets there are


def test_a_therapist_sees_the_tablets_it_has_paired_and_no_others(practice: Practice) -> None:
    mine, other = paired(practice, "ferry"), paired(practice, "lantern")
    (seen,) = tablets_of(practice, "ferry")
    assert seen == {
        "tablet_id": mine["tablet_id"],
        "label": None,
        "paired_at": "2026-03-03T12:00:00+00:00",
        "tokens": [
            {
                # [C] midnight comes before twelve hours are over; 30 days of writing
                "read_until": "2026-03-04T00:00:00+00:00",
                "write_until": "2026-04-02T12:00:00+00:00",
                "revoked_at": None,
            }
        ],
        "calibration": None,
        "last_trial_at": None,
    }
    assert [one["tablet_id"] for one in tablets_of(practice, "lantern")] == [other["tablet_id"]]
    # Supervising somebody is no reason to see a tablet.
    assert tablets_of(practice, "harbour") == []
    assert_problem(practice.desk("beacon").get("/api/tablets"), 403)
    assert_problem(practice.client.get("/api/tablets"), 401)
    assert_problem(practice.holding(mine["token"]).get("/api/tablets"), 401)


def test_of_a_shared_tablet_each_sees_its_own_tokens(practice: Practice) -> None:
    first = paired(practice, "ferry")
    practice.clock.move(hours=1)
    second = paired(practice, "lantern", practice.holding(first["token"]))
    assert second["tablet_id"] == first["tablet_id"]
    (mine,), (theirs,) = tablets_of(practice, "ferry"), tablets_of(practice, "lantern")
    assert mine["tablet_id"] == theirs["tablet_id"]
    # The new pairing left the old token write-only from that moment on.
    assert [one["read_until"] for one in mine["tokens"]] == ["2026-03-03T13:00:00+00:00"]
    assert [one["read_until"] for one in theirs["tokens"]] == ["2026-03-04T00:00:00+00:00"]
    (seen,) = tablets_of(practice, "purser")
    assert len(seen["tokens"]) == 2


def test_the_owner_sees_all_tablets_without_a_word_on_trials(practice: Practice) -> None:
    ids = {paired(practice, name)["tablet_id"] for name in ("ferry", "lantern")}
    change(practice, "UPDATE trial SET tablet_id = NULL")
    answer = practice.desk("purser").get("/api/tablets")
    assert {one["tablet_id"] for one in answer.json()["tablets"]} == ids
    assert {one["last_trial_at"] for one in answer.json()["tablets"]} == {None}
    assert not any(word in answer.text for word in TELLING if word != "2026-03")


def test_the_newest_trial_of_a_tablet_tells_when_it_was_last_in_use(practice: Practice) -> None:
    mine = paired(practice, "ferry")
    # As the store of trials writes it: the tablet is that of the token.
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        for at, arrived in enumerate(("2026-03-03 12:05:00", "2026-03-03 12:04:00")):
            connection.execute(
                "INSERT INTO trial (id, session_id, kind, received_at, late, sha256, raw, "
                "export_key, tablet_id) VALUES (?, ?, 'trial', ?, 0, ?, x'00', ?, ?)",
                (
                    f"00000000-0000-4000-8000-00000000000{at}",
                    practice.ids["Gull session"],
                    f"{arrived}.000000",
                    "0" * 64,
                    f"t{at}",
                    mine["tablet_id"],
                ),
            )
    (seen,) = tablets_of(practice, "ferry")
    # The one that arrived last, even if the server's clock was set back in between.
    assert seen["last_trial_at"] == "2026-03-03T12:04:00+00:00"
    assert tablets_of(practice, "purser")[0]["last_trial_at"] is None


def test_a_token_that_has_ended_by_itself_is_not_listed(practice: Practice) -> None:
    paired(practice, "ferry")
    practice.clock.move(days=30)
    (seen,) = tablets_of(practice, "ferry")
    assert seen["tokens"] == []


# Labels


def test_a_label_is_given_and_taken_away_by_who_has_paired_the_tablet(practice: Practice) -> None:
    path = f"/api/tablets/{paired(practice, 'ferry')['tablet_id']}"
    ferry = practice.desk("ferry")
    answer = ferry.patch(path, json={"label": "  blue case "})
    assert answer.status_code == 200
    assert answer.json()["label"] == "blue case"
    assert tablets_of(practice, "ferry")[0]["label"] == "blue case"
    for name, status in (("lantern", 404), ("harbour", 404), ("beacon", 403), ("purser", 403)):
        assert_problem(practice.desk(name).patch(path, json={"label": "red"}), status)
    assert_problem(practice.client.patch(path, json={"label": "red"}), 401)
    assert ferry.patch(path, json={"label": None}).json()["label"] is None
    assert_problem(ferry.patch(f"/api/tablets/{NOBODY}", json={"label": "red"}), 404)
    named = "SELECT account_id, kind, object_id, child_id FROM audit WHERE verb = 'named'"
    assert rows(practice, named) == [(practice.ids["ferry"], "tablet", path[-36:], None)] * 2


@pytest.mark.parametrize(
    ("body", "at"),
    [
        ({}, "/label"),
        ({"label": 7}, "/label"),
        ({"label": ""}, "/label"),
        ({"label": "   "}, "/label"),
        ({"label": "x" * 61}, "/label"),
        ({"label": "two\nlines"}, "/label"),
        ({"label": "blue", "Gull": 1}, ""),
        ([], ""),
    ],
)
def test_a_label_that_does_not_fit_is_refused_and_nothing_changes(
    practice: Practice, body: Any, at: str
) -> None:
    path = f"/api/tablets/{paired(practice, 'ferry')['tablet_id']}"
    answer = practice.desk("ferry").patch(path, json=body)
    assert_problem(answer, 422, at)
    assert "Gull" not in answer.text
    assert rows(practice, "SELECT label FROM tablet") == [(None,)]
    assert rows(practice, "SELECT count(*) FROM audit WHERE verb = 'named'") == [(0,)]


def test_a_label_of_sixty_letters_fits(practice: Practice) -> None:
    path = f"/api/tablets/{paired(practice, 'ferry')['tablet_id']}"
    assert practice.desk("ferry").patch(path, json={"label": "x" * 60}).status_code == 200


# Revoking


def test_a_revoked_tablet_can_do_nothing_until_it_is_paired_again(practice: Practice) -> None:
    first, tree = paired(practice, "ferry"), drawn()
    tablet = practice.holding(first["token"])
    answer = practice.desk("ferry").post(f"/api/tablets/{first['tablet_id']}/revoke")
    assert answer.status_code == 200
    assert [one["revoked_at"] for one in answer.json()["tokens"]] == ["2026-03-03T12:00:00+00:00"]
    assert_problem(tablet.get("/api/tablet/day"), 401)
    # 401 is the answer on which a tablet keeps what waits and asks to be paired again.
    assert_problem(practice.send(tablet, tree), 401)
    assert_problem(tablet.post("/api/tablet/calibrations", json=card()), 401)
    assert rows(practice, "SELECT count(*) FROM trial") == [(0,)]
    again = paired(practice, "ferry", tablet)
    assert again["tablet_id"] != first["tablet_id"]
    assert practice.send(practice.holding(again["token"]), tree).status_code == 201


def test_revoking_twice_changes_nothing_more(practice: Practice) -> None:
    path = f"/api/tablets/{paired(practice, 'ferry')['tablet_id']}/revoke"
    first = practice.desk("ferry").post(path)
    practice.clock.move(hours=1)
    assert practice.desk("ferry").post(path).json() == first.json()
    assert rows(practice, "SELECT count(*) FROM audit WHERE verb = 'revoked'") == [(1,)]


def test_a_therapist_revokes_its_own_tokens_only_and_the_owner_all(practice: Practice) -> None:
    first = paired(practice, "ferry")
    old = practice.holding(first["token"])
    second = paired(practice, "lantern", old)
    path = f"/api/tablets/{first['tablet_id']}/revoke"
    for name, status in (("harbour", 404), ("beacon", 403)):
        assert_problem(practice.desk(name).post(path), status)
    assert_problem(practice.client.post(path), 401)
    assert_problem(old.post(path), 401)
    assert practice.desk("ferry").post(path).status_code == 200
    assert_problem(practice.send(old, drawn()), 401)
    new = practice.holding(second["token"])
    assert new.get("/api/tablet/day").status_code == 200
    answer = practice.desk("purser").post(path)
    assert answer.status_code == 200
    assert answer.json()["last_trial_at"] is None
    assert_problem(new.get("/api/tablet/day"), 401)
    assert_problem(practice.desk("purser").post(f"/api/tablets/{NOBODY}/revoke"), 404)


# Accounts that have ended


def test_a_closed_account_ends_its_tablets_and_its_codes(practice: Practice) -> None:
    first = paired(practice, "ferry")
    code = practice.desk("ferry").post("/api/pairing-codes").json()["code"]
    change(practice, "UPDATE account SET closed_at = '2026-03-03 12:00:00' WHERE name = 'ferry'")
    tablet = practice.holding(first["token"])
    assert_problem(tablet.get("/api/tablet/day"), 401)
    assert_problem(practice.send(tablet, drawn()), 401)
    assert_problem(practice.client.post("/api/pair", json={"code": code}), 422)
    # What waits on the tablet goes out once the supervisor has paired it.
    again = paired(practice, "harbour", tablet)
    assert practice.send(practice.holding(again["token"]), drawn()).status_code == 201


def test_a_tablet_ends_when_its_account_is_no_therapist_s_any_more(practice: Practice) -> None:
    tablet = practice.holding(paired(practice, "ferry")["token"])
    change(
        practice,
        f"UPDATE account_role SET role = 'researcher' WHERE account_id = '{practice.ids['ferry']}'",
    )
    assert_problem(tablet.get("/api/tablet/day"), 401)
    assert_problem(practice.send(tablet, drawn()), 401)


def test_a_code_that_no_one_may_use_stays_unused(practice: Practice) -> None:
    code = practice.desk("ferry").post("/api/pairing-codes").json()["code"]
    change(practice, "UPDATE account SET closed_at = '2026-03-03 12:00:00' WHERE name = 'ferry'")
    assert_problem(practice.client.post("/api/pair", json={"code": code}), 422)
    assert rows(practice, "SELECT used_at FROM pairing_code") == [(None,)]
    assert rows(practice, "SELECT count(*) FROM tablet") == [(0,)]


@pytest.mark.parametrize(
    ("body", "at"),
    [
        ({}, "/code"),
        ({"code": ""}, "/code"),
        ({"code": 12345678}, "/code"),
        ({"code": "A" * 41}, "/code"),
        ({"code": "AAAAAAAA", "Gull": 1}, ""),
    ],
)
def test_a_body_of_pairing_that_does_not_fit_is_refused(
    practice: Practice, body: Any, at: str
) -> None:
    answer = practice.client.post("/api/pair", json=body)
    assert_problem(answer, 422, at)
    assert "Gull" not in answer.text
    assert "AAAA" not in answer.text
    assert rows(practice, "SELECT count(*) FROM tablet") == [(0,)]


# Calibrations


def test_a_calibration_is_kept_once_and_told_back(practice: Practice) -> None:
    mine = paired(practice, "ferry")
    tablet = practice.holding(mine["token"])
    body = card(made_at="2026-03-03T13:00:00.500+02:00")
    answers = [tablet.post("/api/tablet/calibrations", json=body) for _ in range(2)]
    assert [one.status_code for one in answers] == [201, 200]
    assert [one.json() for one in answers] == [{"id": CARD}] * 2
    kept = {
        "id": CARD,
        "px_per_mm": 5.21,
        "ratio": 2.0,
        "screen_mm": [207.0, 136.0],
        "made_at": "2026-03-03T11:00:00.500000+00:00",  # [C] two hours behind +02:00
        "received_at": "2026-03-03T12:00:00+00:00",
    }
    path = f"/api/tablets/{mine['tablet_id']}/calibrations"
    for name in ("ferry", "purser"):
        assert practice.desk(name).get(path).json() == {"calibrations": [kept]}
    assert tablets_of(practice, "ferry")[0]["calibration"] == kept
    for name, status in (("lantern", 404), ("harbour", 404), ("beacon", 403)):
        assert_problem(practice.desk(name).get(path), status)
    assert_problem(practice.client.get(path), 401)
    assert_problem(tablet.get(path), 401)
    said = "SELECT account_id, object_id FROM audit WHERE verb = 'calibrated'"
    assert rows(practice, said) == [(practice.ids["ferry"], mine["tablet_id"])]


@pytest.mark.parametrize(
    "other",
    [
        {"px_per_mm": 5.22},
        {"ratio": 1.0},
        {"ratio": None},
        {"screen_mm": None},
        {"screen_mm": [207.0, 137.0]},
        {"made_at": "2026-03-03T12:00:00Z"},
    ],
)
def test_another_calibration_under_the_same_id_is_refused(
    practice: Practice, other: dict[str, Any]
) -> None:
    tablet = practice.tablet()
    assert tablet.post("/api/tablet/calibrations", json=card()).status_code == 201
    assert_problem(tablet.post("/api/tablet/calibrations", json=card(**other)), 409)
    assert rows(practice, "SELECT px_per_mm, ratio FROM calibration") == [(5.21, 2.0)]


def test_two_tablets_with_the_same_calibration_id_do_not_share_it(practice: Practice) -> None:
    first, second = practice.tablet(), practice.tablet()
    assert first.post("/api/tablet/calibrations", json=card()).status_code == 201
    assert_problem(second.post("/api/tablet/calibrations", json=card()), 409)


def test_the_calibration_that_arrived_last_is_the_latest(practice: Practice) -> None:
    mine = paired(practice, "ferry")
    tablet = practice.holding(mine["token"])
    # The tablet's clock went back two days in between.
    for name, made_at in (("first", "2026-03-05T12:00:00Z"), ("second", "2026-03-01T12:00:00Z")):
        body = card(id=name, made_at=made_at)
        assert tablet.post("/api/tablet/calibrations", json=body).status_code == 201
        practice.clock.move(minutes=1)
    assert tablets_of(practice, "ferry")[0]["calibration"]["id"] == "second"


def test_a_calibration_still_arrives_when_the_tablet_s_day_is_over(practice: Practice) -> None:
    tablet = practice.tablet()
    practice.clock.move(days=29)
    assert tablet.post("/api/tablet/calibrations", json=card()).status_code == 201
    practice.clock.move(days=1)
    assert_problem(tablet.post("/api/tablet/calibrations", json=card(id="late")), 401)


def test_a_calibration_comes_from_a_tablet_only(practice: Practice) -> None:
    for client in (practice.client, practice.desk("ferry")):
        assert_problem(client.post("/api/tablet/calibrations", json=card()), 401)
    assert rows(practice, "SELECT count(*) FROM calibration") == [(0,)]


@pytest.mark.parametrize(
    ("other", "at"),
    [
        ({"id": "Gull session"}, "/id"),
        ({"id": ""}, "/id"),
        ({"id": "x" * 65}, "/id"),
        ({"id": 5}, "/id"),
        ({"px_per_mm": 0.99}, "/px_per_mm"),
        ({"px_per_mm": 40.01}, "/px_per_mm"),
        ({"px_per_mm": "5.21"}, "/px_per_mm"),
        ({"px_per_mm": True}, "/px_per_mm"),
        ({"px_per_mm": None}, "/px_per_mm"),
        ({"ratio": 0}, "/ratio"),
        ({"ratio": 17}, "/ratio"),
        ({"screen_mm": [207.0]}, "/screen_mm"),
        ({"screen_mm": {"Gull": 1}}, "/screen_mm"),
        ({"screen_mm": [207.0, 0]}, "/screen_mm/1"),
        ({"made_at": "2026-03-03T12:00:00"}, "/made_at"),
        ({"made_at": 1772539200}, "/made_at"),
        ({"Gull": 1}, ""),
    ],
)
def test_a_calibration_that_does_not_fit_is_refused(
    practice: Practice, other: dict[str, Any], at: str
) -> None:
    tablet = practice.tablet()
    answer = tablet.post("/api/tablet/calibrations", json=card(**other))
    assert_problem(answer, 422, at)
    assert "Gull" not in answer.text
    assert rows(practice, "SELECT count(*) FROM calibration") == [(0,)]


@pytest.mark.parametrize("text", [b"{", b"", b'{"id": "a", "px_per_mm": NaN}', b"[]"])
def test_a_calibration_that_is_no_object_is_refused(practice: Practice, text: bytes) -> None:
    headers = {"Content-Type": "application/json"}
    tablet = practice.tablet()
    assert_problem(tablet.post("/api/tablet/calibrations", content=text, headers=headers), 422)


def test_the_widest_and_the_narrowest_scale_fit(practice: Practice) -> None:
    tablet = practice.tablet()
    for name, scale in (("coarse", 1), ("fine", 40)):
        body = {"id": name, "px_per_mm": scale}
        assert tablet.post("/api/tablet/calibrations", json=body).status_code == 201


# What is written down


def test_looks_at_tablets_and_fetched_plans_are_in_the_audit(practice: Practice) -> None:
    mine = paired(practice, "ferry")
    tablet = practice.holding(mine["token"])
    first = tablet.get("/api/tablet/day")
    tablet.get("/api/tablet/day", headers={"If-None-Match": first.headers["etag"]})
    ferry = practice.desk("ferry")
    ferry.get("/api/tablets")
    ferry.get(f"/api/tablets/{mine['tablet_id']}/calibrations")
    account = practice.ids["ferry"]
    plan_id = first.json()["plans"][0]["plan_id"]
    lines = rows(
        practice,
        "SELECT account_id, verb, kind, object_id, child_id FROM audit "
        "WHERE verb IN ('fetched', 'saw', 'paired', 'made') ORDER BY number",
    )
    assert lines == [
        (account, "made", "pairing_code", None, None),
        (account, "paired", "tablet", mine["tablet_id"], None),
        (account, "fetched", "plan", plan_id, practice.ids["Gull"]),
        (account, "saw", "tablets", None, None),
        (account, "saw", "tablet", mine["tablet_id"], None),
    ]


@pytest.mark.parametrize(("scale", "status"), [(5.21, 200), (5.22, 409)])
def test_a_calibration_that_another_connection_stores_first_is_not_stored_twice(
    practice: Practice, monkeypatch: pytest.MonkeyPatch, scale: float, status: int
) -> None:
    tablet, look = practice.tablet(), store_tablets._same_calibration
    with monkeypatch.context() as patched:
        # The look finds nothing, and before the writing begins the other one has written.
        def too_early(db: Any, sent: Any) -> None:
            patched.setattr(store_tablets, "_same_calibration", look)
            assert tablet.post("/api/tablet/calibrations", json=card()).status_code == 201

        patched.setattr(store_tablets, "_same_calibration", too_early)
        answer = tablet.post("/api/tablet/calibrations", json=card(px_per_mm=scale))
    assert answer.status_code == status
    assert rows(practice, "SELECT px_per_mm FROM calibration") == [(5.21,)]
    assert rows(practice, "SELECT count(*) FROM audit WHERE verb = 'calibrated'") == [(1,)]
