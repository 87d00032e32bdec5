"""Voided trials: kept, shown and flagged, and left out of everything that counts."""

import sqlite3
from contextlib import closing
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from server.store_counts import trial_counts
from server.store_trials import trials_of_child
from server.store_voids import voided_ids
from server.trial_lines import trial_lines
from server.trial_readings import readings_of
from tests.practice import Practice, drawn
from tests.problem_form import assert_problem

WHY = "The screen hung."


@pytest.fixture
def ferry(practice: Practice) -> TestClient:
    return practice.desk("ferry")


def stored(practice: Practice, beside_mm: float = 1.0) -> str:
    tree = drawn(beside_mm=beside_mm)
    assert practice.send(practice.tablet(), tree).status_code == 201
    return str(tree["trial_id"])


def void(desk: TestClient, trial_id: str, *, voided: bool = True, **more: Any) -> Any:
    body = {"id": str(uuid4()), "voided": voided, "reason": WHY} | more
    return desk.post(f"/api/trials/{trial_id}/voids", json=body)


def counted(practice: Practice) -> list[str]:
    with practice.app.state.sessions() as db:
        gull = practice.ids["Gull"]
        return [one.trial_id for one in readings_of(db, gull, ["completion"])]


def test_the_newest_void_counts(practice: Practice, ferry: TestClient) -> None:
    trial_id = stored(practice)
    first = void(ferry, trial_id)
    assert first.status_code == 201
    assert ferry.get(f"/api/trials/{trial_id}").json()["voided"] is True
    assert counted(practice) == []
    # The clock of a server may go back: the order of arrival decides.
    practice.clock.move(hours=-2)
    second = void(ferry, trial_id, voided=False)
    about = ferry.get(f"/api/trials/{trial_id}").json()
    assert about["voided"] is False
    assert about["voids"] == [first.json(), second.json()]
    assert ferry.get(f"/api/trials/{trial_id}/voids").json() == {"voids": about["voids"]}
    assert counted(practice) == [trial_id]
    with practice.app.state.sessions() as db:
        assert voided_ids(db, [trial_id]) == set()


def test_a_voided_trial_is_left_out_of_series_counts_and_exports(
    practice: Practice, ferry: TestClient
) -> None:
    kept, hung = stored(practice, 1.0), stored(practice, 3.0)
    assert void(ferry, hung).status_code == 201
    path = f"/api/children/{practice.ids['Gull']}/trend"
    (series,) = ferry.get(path, params={"measure": "deviation_mean_abs"}).json()["series"]
    (point,) = series["points"]
    assert point["n"] == 1
    assert point["value"] == pytest.approx(1.0, abs=1e-6)  # [C] the trial that is kept
    assert counted(practice) == [kept]
    session_id = practice.ids["Gull session"]
    with practice.app.state.sessions() as db:
        assert trial_counts(db, [session_id]) == {session_id: 1}
    # RFC 4180: a header and one record, each with its line end.
    practice.agree("research", "Gull")
    beacon = practice.desk("beacon")
    assert beacon.get("/api/export/trials.csv").text.count("\r\n") == 2
    children = beacon.get("/api/export/children.csv").text
    assert children.rstrip().endswith(",1,1")


def test_a_voided_trial_stays_in_lists_with_its_flag(practice: Practice, ferry: TestClient) -> None:
    kept, hung = stored(practice), stored(practice)
    void(ferry, hung)
    with practice.app.state.sessions() as db:
        lines = trial_lines(db, trials_of_child(db, practice.ids["Gull"]))
    assert [(one["trial_id"], one["voided"]) for one in lines] == [(kept, False), (hung, True)]
    page = ferry.get(f"/trials/{hung}")
    assert "Voided: it is kept and not counted." in page.text
    assert "voided, not counted" in ferry.get(f"/children/{practice.ids['Gull']}").text


def test_the_caseload_counts_what_is_not_voided(practice: Practice, ferry: TestClient) -> None:
    stored(practice)
    hung = stored(practice)
    assert "2 of 3 trials in" in ferry.get("/caseload").text
    void(ferry, hung)
    assert "2 trials, 1 voided · 1 of 3 asked for" in ferry.get("/caseload").text


def test_a_void_sent_again_changes_nothing(practice: Practice, ferry: TestClient) -> None:
    trial_id, same = stored(practice), {"id": str(uuid4())}
    assert void(ferry, trial_id, **same).status_code == 201
    assert void(ferry, trial_id, **same).status_code == 200
    assert_problem(void(ferry, trial_id, voided=False, **same), 409)
    assert_problem(void(ferry, trial_id, reason="Another.", **same), 409)
    assert_problem(void(ferry, stored(practice), **same), 409)
    with closing(sqlite3.connect(practice.path)) as connection:
        assert connection.execute("SELECT trial_id, voided FROM void").fetchall() == [(trial_id, 1)]
        noted = connection.execute("SELECT verb, child_id FROM audit WHERE verb = 'voided'")
        assert noted.fetchall() == [("voided", practice.ids["Gull"])]


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"id": None}, "/id"),
        ({"voided": "yes"}, "/voided"),
        ({"voided": 1}, "/voided"),
        ({"reason": "x" * 501}, "/reason"),
        ({"why": WHY}, ""),
    ],
)
def test_a_void_of_another_form_is_refused(
    practice: Practice, ferry: TestClient, change: dict[str, Any], path: str
) -> None:
    trial_id = stored(practice)
    body = {"id": str(uuid4()), "voided": True, "reason": WHY} | change
    assert_problem(ferry.post(f"/api/trials/{trial_id}/voids", json=body), 422, path)
    assert counted(practice) == [trial_id]


def test_only_those_who_see_a_trial_may_void_it(practice: Practice) -> None:
    trial_id = stored(practice)
    for name, status in (("lantern", 404), ("beacon", 403), ("purser", 403)):
        desk = practice.desk(name)
        assert_problem(void(desk, trial_id), status)
        assert_problem(desk.get(f"/api/trials/{trial_id}/voids"), status)
    assert_problem(void(practice.tablet(), trial_id), 401)
    assert void(practice.desk("harbour"), trial_id).status_code == 201


def test_a_trial_is_voided_once_and_used_again_once(practice: Practice, ferry: TestClient) -> None:
    trial_id = stored(practice)
    first = void(ferry, trial_id)
    again = void(ferry, trial_id, reason="Another tab.")
    assert (again.status_code, again.json()) == (200, first.json())
    assert void(ferry, trial_id, voided=False).status_code == 201
    assert void(ferry, trial_id, voided=False).status_code == 200
    assert void(ferry, trial_id).status_code == 201
    kept = ferry.get(f"/api/trials/{trial_id}/voids").json()["voids"]
    assert [one["voided"] for one in kept] == [True, False, True]
