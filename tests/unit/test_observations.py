"""Observations: added in a session, changed or taken back until its note is signed."""

import sqlite3
from contextlib import closing
from typing import Any, get_args
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from server import routes_observations
from server.store_observations import KINDS
from tests.practice import Practice, drawn
from tests.problem_form import assert_problem

NOWHERE = "Quillfeather"
TEXTS = {"subjective": "", "objective": "", "assessment": "Steadier.", "plan": ""}


def rows(practice: Practice, query: str, *values: Any) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query, values).fetchall()


def path_of(practice: Practice, name: str = "Gull session") -> str:
    return f"/api/sessions/{practice.ids[name]}/observations"


def add(practice: Practice, client: TestClient, **body: Any) -> Any:
    sent = {"id": str(uuid4()), "kind": "thumb_up"} | body
    return client.post(path_of(practice), json=sent)


def seen(practice: Practice, client: TestClient) -> list[Any]:
    found: list[Any] = client.get(path_of(practice)).json()["observations"]
    return found


def sign(practice: Practice, client: TestClient) -> None:
    note = f"/api/sessions/{practice.ids['Gull session']}/note"
    assert client.put(note, json=TEXTS | {"based_on": 0}).status_code == 200
    assert client.post(f"{note}/sign", json={"based_on": 1}).status_code == 200


SOUND = [
    {"kind": "thumb_up"},
    {"kind": "grip_other", "text": "two fingers on top"},
    {"kind": "rest", "minutes": 6, "text": "the bell"},
    {"kind": "rest"},
    {
        "kind": "activity",
        "text": "threading\nasked for the blue rope",
        "minutes": 7.5,
        "help": {"setup": True, "cues": {"verbal": 2, "gesture": 0, "demonstration": 0}},
    },
    {"kind": "said", "text": "Child: my arm is tired."},
    {"kind": "remark", "text": "Sat on the higher stool."},
]


@pytest.mark.parametrize("body", SOUND)
def test_an_observation_is_kept_as_it_was_sent(practice: Practice, body: dict[str, Any]) -> None:
    ferry = practice.desk("ferry")
    answer = add(practice, ferry, **body)
    assert answer.status_code == 201, answer.text
    (found,) = seen(practice, ferry)
    assert found == answer.json()
    empty = {"text": None, "minutes": None, "help": None, "trial_id": None}
    kept = {name: found[name] for name in ("kind", *empty)}
    assert kept == empty | body
    assert found["account_id"] == practice.ids["ferry"]
    assert found["at"] == "2026-03-03T12:00:00+00:00"
    noted = rows(practice, "SELECT child_id FROM audit WHERE kind = 'observation'")
    assert noted == [(practice.ids["Gull"],)]


def test_every_kind_that_may_be_sent_has_its_rules() -> None:
    assert set(get_args(routes_observations.Kind)) == set(KINDS)


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({"kind": NOWHERE}, "/kind"),
        ({"kind": None}, "/kind"),
        ({"id": NOWHERE}, "/id"),
        ({"kind": "said"}, "/text"),
        ({"kind": "remark", "text": " \n"}, "/text"),
        ({"kind": "activity", "minutes": 3}, "/text"),
        ({"kind": "thumb_up", "minutes": 3}, "/minutes"),
        ({"kind": "rest", "minutes": -1}, "/minutes"),
        ({"kind": "rest", "minutes": 1441}, "/minutes"),
        ({"kind": "rest", "help": {"setup": True}}, "/help"),
        (
            {"kind": "activity", "text": "rolling", "help": {"cues": {"verbal": -1}}},
            "/help/cues/verbal",
        ),
        ({"kind": "activity", "text": "rolling", "help": {"physical": NOWHERE}}, "/help/physical"),
        ({"text": f"{NOWHERE}\x00"}, "/text"),
        ({"text": "t" * 8001}, "/text"),
        ({"trial_id": str(uuid4())}, "/trial_id"),
        ({"trial_id": NOWHERE}, "/trial_id"),
        ({NOWHERE: 1}, ""),
    ],
)
def test_a_bad_observation_is_refused(practice: Practice, body: dict[str, Any], path: str) -> None:
    ferry = practice.desk("ferry")
    answer = add(practice, ferry, **body)
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text
    assert seen(practice, ferry) == []


