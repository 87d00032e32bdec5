"""Goals: set and changed version by version, read by everybody linked."""

import sqlite3
from contextlib import closing
from typing import Any
from uuid import uuid4

import pytest

from server.problems import Problem
from server.store_goals import add_version, versions_of
from tests.practice import Practice
from tests.problem_form import assert_problem

SECRET = "puffin_never_to_be_repeated"
GOAL = {
    "measure": "in_corridor_share",
    "criterion": {"at_least": 0.8},
    "k": 4,
    "n": 5,
    "days": 2,
    "conditions": {
        "task_id": "quay-edge",
        "corridor_mm": 8.0,
        "hand": "left",
        "direction": "left_to_right",
        "position": "seated",
        "tool": "stylus",
    },
    "help": {"setup": False, "cues_at_most": {"verbal": 1}, "physical_at_most": "minimal"},
    "purpose": "Writing the menu of the harbour kitchen.",
    "due": "2026-05-01",
    "baseline": {"k": 1, "n": 5, "day": "2026-03-02", "value": 0.45},
}


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def goals(practice: Practice, nickname: str = "Gull") -> str:
    return f"/api/children/{practice.ids[nickname]}/goals"


def set_goal(practice: Practice, **change: Any) -> dict[str, Any]:
    answer = practice.desk("harbour").post(goals(practice), json=GOAL | change)
    assert answer.status_code == 201, answer.text
    goal: dict[str, Any] = answer.json()
    return goal


def test_a_goal_is_kept_with_its_unit_and_all_its_help(practice: Practice) -> None:
    goal = set_goal(practice)
    assert goal == GOAL | {
        "goal_id": goal["goal_id"],
        "child_id": practice.ids["Gull"],
        "version": 1,
        "status": "open",
        "criterion": {"at_least": 0.8, "unit": "1"},
        "help": {
            "setup": False,
            "cues_at_most": {"verbal": 1, "gesture": 0, "demonstration": 0},
            "physical_at_most": "minimal",
        },
        "account_id": practice.ids["harbour"],
        "at": "2026-03-03T12:00:00+00:00",
    }
    ferry = practice.desk("ferry")
    assert ferry.get(goals(practice)).json() == {"goals": [goal]}
    assert ferry.get(f"/api/goals/{goal['goal_id']}").json() == {"versions": [goal]}
    found = rows(practice, "SELECT account_id, verb, child_id FROM audit WHERE kind = 'goal'")
    assert (practice.ids["harbour"], "added", practice.ids["Gull"]) in found
    assert (practice.ids["ferry"], "saw", practice.ids["Gull"]) in found


def test_without_more_said_only_setting_up_is_allowed(practice: Practice) -> None:
    goal = set_goal(practice, help={}, conditions={"corridor_mm": 8}, baseline=None, due=None)
    assert goal["help"] == {
        "setup": True,
        "cues_at_most": {"verbal": 0, "gesture": 0, "demonstration": 0},
        "physical_at_most": "none",
    }
    assert goal["conditions"] == {"corridor_mm": 8.0}
    assert (goal["baseline"], goal["due"]) == (None, None)


def test_a_change_is_a_new_version_and_the_old_one_stays(practice: Practice) -> None:
    first = set_goal(practice)
    harbour = practice.desk("harbour")
    address = f"/api/goals/{first['goal_id']}/versions"
    answer = harbour.post(address, json=GOAL | {"based_on": 1, "status": "met", "k": 3})
    assert answer.status_code == 201
    second = answer.json()
    assert (second["version"], second["status"], second["k"]) == (2, "met", 3)
    told = harbour.get(f"/api/goals/{first['goal_id']}").json()["versions"]
    assert told == [first, second]
    assert harbour.get(goals(practice)).json()["goals"] == [second]
    found = rows(practice, "SELECT object_id, child_id FROM audit WHERE verb = 'changed'")
    assert found == [(first["goal_id"], practice.ids["Gull"])]


@pytest.mark.parametrize("based_on", [1, 3])
def test_a_change_of_another_version_than_the_newest_is_refused(
    practice: Practice, based_on: int
) -> None:
    goal_id = set_goal(practice)["goal_id"]
    harbour, address = practice.desk("harbour"), f"/api/goals/{goal_id}/versions"
    assert harbour.post(address, json=GOAL | {"based_on": 1}).status_code == 201
    assert_problem(harbour.post(address, json=GOAL | {"based_on": based_on}), 409)
    assert rows(practice, "SELECT version FROM goal") == [(1,), (2,)]


def test_of_two_changes_at_once_one_is_stored(practice: Practice) -> None:
    goal_id = set_goal(practice)["goal_id"]
    content = {name: GOAL[name] for name in ("measure", "criterion", "k", "n", "days", "purpose")}
    content |= {"conditions": {}, "help": {}, "status": "open"}
    by = {"account_id": practice.ids["harbour"], "at": practice.clock.now}
    sessions = practice.app.state.sessions
    with sessions() as one, sessions() as other:
        # Both have read version 1 before either writes.
        read_by_one, read_by_other = versions_of(one, goal_id)[-1], versions_of(other, goal_id)[-1]
        add_version(one, read_by_one, 1, content, **by)
        one.commit()
        with pytest.raises(Problem) as refused:
            add_version(other, read_by_other, 1, content, **by)
    assert refused.value.status == 409
    assert rows(practice, "SELECT version FROM goal") == [(1,), (2,)]


