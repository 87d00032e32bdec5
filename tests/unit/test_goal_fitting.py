"""Goals that can be met, and goals that are sent twice."""

from typing import Any

import pytest

from analysis.registry import MEASURES
from analysis.report import make_report
from analysis.workings import Workings
from server import goal_bodies
from server.documents import read_trial
from server.goal_bodies import speaks_against
from server.store_children import link
from server.store_goals import add_goal, versions_of
from server.tables import Account, Child
from tests.practice import TODAY, Practice, drawn, raw_of
from tests.problem_form import assert_problem
from tests.unit.test_goals import GOAL, goals, rows, set_goal

SENT_ID = "12121212-1212-4212-8212-121212121212"
SOUND_GOALS: list[dict[str, Any]] = [
    {"conditions": {"corridor_mm": 12, "task_id": "buoy", "direction": "anticlockwise"}},
    {"conditions": {"corridor_mm": 12, "task_id": "quay-edge", "direction": "right_to_left"}},
    {"conditions": {"corridor_mm": 12, "hand": "both", "direction": "upward"}},
    {"conditions": {"corridor_mm": 24, "task_id": "two-oars", "hand": "both"}},
    {
        "measure": "hit_share",
        "conditions": {"task_id": "portholes", "hand": "free"},
    },
    {
        "measure": "cut_within_tolerance_share",
        "conditions": {"corridor_mm": 12.7, "task_id": "crate-card"},
    },
    # A plan may ask for a width that is no step of the task.
    {"conditions": {"corridor_mm": 11, "task_id": "quay-edge"}},
    {"due": "2026-03-04"},
    {"due": None},
]


@pytest.mark.parametrize("change", SOUND_GOALS)
def test_what_a_task_can_be_asked_for_may_be_a_goal(
    practice: Practice, change: dict[str, Any]
) -> None:
    assert set_goal(practice, **change)["version"] == 1


def test_a_measure_of_the_path_is_the_same_whoever_draws() -> None:
    guide_only = [entry.id for entry in MEASURES if speaks_against(entry) == goal_bodies.OF_GUIDE]
    near, far = (
        make_report(Workings(read_trial(raw_of(drawn(beside_mm=mm))).to_trial()))["measures"]
        for mm in (0.5, 5.0)
    )
    assert guide_only == ["steering_index_of_difficulty", "corner_count", "turning_total"]
    assert all(near[name] == far[name] for name in guide_only)
    assert near["steering_rate"] != far["steering_rate"]


def test_fewer_days_than_a_goal_asks_for_are_too_few(practice: Practice) -> None:
    asked = GOAL | {"due": "2026-03-04", "days": 3}
    assert_problem(practice.desk("harbour").post(goals(practice), json=asked), 422, "/due")


def test_a_goal_that_could_not_be_set_any_more_can_still_be_ended(practice: Practice) -> None:
    address = f"/api/goals/{set_goal(practice)['goal_id']}/versions"
    late = GOAL | {"due": "2026-03-02", "based_on": 1}
    harbour = practice.desk("harbour")
    assert_problem(harbour.post(address, json=late), 422, "/due")
    ended = harbour.post(address, json=late | {"status": "stopped"})
    assert (ended.status_code, ended.json()["due"]) == (201, "2026-03-02")
    opened = late | {"based_on": 2, "status": "open"}
    assert_problem(harbour.post(address, json=opened), 422, "/due")


def test_a_goal_that_is_sent_twice_is_one_goal(practice: Practice) -> None:
    body, harbour = GOAL | {"id": SENT_ID}, practice.desk("harbour")
    first = harbour.post(goals(practice), json=body)
    assert (first.status_code, first.json()["goal_id"]) == (201, SENT_ID)
    again = harbour.post(goals(practice), json=body)
    assert (again.status_code, again.json()) == (200, first.json())
    assert_problem(harbour.post(goals(practice), json=body | {"k": 3}), 409)
    # Changed since, it is still the goal that was sent, as it is now.
    changed = GOAL | {"based_on": 1, "k": 3}
    assert harbour.post(f"/api/goals/{SENT_ID}/versions", json=changed).status_code == 201
    last = harbour.post(goals(practice), json=body)
    assert (last.status_code, last.json()["version"]) == (200, 2)
    assert rows(practice, "SELECT count(DISTINCT id) FROM goal") == [(1,)]
    written = "SELECT count(*) FROM audit WHERE kind = 'goal' AND verb = 'added'"
    assert rows(practice, written) == [(1,)]


def test_an_id_says_nothing_of_the_goal_of_another_child(practice: Practice) -> None:
    set_goal(practice, id=SENT_ID)
    with practice.app.state.sessions() as db:
        harbour, wren = (
            db.get_one(table, practice.ids[name])
            for table, name in ((Account, "harbour"), (Child, "Wren"))
        )
        link(db, harbour, wren, TODAY)
        db.commit()
    taken = practice.desk("harbour").post(goals(practice, "Wren"), json=GOAL | {"id": SENT_ID})
    assert_problem(taken, 409)
    assert practice.ids["Gull"] not in taken.text
    assert rows(practice, "SELECT count(*) FROM goal") == [(1,)]


def test_of_two_equal_goals_at_once_one_is_stored(practice: Practice) -> None:
    content = {
        name: set_goal(practice)[name]
        for name in ("measure", "criterion", "k", "n", "days", "conditions", "help", "purpose")
    } | {"due": None, "baseline": None, "status": "open"}
    known: dict[str, Any] = {"account_id": practice.ids["harbour"], "at": practice.clock.now}
    with practice.app.state.sessions() as one, practice.app.state.sessions() as other:
        assert versions_of(other, SENT_ID) == []
        add_goal(one, practice.ids["Gull"], content, goal_id=SENT_ID, **known)
        one.commit()
        goal, created = add_goal(other, practice.ids["Gull"], content, goal_id=SENT_ID, **known)
        assert (goal.id, created) == (SENT_ID, False)


def test_a_measure_that_does_not_depend_on_the_width_needs_none(practice: Practice) -> None:
    goal = set_goal(
        practice,
        measure="deviation_mean_abs",
        criterion={"at_most": 2, "unit": "mm"},
        conditions={},
    )
    assert goal["criterion"] == {"at_most": 2.0, "unit": "mm"}


@pytest.mark.parametrize(
    "measure",
    [
        "departure_count",
        "departure_length",
        "departure_duration",
        "departure_max",
        "steering_rate",
        "cut_within_tolerance_share",
    ],
)
def test_whatever_depends_on_the_width_carries_it(practice: Practice, measure: str) -> None:
    body = GOAL | {"measure": measure, "criterion": {"at_most": 1}, "conditions": {}}
    answer = practice.desk("harbour").post(goals(practice), json=body)
    assert_problem(answer, 422, "/conditions/corridor_mm")
