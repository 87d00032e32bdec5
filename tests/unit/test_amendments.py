"""Corrections of a trial: added one after the other, measured anew, the record untouched."""

import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from server.amending import AMENDED, amended
from server.documents import read_trial
from server.store_amendments import amendments_of
from server.store_sessions import create_session
from server.store_trials import result_of, trial_by_id
from server.tables import ResultRow
from tests.practice import PASSPHRASE, TODAY, Practice, drawn, raw_of
from tests.problem_form import assert_problem

WHY = "The session note says so."


def stored(practice: Practice, **top: Any) -> str:
    tree = drawn(**top)
    assert practice.send(practice.tablet(), tree).status_code == 201
    return str(tree["trial_id"])


def ferry(practice: Practice) -> TestClient:
    """A desk that stays signed in: hashing a pass-phrase takes its time."""
    if not practice.client.cookies:
        body = {"name": "ferry", "passphrase": PASSPHRASE}
        assert practice.client.post("/api/sign-in", json=body).status_code == 200
    return practice.client


def amend(practice: Practice, trial_id: str, desk: TestClient | None = None, **patch: Any) -> Any:
    body = {"id": str(uuid4()), "patch": patch, "reason": WHY}
    return (desk or ferry(practice)).post(f"/api/trials/{trial_id}/amendments", json=body)


def shown(practice: Practice, trial_id: str) -> dict[str, Any]:
    about: dict[str, Any] = ferry(practice).get(f"/api/trials/{trial_id}").json()
    return about


def measure(practice: Practice, trial_id: str, name: str) -> dict[str, Any]:
    report = ferry(practice).get(f"/api/trials/{trial_id}/report").json()
    found: dict[str, Any] = report["measures"][name]
    return found


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def test_an_amendment_is_shown_with_its_number_and_its_reason(practice: Practice) -> None:
    trial_id = stored(practice)
    first = amend(practice, trial_id, position="standing")
    practice.clock.move(minutes=5)
    second = amend(practice, trial_id, tool="crayon")
    assert (first.status_code, second.status_code) == (201, 201)
    assert [one.json()["amendment_no"] for one in (first, second)] == [1, 2]
    about = shown(practice, trial_id)
    assert about["amendments"] == [first.json(), second.json()]
    assert (about["position"], about["tool"]) == ("standing", "crayon")
    assert about["amendments"][0]["reason"] == WHY
    assert about["amendments"][0]["account_id"] == practice.ids["ferry"]
    listed = ferry(practice).get(f"/api/trials/{trial_id}/amendments").json()
    assert listed == {"amendments": about["amendments"]}


def test_the_record_stays_exactly_as_it_was_received(practice: Practice) -> None:
    trial_id = stored(practice)
    before = rows(practice, "SELECT raw, sha256, received_at, seq FROM trial")
    for patch in ({"position": "standing"}, {"midline_x_mm": 120.0}, {"hand_used": "right"}):
        assert amend(practice, trial_id, **patch).status_code == 201
    assert rows(practice, "SELECT raw, sha256, received_at, seq FROM trial") == before
    trace = ferry(practice).get(f"/api/trials/{trial_id}/trace").json()
    assert trace["guide"]["midline_x_mm"] == 100.0


def test_a_result_is_computed_for_each_number_and_the_highest_is_current(
    practice: Practice,
) -> None:
    trial_id = stored(practice)
    assert shown(practice, trial_id)["midline_offset_mm"] == 80.0  # [C] guide from 20, line at 100
    amend(practice, trial_id, midline_x_mm=120.0)
    assert shown(practice, trial_id)["midline_offset_mm"] == 100.0  # [C] line at 120
    amend(practice, trial_id, midline_x_mm=None)
    assert shown(practice, trial_id)["midline_offset_mm"] is None
    refused = measure(practice, trial_id, "midline_zone_time_share")
    assert refused["reason"] == "midline_unknown"
    numbers = rows(practice, "SELECT amendment_no FROM result ORDER BY amendment_no")
    assert numbers == [(0,), (1,), (2,)]


def test_a_midline_that_was_amended_moves_what_is_measured_at_it(practice: Practice) -> None:
    # Without a switch of hands on the way: one hand drew all of it.
    trial_id = stored(practice, marks=[])
    reached = measure(practice, trial_id, "contralateral_reach")["value"]
    assert reached == pytest.approx(80.0, abs=0.01)  # [C] left hand: line to 180, midline at 100
    amend(practice, trial_id, midline_x_mm=130.0)
    reached = measure(practice, trial_id, "contralateral_reach")["value"]
    assert reached == pytest.approx(50.0, abs=0.01)  # [C] midline at 130