def test_goals_are_listed_in_the_order_in_which_they_were_set(practice: Practice) -> None:
    first = set_goal(practice)
    practice.clock.move(minutes=1)
    second = set_goal(practice, k=2)
    practice.clock.move(minutes=1)
    address = f"/api/goals/{first['goal_id']}/versions"
    practice.desk("harbour").post(address, json=GOAL | {"based_on": 1})
    listed = practice.desk("ferry").get(goals(practice)).json()["goals"]
    assert [one["goal_id"] for one in listed] == [first["goal_id"], second["goal_id"]]
    assert [one["version"] for one in listed] == [2, 1]


def test_assistants_read_supervisors_write_and_others_see_nothing(practice: Practice) -> None:
    goal_id = set_goal(practice)["goal_id"]
    address = f"/api/goals/{goal_id}"
    body = GOAL | {"based_on": 1}
    reading = (goals(practice), address, f"{address}/progress")
    for path in reading:
        assert practice.desk("ferry").get(path).status_code == 200
        assert_problem(practice.desk("lantern").get(path), 404)
        assert_problem(practice.desk("beacon").get(path), 403)
        assert_problem(practice.desk("purser").get(path), 403)
        assert_problem(practice.client.get(path), 401)
        assert_problem(practice.tablet().get(path), 401)
    for name in ("ferry", "lantern", "beacon", "purser"):
        assert_problem(practice.desk(name).post(goals(practice), json=GOAL), 403)
        assert_problem(practice.desk(name).post(f"{address}/versions", json=body), 403)
    assert_problem(practice.desk("harbour").post(goals(practice, "Wren"), json=GOAL), 404)
    assert_problem(practice.desk("harbour").get("/api/goals/nothing"), 404)
    assert rows(practice, "SELECT count(*) FROM goal") == [(1,)]


BAD_GOALS = [
    ({"measure": SECRET}, "/measure"),
    ({"measure": "trend_slope"}, "/measure"),
    # Strokes of a pen along a cutting line: practice, not cutting.
    ({"measure": "snip_count", "criterion": {"at_least": 6}}, "/measure"),
    ({"measure": None}, "/measure"),
    ({"criterion": {}}, "/criterion"),
    ({"criterion": {"at_least": None}}, "/criterion"),
    ({"criterion": {"at_least": "0.8"}}, "/criterion/at_least"),
    ({"criterion": {"at_least": 80}}, "/criterion/at_least"),
    ({"measure": "completion", "criterion": {"at_least": 80}}, "/criterion/at_least"),
    ({"measure": "cut_overlap", "criterion": {"at_least": 80}}, "/criterion/at_least"),
    ({"criterion": {"at_most": -0.1}}, "/criterion/at_most"),
    ({"criterion": {"at_least": 0.8, "at_most": 0.7}}, "/criterion/at_most"),
    ({"criterion": {"at_least": 0.8, "unit": "mm"}}, "/criterion/unit"),
    ({"criterion": {"at_least": 0.8, SECRET: 1}}, "/criterion"),
    ({"k": 6}, "/k"),
    ({"k": 0}, "/k"),
    ({"k": True}, "/k"),
    ({"k": "4"}, "/k"),
    ({"k": 3.5}, "/k"),
    ({"n": 51}, "/n"),
    ({"days": 6}, "/days"),
    ({"days": 0}, "/days"),
    ({"conditions": {}}, "/conditions/corridor_mm"),
    ({"conditions": {"corridor_mm": 0}}, "/conditions/corridor_mm"),
    ({"conditions": {"corridor_mm": "8"}}, "/conditions/corridor_mm"),
    ({"conditions": {"corridor_mm": 8, "hand": SECRET}}, "/conditions/hand"),
    ({"conditions": {"corridor_mm": 8, "task_id": "a b"}}, "/conditions/task_id"),
    ({"conditions": {"corridor_mm": 8, "position": "On the Floor"}}, "/conditions/position"),
    ({"help": {"setup": "yes"}}, "/help/setup"),
    ({"help": {"cues_at_most": {"verbal": -1}}}, "/help/cues_at_most/verbal"),
    ({"help": {"cues_at_most": {SECRET: 1}}}, "/help/cues_at_most"),
    ({"help": {"physical_at_most": SECRET}}, "/help/physical_at_most"),
    ({"purpose": ""}, "/purpose"),
    ({"purpose": f"{SECRET}\x07"}, "/purpose"),
    ({"purpose": "x" * 501}, "/purpose"),
    ({"due": "tomorrow"}, "/due"),
    ({"due": 20260501}, "/due"),
    # No trial could ever count towards these.
    ({"due": "2026-03-02"}, "/due"),
    ({"measure": "steering_index_of_difficulty", "criterion": {"at_least": 1}}, "/measure"),
    ({"measure": "corner_count", "criterion": {"at_least": 1}}, "/measure"),
    ({"measure": "turning_total", "criterion": {"at_least": 1}}, "/measure"),
    ({"conditions": {"corridor_mm": 8, "task_id": "puffin"}}, "/conditions/task_id"),
    *(
        ({"conditions": {"corridor_mm": 12, **asked}}, f"/conditions/{name}")
        for name, asked in (
            ("direction", {"task_id": "quay-edge", "direction": "upward"}),
            ("direction", {"task_id": "two-islands", "direction": "left_to_right"}),
            ("direction", {"task_id": "buoy", "direction": "left_to_right"}),
            ("hand", {"task_id": "quay-edge", "hand": "both"}),
            ("hand", {"task_id": "two-oars", "hand": "left"}),
        )
    ),
    ({"conditions": {"corridor_mm": 12, "task_id": "mooring-posts"}}, "/measure"),
    (
        {"measure": "hit_share", "conditions": {"corridor_mm": 12, "task_id": "portholes"}},
        "/conditions/corridor_mm",
    ),
    # On paper no line is recorded.
    ({"conditions": {"corridor_mm": 12, "task_id": "tar-line"}}, "/measure"),
    ({"conditions": {"corridor_mm": 12.7, "task_id": "crate-card"}}, "/measure"),
    (
        {
            "measure": "cut_within_tolerance_share",
            "conditions": {"corridor_mm": 12, "task_id": "quay-edge"},
        },
        "/measure",
    ),
    ({"id": "x"}, "/id"),
    ({"baseline": {"k": 6, "n": 5, "day": "2026-03-02"}}, "/baseline/k"),
    ({"baseline": {"k": 1, "n": 5, "day": "2026-03-04"}}, "/baseline/day"),
    ({"baseline": {"k": 1, "n": 0, "day": "2026-03-02"}}, "/baseline/n"),
    ({"status": SECRET}, "/status"),
    ({SECRET: 1}, ""),
]