def test_half_a_surrogate_pair_and_nan_are_refused(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    head = b'{"id": "22222222-2222-4222-8222-222222222222", "kind": "rest", '
    json_type = {"Content-Type": "application/json"}
    for tail, path in ((b'"text": "\\ud83d"}', "/text"), (b'"minutes": NaN}', "/minutes")):
        answer = ferry.post(path_of(practice), content=head + tail, headers=json_type)
        assert_problem(answer, 422, path)
    assert seen(practice, ferry) == []


def test_an_observation_belongs_to_a_trial_of_its_own_session(practice: Practice) -> None:
    ferry, lantern = practice.desk("ferry"), practice.desk("lantern")
    tree = drawn()
    practice.send(practice.tablet(), tree)
    answer = add(practice, ferry, kind="trunk_still", trial_id=tree["trial_id"])
    assert answer.status_code == 201
    body = {"id": str(uuid4()), "kind": "trunk_still", "trial_id": tree["trial_id"]}
    other = lantern.post(path_of(practice, "Wren session"), json=body)
    assert_problem(other, 422, "/trial_id")


def test_the_same_observation_sent_again_changes_nothing(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    body = {"id": str(uuid4()), "kind": "rest", "minutes": 6}
    assert [add(practice, ferry, **body).status_code for _ in range(3)] == [201, 200, 200]
    assert_problem(add(practice, ferry, **body | {"minutes": 7}), 409)
    other = practice.desk("lantern").post(path_of(practice, "Wren session"), json=body)
    assert_problem(other, 409)
    assert [one["minutes"] for one in seen(practice, ferry)] == [6]


def test_an_observation_can_be_said_anew_or_taken_back(practice: Practice) -> None:
    ferry, harbour = practice.desk("ferry"), practice.desk("harbour")
    first = add(practice, ferry, kind="rest", minutes=6, text="the bell").json()
    second = add(practice, ferry, kind="distress").json()
    path = f"/api/observations/{first['id']}"
    changed = harbour.put(path, json={"kind": "rest", "minutes": 8})
    assert changed.status_code == 200
    # What is left out is empty; who saw it, and when, stays.
    assert changed.json() == first | {"minutes": 8, "text": None}
    gone = ferry.delete(path)
    assert (gone.status_code, gone.content) == (204, b"")
    assert_problem(ferry.delete(path), 404)
    assert_problem(ferry.put(path, json={"kind": "rest"}), 404)
    assert seen(practice, ferry) == [second]
    verbs = rows(practice, "SELECT verb, child_id FROM audit WHERE object_id = ?", first["id"])
    gull = practice.ids["Gull"]
    assert verbs == [("made", gull), ("changed", gull), ("deleted", gull)]


def test_a_bad_change_leaves_the_observation_as_it_was(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    first = add(practice, ferry, kind="rest", minutes=6).json()
    path = f"/api/observations/{first['id']}"
    assert_problem(ferry.put(path, json={"kind": "thumb_up", "minutes": 6}), 422, "/minutes")
    assert_problem(ferry.put(path, json={"kind": NOWHERE}), 422, "/kind")
    assert_problem(ferry.put(path, json={"kind": "rest", "id": first["id"]}), 422, "")
    assert seen(practice, ferry) == [first]


def test_observations_are_fixed_once_the_note_is_signed(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    body = {"id": str(uuid4()), "kind": "rest", "minutes": 6}
    first = add(practice, ferry, **body).json()
    sign(practice, ferry)
    path = f"/api/observations/{first['id']}"
    for refused in (
        add(practice, ferry),
        ferry.put(path, json={"kind": "rest"}),
        ferry.delete(path),
    ):
        assert "is signed" in assert_problem(refused, 409)["detail"]
    # A sender that never got its answer still gets it.
    assert add(practice, ferry, **body).status_code == 200
    assert seen(practice, ferry) == [first]
    note = f"/api/sessions/{practice.ids['Gull session']}/note"
    practice.desk("harbour").post(f"{note}/return", json={"reason": "Say more."})
    assert ferry.put(path, json={"kind": "rest", "minutes": 7}).status_code == 200
    assert add(practice, ferry).status_code == 201


def test_the_database_itself_fixes_what_was_observed(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    add(practice, ferry)
    sign(practice, ferry)
    with closing(sqlite3.connect(practice.path)) as connection:
        for statement in (
            "UPDATE observation SET text = 'other'",
            "DELETE FROM observation",
            "INSERT INTO observation (id, session_id, kind, account_id, at) "
            "SELECT 'x', session_id, kind, account_id, at FROM observation",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="fixed once the note is signed"):
                connection.execute(statement)


def test_a_note_signed_between_the_look_and_the_write_is_found_by_the_database(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    ferry = practice.desk("ferry")
    first = add(practice, ferry, kind="rest").json()
    sign(practice, ferry)
    # As if the look had been before the signature.
    monkeypatch.setattr("server.store_observations._refuse_signed", lambda *_: None)
    path = f"/api/observations/{first['id']}"
    for refused in (ferry.put(path, json={"kind": "distress"}), ferry.delete(path)):
        assert "is signed" in assert_problem(refused, 409)["detail"]
    assert seen(practice, ferry) == [first]


@pytest.mark.parametrize(
    ("name", "status"),
    [("harbour", 200), ("ferry", 200), ("lantern", 404), ("beacon", 403), ("purser", 403)],
)
def test_only_linked_therapists_reach_observations(
    practice: Practice, name: str, status: int
) -> None:
    first = add(practice, practice.desk("ferry")).json()
    client, path = practice.desk(name), f"/api/observations/{first['id']}"
    assert client.get(path_of(practice)).status_code == status
    assert add(practice, client).status_code == (201 if status == 200 else status)
    assert client.put(path, json={"kind": "distress"}).status_code == status
    assert client.delete(path).status_code == (204 if status == 200 else status)


def test_signed_out_and_tablets_reach_no_observation(practice: Practice) -> None:
    path = f"/api/observations/{uuid4()}"
    for client in (practice.client, practice.tablet()):
        assert_problem(client.get(path_of(practice)), 401)
        assert_problem(add(practice, client), 401)
        assert_problem(client.put(path, json={"kind": "distress"}), 401)
        assert_problem(client.delete(path), 401)