def test_the_hand_that_drew_counts_as_amended_then_as_marked_then_as_asked(
    practice: Practice,
) -> None:
    trial_id = stored(practice)
    assert shown(practice, trial_id)["hand_used"] is None

    def hands() -> list[str]:
        path = f"/api/children/{practice.ids['Gull']}/trend"
        answer = ferry(practice).get(path, params={"measure": "completion"})
        return [one["hand"] for one in answer.json()["series"]]

    def mark(hand: str) -> None:
        body = {"id": str(uuid4()), "hand_used": hand}
        answer = practice.tablet().post(f"/api/trials/{trial_id}/marks", json=body)
        assert answer.status_code == 201

    assert hands() == ["left"]
    mark("right")
    assert hands() == ["right"]
    assert shown(practice, trial_id)["hand_used"] == "right"
    amend(practice, trial_id, hand_used="both")
    assert hands() == ["both"]
    mark("right")
    assert hands() == ["both"]
    about = shown(practice, trial_id)
    assert (about["hand"], about["hand_used"]) == ("left", "both")


def test_measures_of_one_hand_are_measured_for_the_hand_that_drew(practice: Practice) -> None:
    tree = drawn(marks=[])
    tree["condition"]["hand"] = "free"
    tree["guide"]["midline_x_mm"] = 60.0
    assert practice.send(practice.tablet(), tree).status_code == 201
    trial_id = tree["trial_id"]
    assert measure(practice, trial_id, "contralateral_reach")["value"] is None
    # [C] line from 20 to 180, midline at 60: to the right of it 120 mm, to the left 40 mm
    for hand, reached_mm in (("left", 120.0), ("right", 40.0)):
        amend(practice, trial_id, hand_used=hand)
        reached = measure(practice, trial_id, "contralateral_reach")["value"]
        assert reached == pytest.approx(reached_mm, abs=0.01)
    assert shown(practice, trial_id)["hand"] == "free"


def other_session(practice: Practice, child: str = "Gull") -> str:
    with practice.app.state.sessions() as db:
        row = create_session(db, child_id=practice.ids[child], day=TODAY)
        db.commit()
        return row.id


def test_a_trial_moves_to_another_session_of_the_same_child(practice: Practice) -> None:
    trial_id, session_id = stored(practice), other_session(practice)
    assert amend(practice, trial_id, session_id=session_id).status_code == 201
    assert shown(practice, trial_id)["session_id"] == session_id
    again = amend(practice, trial_id, session_id=session_id)
    assert_problem(again, 422, "/patch/session_id")
    assert amend(practice, trial_id, session_id=practice.ids["Gull session"]).status_code == 201
    assert shown(practice, trial_id)["session_id"] == practice.ids["Gull session"]


@pytest.mark.parametrize("of", ["another child", "nobody"])
def test_a_trial_does_not_move_to_a_session_that_is_not_the_child_s(
    practice: Practice, of: str
) -> None:
    trial_id = stored(practice)
    session_id = practice.ids["Wren session"] if of == "another child" else str(uuid4())
    # A supervisor of both carers would not be allowed either.
    answer = amend(
        practice, trial_id, practice.desk("harbour"), session_id=session_id, position="standing"
    )
    body = assert_problem(answer, 422, "/patch/session_id")
    assert session_id not in str(body)
    assert rows(practice, "SELECT count(*) FROM amendment") == [(0,)]
    assert shown(practice, trial_id)["position"] == "seated"


def test_an_amendment_sent_again_changes_nothing(practice: Practice) -> None:
    trial_id, desk = stored(practice), ferry(practice)
    path = f"/api/trials/{trial_id}/amendments"
    body = {"id": str(uuid4()), "patch": {"session_id": other_session(practice)}, "reason": WHY}
    first = desk.post(path, json=body)
    again = desk.post(path, json=body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    other = body | {"patch": {"tool": "crayon"}}
    assert_problem(desk.post(path, json=other), 409)
    assert_problem(desk.post(path, json=body | {"reason": "Another."}), 409)
    elsewhere = f"/api/trials/{stored(practice)}/amendments"
    assert_problem(desk.post(elsewhere, json=body), 409)
    assert rows(practice, "SELECT amendment_no FROM amendment") == [(1,)]


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"id": "x"}, "/id"),
        ({"reason": ""}, "/reason"),
        ({"reason": None}, "/reason"),
        ({"patch": {}}, "/patch"),
        ({"patch": []}, "/patch"),
        ({"patch": {"hand_used": "free"}}, "/patch/hand_used"),
        ({"patch": {"hand_used": None}}, "/patch/hand_used"),
        ({"patch": {"position": "On a chair"}}, "/patch/position"),
        ({"patch": {"tool": 7}}, "/patch/tool"),
        ({"patch": {"midline_x_mm": "100"}}, "/patch/midline_x_mm"),
        ({"patch": {"midline_x_mm": 1e9}}, "/patch/midline_x_mm"),
        ({"patch": {"session_id": "today"}}, "/patch/session_id"),
        ({"patch": {"samples": {}}}, "/patch"),
        ({"by": "somebody"}, ""),
    ],
)
def test_an_amendment_of_another_form_is_refused_and_not_stored(
    practice: Practice, change: dict[str, Any], path: str
) -> None:
    trial_id = stored(practice)
    body = {"id": str(uuid4()), "patch": {"tool": "crayon"}, "reason": WHY} | change
    answer = ferry(practice).post(f"/api/trials/{trial_id}/amendments", json=body)
    assert_problem(answer, 422, path)
    assert rows(practice, "SELECT count(*) FROM amendment") == [(0,)]