@pytest.mark.parametrize(("change", "path"), BAD_GOALS)
def test_a_goal_that_does_not_fit_is_refused_without_repeating_it(
    practice: Practice, change: dict[str, Any], path: str
) -> None:
    goal_id, harbour = set_goal(practice)["goal_id"], practice.desk("harbour")
    new = harbour.post(goals(practice), json=GOAL | change)
    assert_problem(new, 422, path)
    if path == "/id":
        path = ""  # a version has the id of its goal
    version = harbour.post(f"/api/goals/{goal_id}/versions", json=GOAL | change | {"based_on": 1})
    assert_problem(version, 422, path)
    assert SECRET not in new.text + version.text
    assert rows(practice, "SELECT count(*) FROM goal") == [(1,)]


@pytest.mark.parametrize("based_on", [None, 0, "1", True, 2**40])
def test_a_change_says_of_which_version_it_is(practice: Practice, based_on: Any) -> None:
    address = f"/api/goals/{set_goal(practice)['goal_id']}/versions"
    harbour = practice.desk("harbour")
    refused = harbour.post(address, json=GOAL | {"based_on": based_on})
    assert_problem(refused, 422, "/based_on")
    assert_problem(harbour.post(address, json=GOAL), 422, "/based_on")
    assert rows(practice, "SELECT count(*) FROM goal") == [(1,)]


def test_everything_that_does_not_fit_together_is_told_at_once(practice: Practice) -> None:
    body = GOAL | {"k": 9, "days": 9, "criterion": {}, "conditions": {}}
    told = assert_problem(practice.desk("harbour").post(goals(practice), json=body), 422)
    assert {one["path"] for one in told["errors"]} == {
        "/k",
        "/days",
        "/criterion",
        "/conditions/corridor_mm",
    }


def test_a_goal_that_is_sent_again_after_its_day_is_there_already(practice: Practice) -> None:
    sent = GOAL | {"id": str(uuid4()), "due": "2026-03-04"}
    first = practice.desk("harbour").post(goals(practice), json=sent)
    assert first.status_code == 201, first.text
    practice.clock.move(days=5)
    harbour = practice.desk("harbour")
    again = harbour.post(goals(practice), json=sent)
    assert (again.status_code, again.json()) == (200, first.json())
    # What is not the same is a goal to be set: its day is over, or its id is taken.
    assert_problem(harbour.post(goals(practice), json=sent | {"k": 3}), 422)
    assert_problem(harbour.post(goals(practice), json=sent | {"k": 3, "due": None}), 409)
    assert_problem(harbour.post(goals(practice), json=sent | {"id": str(uuid4())}), 422)
    assert_problem(harbour.post(goals(practice), json=sent | {"measure": "tidiness"}), 422)
    assert rows(practice, "SELECT count(*) FROM goal") == [(1,)]
    assert rows(practice, "SELECT count(*) FROM audit WHERE verb = 'added'") == [(1,)]