@pytest.mark.parametrize(
    ("name", "status"), [("lantern", 404), ("beacon", 403), ("purser", 403), ("harbour", 201)]
)
def test_only_those_who_see_a_trial_may_amend_it(
    practice: Practice, name: str, status: int
) -> None:
    trial_id, desk = stored(practice), practice.desk(name)
    answer = amend(practice, trial_id, desk, position="standing")
    assert answer.status_code == status
    read = desk.get(f"/api/trials/{trial_id}/amendments")
    assert read.status_code == (200 if status == 201 else status)
    body = {"id": str(uuid4()), "patch": {"tool": "crayon"}, "reason": WHY}
    path = f"/api/trials/{trial_id}/amendments"
    assert_problem(practice.client.post(path, json=body), 401)
    assert_problem(practice.tablet().post(path, json=body), 401)


def test_amendments_at_once_get_one_number_each(practice: Practice) -> None:
    trial_id = stored(practice)
    desks = [practice.desk("ferry") for _ in range(3)]
    start = threading.Barrier(len(desks))

    def send(number: int) -> Any:
        start.wait()
        body = {"id": str(uuid4()), "patch": {"position": f"place_{number}"}, "reason": WHY}
        return desks[number].post(f"/api/trials/{trial_id}/amendments", json=body)

    with ThreadPoolExecutor(len(desks)) as threads:
        answers = list(threads.map(send, range(len(desks))))
    assert [one.status_code for one in answers] == [201] * 3
    assert sorted(one.json()["amendment_no"] for one in answers) == [1, 2, 3]
    last = max(answers, key=lambda one: one.json()["amendment_no"]).json()
    assert shown(practice, trial_id)["position"] == last["patch"]["position"]


def test_a_result_is_not_current_once_an_amendment_came_while_it_was_computed(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    from server import store_trials

    trial_id = stored(practice)
    amend(practice, trial_id, position="standing")
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        connection.execute("DELETE FROM measure_value")
        connection.execute("DELETE FROM result")
    real, met = store_trials.compute, []

    def slow(trial: Any, document: Any) -> ResultRow:
        met.append(document.count)
        if len(met) == 1:
            amend(practice, trial_id, position="kneeling")
        return real(trial, document)

    monkeypatch.setattr(store_trials, "compute", slow)
    with practice.app.state.sessions() as db:
        trial = trial_by_id(db, trial_id)
        assert trial is not None
        result = result_of(db, trial)
        assert [one.amendment_no for one in amendments_of(db, trial_id)] == [1, 2]
    assert (result.amendment_no, result.facts["position"]) == (2, "kneeling")
    assert met[0] == 1
    assert shown(practice, trial_id)["position"] == "kneeling"


def test_a_crash_in_scoring_does_not_lose_the_amendment(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    def crash(*_args: object) -> None:
        raise ZeroDivisionError("invented")

    trial_id = stored(practice)
    with monkeypatch.context() as patch:
        patch.setattr("server.scoring.Workings", crash)
        assert amend(practice, trial_id, midline_x_mm=120.0).status_code == 201
    assert shown(practice, trial_id)["midline_offset_mm"] == 100.0  # [C] line at 120, guide from 20


def test_amending_is_noted_with_the_child_it_belongs_to(practice: Practice) -> None:
    trial_id = stored(practice)
    amend(practice, trial_id, position="standing")
    noted = rows(
        practice, "SELECT account_id, kind, object_id, child_id FROM audit WHERE verb = 'amended'"
    )
    assert noted == [(practice.ids["ferry"], "trial", trial_id, practice.ids["Gull"])]


def test_amendments_apply_in_order_and_leave_the_document_alone() -> None:
    document = read_trial(raw_of(drawn()))
    patches = [{"tool": "crayon", "hand_used": "left"}, {"midline_x_mm": 90.0}, {"tool": "chalk"}]
    found = amended(document, patches)
    assert (found.count, found.hand_used) == (3, "left")
    assert found.document.condition.tool == "chalk"
    guide = found.document.guide
    assert (guide.midline_x_mm, guide.midline_source) == (90.0, AMENDED)
    assert document == read_trial(raw_of(drawn(trial_id=document.trial_id)))
    assert amended(document, []).document is document
