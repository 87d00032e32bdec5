"""Tasks through the API: the library, and the practice's own with their revisions."""

import json
import math
import sqlite3
from contextlib import closing
from typing import Any

import pytest

from server.formats import TaskDocument
from server.library import LIBRARY, placed
from server.library_steps import Step
from server.problems import Problem
from server.store_tasks import revise_task, task_by_id
from tests.practice import Practice
from tests.problem_form import assert_problem

# A kite's tail, somewhere on the page, and what it is at the origin.
TAIL = {"name": "Kite tail", "mode": "trace", "points_mm": [[15, 25], [105, 25], [105, 65]]}
NOBODY = "own-00000000ff"


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def listed(practice: Practice, query: str = "") -> list[Any]:
    answer = practice.desk("ferry").get(f"/api/tasks{query}")
    assert answer.status_code == 200, answer.text
    found: list[Any] = answer.json()["tasks"]
    return found


def made(practice: Practice, **other: Any) -> dict[str, Any]:
    answer = practice.desk("ferry").post("/api/tasks", json=TAIL | other)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    TaskDocument.model_validate(found["task"])
    return found


def steps(entry: dict[str, Any]) -> list[float]:
    return [one["value"] for one in entry["steps"]]


# The library


def test_the_library_is_listed_with_its_steps_and_without_its_points(practice: Practice) -> None:
    tasks = listed(practice)
    assert [one["task"]["task_id"] for one in tasks] == [task["task_id"] for task in LIBRARY]
    assert len(tasks) == 24
    assert not any({"parts", "targets_mm", "template"} & set(one["task"]) for one in tasks)
    swell = next(one for one in tasks if one["task"]["task_id"] == "swell")
    assert (swell["own"], swell["retired"], swell["revision"]) == (False, False, 1)
    # [C] TRADE section 3: Swell from 18 down to 8 mm
    assert swell["steps"] == [
        {"dimension": "corridor_mm", "value": width, "unit": "mm", "corridor_mm": width}
        for width in (18.0, 12.0, 8.0)
    ]


def test_a_library_task_is_told_with_its_points_and_its_guide_s_id(practice: Practice) -> None:
    answer = practice.desk("ferry").get("/api/tasks/swell").json()
    (only,) = answer["revisions"]
    swell = next(task for task in LIBRARY if task["task_id"] == "swell")
    assert only["task"] == json.loads(json.dumps(swell))
    assert only["guide_id"] == placed(swell, screen_mm=(207, 136))["id"]


def test_library_tasks_are_neither_revised_nor_retired(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    for path, body in (("revisions", TAIL | {"based_on": 1}), ("retire", {"based_on": 1})):
        problem = assert_problem(ferry.post(f"/api/tasks/swell/{path}", json=body), 409)
        assert problem["detail"].startswith("The library's own tasks do not change.")
    assert rows(practice, "SELECT count(*) FROM task") == [(0,)]


# The practice's own


def test_an_own_task_lies_at_the_origin_and_has_the_steps_that_fit(practice: Practice) -> None:
    entry = made(practice)
    task = entry["task"]
    assert task["task_id"].startswith("own-")
    assert len(task["task_id"]) == 14
    assert task["parts"] == [
        {"points_mm": [[0, 0], [90, 0], [90, 40]], "closed": False, "corridor_mm": 12.0}
    ]
    assert task["size_mm"] == [90.0, 40.0]
    assert (task["direction"], task["reversible"], task["medium"]) == (
        "left_to_right",
        True,
        "tablet",
    )
    assert task["criterion"] == {"measure": "in_corridor_share", "at_least": 0.8}
    assert steps(entry) == [24.0, 18.0, 12.0, 8.0, 6.0]
    assert (entry["own"], entry["retired"], entry["revision"]) == (True, False, 1)
    assert entry["guide_id"] == placed(task, screen_mm=(207, 136))["id"]
    assert rows(practice, "SELECT guide_id, account_id FROM task") == [
        (entry["guide_id"], practice.ids["ferry"])
    ]
    # Every therapist of the practice may use it.
    other = practice.desk("lantern").get(f"/api/tasks/{task['task_id']}").json()
    assert other["revisions"] == [entry]


def test_a_width_of_one_s_own_becomes_the_usual_one_of_the_ladder(practice: Practice) -> None:
    entry = made(practice, corridor_mm=10.5)
    assert steps(entry) == [24.0, 18.0, 12.0, 10.5, 8.0, 6.0]
    assert entry["task"]["parts"][0]["corridor_mm"] == 10.5
    assert entry["task"]["grade"] == {
        "down": {"corridor_mm": [12.0, 18.0, 24.0]},
        "up": {"corridor_mm": [8.0, 6.0]},
    }


def test_what_is_said_of_a_task_is_kept(practice: Practice) -> None:
    said = {
        "use": "probe",
        "reversible": False,
        "criterion": {"measure": "deviation_mean_abs", "at_most": 3},
        "cautions": ["Not when tired."],
        "direction": "left_to_right",
    }
    task = made(practice, **said)["task"]
    assert {key: task[key] for key in said} == said
    assert made(practice, criterion=None)["task"]["criterion"] is None


def test_a_drawing_s_path_becomes_a_task(practice: Practice) -> None:
    # Half a circle of radius 40 mm in units of 2 mm.
    body = {"points_mm": None, "svg_path": "M 0 20 a 20 20 0 0 1 40 0", "mm_per_unit": 2}
    task = made(practice, **body)["task"]
    assert task["size_mm"] == pytest.approx([80.0, 40.0], abs=0.02)  # [C]
    points = task["parts"][0]["points_mm"]
    base = points[0][1]
    assert (points[0][0], points[-1]) == (0.0, [80.0, base])
    off = [abs(math.dist(point, (40.0, base)) - 40.0) for point in points]
    assert max(off) < 0.02


def test_two_lines_for_two_hands_lie_where_they_were_drawn(practice: Practice) -> None:
    lines = [{"points_mm": [[x, 10], [x, 90]]} for x in (20, 120)]
    task = made(practice, points_mm=None, parts=lines, mode="both")["task"]
    assert [part["points_mm"] for part in task["parts"]] == [
        [[0, 0], [0, 80]],
        [[100, 0], [100, 80]],
    ]
    # Each hand runs down, though the second line begins at the right of the first.
    assert task["direction"] == "downward"
    assert placed(task, screen_mm=(207, 136), direction="upward")["parts"][0]["points_mm"] == [
        [53.5, 108.0],
        [53.5, 28.0],
    ]


def test_a_cut_carries_its_template_and_its_caution(practice: Practice) -> None:
    square = [[0, 0], [60, 0], [60, 60], [0, 60]]
    entry = made(practice, points_mm=square, closed=True, mode="cut", cautions=["Thin card."])
    task = entry["task"]
    assert task["medium"] == "paper"
    assert steps(entry) == [25.4, 12.7, 6.35]  # [C] TRADE section 3, as full widths
    assert task["template"] == {"points_mm": square, "closed": True, "corridor_mm": 12.7}
    assert task["criterion"]["measure"] == "cut_within_tolerance_share"
    assert len(task["cautions"]) == 2
    assert task["cautions"][0].startswith("An adult stays beside the child;")


def dots(*places: tuple[float, float], radius: float = 6.0) -> list[dict[str, Any]]:
    return [{"x": x, "y": y, "radius": radius, "order": at} for at, (x, y) in enumerate(places)]


def test_dots_are_kept_in_their_order_with_the_sizes_that_leave_them_apart(
    practice: Practice,
) -> None:
    # Sent in another order than they are to be joined in; 18 mm apart at the nearest.
    sent = list(reversed(dots((30, 30), (48, 30), (48, 80))))
    entry = made(practice, points_mm=None, targets_mm=sent, mode="join")
    task = entry["task"]
    assert [[dot["x"], dot["y"], dot["order"]] for dot in task["targets_mm"]] == [
        [0, 0, 0],
        [18, 0, 1],
        [18, 50, 2],
    ]
    assert steps(entry) == [18.0, 12.0, 8.0]
    assert task["direction"] == "downward"
    assert task["criterion"] == {"measure": "completion", "at_least": 1.0}


def test_dots_of_several_sizes_have_no_ladder(practice: Practice) -> None:
    sent = [*dots((0, 0)), {"x": 50, "y": 0, "radius": 9, "order": 1}]
    entry = made(practice, points_mm=None, targets_mm=sent, mode="tap", direction="none")
    assert entry["task"]["grade"] == {"down": {}, "up": {}}
    assert [one["dimension"] for one in entry["steps"]] == ["length_mm"]
    assert entry["task"]["reversible"] is False


# Revisions


def test_a_revision_is_added_and_the_one_before_stays(practice: Practice) -> None:
    first = made(practice)
    path = f"/api/tasks/{first['task']['task_id']}"
    harbour = practice.desk("harbour")
    longer = TAIL | {"points_mm": [[0, 0], [120, 0]], "based_on": 1}
    answer = harbour.post(f"{path}/revisions", json=longer)
    assert answer.status_code == 201
    second = answer.json()
    assert second["revision"] == second["task"]["revision"] == 2
    assert second["task"]["size_mm"] == [120.0, 0.0]
    assert harbour.get(path).json()["revisions"] == [first, second]
    mine = [one for one in listed(practice) if one["own"]]
    assert [one["revision"] for one in mine] == [2]
    with practice.app.state.sessions() as db:
        task_id = first["task"]["task_id"]
        assert task_by_id(db, task_id) == second["task"]
        assert task_by_id(db, task_id, 1) == first["task"]
        assert task_by_id(db, task_id, 3) is None
        assert task_by_id(db, NOBODY) is None
        assert task_by_id(db, "swell", 2) is None
        assert task_by_id(db, "swell", 1) == task_by_id(db, "swell")


def test_of_two_revisions_of_the_same_one_the_second_is_refused(practice: Practice) -> None:
    path = f"/api/tasks/{made(practice)['task']['task_id']}"
    body = TAIL | {"based_on": 1}
    assert practice.desk("ferry").post(f"{path}/revisions", json=body).status_code == 201
    for where, sent in (("revisions", body), ("retire", {"based_on": 1})):
        problem = assert_problem(practice.desk("harbour").post(f"{path}/{where}", json=sent), 409)
        assert problem["detail"].startswith("This task has been changed in the meantime.")
    assert rows(practice, "SELECT revision, retired FROM task") == [(1, 0), (2, 0)]


def test_a_revision_that_another_connection_stores_first_is_kept(practice: Practice) -> None:
    task = made(practice)["task"]
    path, body = f"/api/tasks/{task['task_id']}/revisions", TAIL | {"based_on": 1}
    ferry, account = practice.desk("ferry"), practice.ids["harbour"]

    def make(_task_id: str, revision: int) -> dict[str, Any]:
        assert ferry.post(path, json=body | {"name": "Kite string"}).status_code == 201
        return task | {"revision": revision}

    with practice.app.state.sessions() as db, pytest.raises(Problem) as refused:
        revise_task(db, task["task_id"], 1, make, account_id=account, at=practice.clock.now)
    assert refused.value.status == 409
    names = "SELECT revision, document ->> '$.name' FROM task"
    assert rows(practice, names) == [(1, "Kite tail"), (2, "Kite string")]


def test_a_retired_task_is_not_offered_and_stays_what_it_was(practice: Practice) -> None:
    first = made(practice)
    task_id = first["task"]["task_id"]
    ferry = practice.desk("ferry")
    answers = [
        ferry.post(f"/api/tasks/{task_id}/retire", json={"based_on": at}) for at in (1, 2, 2)
    ]
    assert [one.status_code for one in answers] == [200] * 3
    assert [one.json()["revision"] for one in answers] == [2] * 3
    assert answers[0].json()["task"] == first["task"] | {"revision": 2}
    assert [one for one in listed(practice) if one["own"]] == []
    assert [one["retired"] for one in listed(practice, "?retired=true") if one["own"]] == [True]
    with practice.app.state.sessions() as db:
        assert task_by_id(db, task_id) is None
        assert task_by_id(db, task_id, 1) == first["task"]
    again = ferry.post(f"/api/tasks/{task_id}/revisions", json=TAIL | {"based_on": 2})
    assert (again.status_code, again.json()["revision"]) == (201, 3)
    assert [one["retired"] for one in listed(practice) if one["own"]] == [False]


def test_tasks_that_are_not_there_are_not_found(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    assert_problem(ferry.get(f"/api/tasks/{NOBODY}"), 404)
    assert_problem(ferry.post(f"/api/tasks/{NOBODY}/retire", json={"based_on": 1}), 404)
    body = TAIL | {"based_on": 1}
    assert_problem(ferry.post(f"/api/tasks/{NOBODY}/revisions", json=body), 404)


@pytest.mark.parametrize(("name", "status"), [("beacon", 403), ("purser", 403), (None, 401)])
def test_tasks_are_for_therapists_only(practice: Practice, name: str | None, status: int) -> None:
    task_id = made(practice)["task"]["task_id"]
    client = practice.client if name is None else practice.desk(name)
    for path in ("", "/swell", f"/{task_id}"):
        assert_problem(client.get(f"/api/tasks{path}"), status)
    for path, body in (
        ("", TAIL),
        (f"/{task_id}/revisions", TAIL | {"based_on": 1}),
        (f"/{task_id}/retire", {"based_on": 1}),
    ):
        assert_problem(client.post(f"/api/tasks{path}", json=body), status)
    assert rows(practice, "SELECT count(*) FROM task") == [(1,)]


def test_changes_and_looks_are_in_the_audit(practice: Practice) -> None:
    task_id = made(practice)["task"]["task_id"]
    harbour = practice.desk("harbour")
    harbour.get("/api/tasks")
    harbour.get(f"/api/tasks/{task_id}")
    harbour.post(f"/api/tasks/{task_id}/revisions", json=TAIL | {"based_on": 1})
    harbour.post(f"/api/tasks/{task_id}/retire", json={"based_on": 2})
    lines = rows(
        practice,
        "SELECT account_id, verb, kind, object_id FROM audit WHERE kind LIKE 'task%' "
        "ORDER BY number",
    )
    maker, looker = practice.ids["ferry"], practice.ids["harbour"]
    assert lines == [
        (maker, "made", "task", task_id),
        (looker, "saw", "tasks", None),
        (looker, "saw", "task", task_id),
        (looker, "revised", "task", task_id),
        (looker, "retired", "task", task_id),
    ]


# What does not fit

ZIGZAG = [[0, 0], [60, 60], [60, 0], [0, 60]]
LINE = {"points_mm": [[0, 0], [50, 0]]}
NONE = {"points_mm": None}


@pytest.mark.parametrize(
    ("other", "at"),
    [
        ({"name": ""}, "/name"),
        ({"name": "Gull\ntail"}, "/name"),
        ({"name": "x" * 121}, "/name"),
        ({"name": None}, "/name"),
        ({"mode": "fly"}, "/mode"),
        ({"mode": "tap"}, "/mode"),
        ({"use": "Gull"}, "/use"),
        ({"Gull": 1}, ""),
        ({"task_id": "own-0000000000"}, ""),
        ({"revision": 1}, ""),
        # Which way it is given
        (NONE, ""),
        ({"svg_path": "M 0 0 L 50 0", "mm_per_unit": 1}, ""),
        ({"mm_per_unit": 1.0}, "/mm_per_unit"),
        (NONE | {"parts": [LINE], "closed": True}, "/closed"),
        # Points
        ({"points_mm": []}, "/points_mm"),
        ({"points_mm": [[5, 5]]}, "/points_mm"),
        ({"points_mm": [[5, 5], [5, 5]]}, "/points_mm"),
        ({"points_mm": [[5, 5], [5]]}, "/points_mm/1"),
        ({"points_mm": [[5, 5], ["Gull", 5]]}, "/points_mm/1/0"),
        ({"points_mm": [[5, 5], [9, 5]]}, "/points_mm"),
        ({"points_mm": [[0, 0], [191, 0]]}, "/points_mm"),
        ({"points_mm": [[0, 0], [0, 116]]}, "/points_mm"),
        ({"points_mm": [[0, 0]] * 10_001}, "/points_mm"),
        # A drawing's path
        (NONE | {"svg_path": "Gull", "mm_per_unit": 1.0}, "/svg_path"),
        (NONE | {"svg_path": "M 0 0 L 50 0"}, "/mm_per_unit"),
        (NONE | {"svg_path": "M 0 0 L 50 0", "mm_per_unit": 0.0}, "/mm_per_unit"),
        # Several lines
        (NONE | {"parts": []}, "/parts"),
        (NONE | {"parts": [LINE, {"points_mm": [[1, 1]]}]}, "/parts/1/points_mm"),
        (NONE | {"parts": [LINE, {"points_mm": [[1, 1], [1, 1]]}]}, "/parts/1/points_mm"),
        (NONE | {"parts": [LINE, {"points_mm": [[1, 1], [1, 120]]}]}, "/parts"),
        (NONE | {"parts": [{"points_mm": [[1, 1], [1, 2]]}]}, "/parts"),
        (NONE | {"parts": [LINE | {"corridor_mm": 8}]}, "/parts/0"),
        (NONE | {"parts": [LINE] * 101}, "/parts"),
        ({"mode": "both"}, "/points_mm"),
        (NONE | {"parts": [LINE] * 3, "mode": "both"}, "/parts"),
        # Widths
        ({"corridor_mm": 0}, "/corridor_mm"),
        ({"corridor_mm": 8.001}, "/corridor_mm"),
        ({"corridor_mm": 99}, "/corridor_mm"),
        ({"corridor_mm": "8"}, "/corridor_mm"),
        # Cuts
        ({"mode": "cut"}, "/points_mm"),
        ({"mode": "cut", "points_mm": ZIGZAG, "closed": True}, "/points_mm"),
        ({"mode": "cut", "points_mm": ZIGZAG, "closed": True, "medium": "tablet"}, "/medium"),
        (NONE | {"mode": "cut", "parts": [LINE, LINE]}, "/parts"),
        ({"mode": "both", "medium": "paper"}, "/medium"),
        # Directions and criteria
        ({"direction": "right_to_left"}, "/direction"),
        ({"direction": "Gull"}, "/direction"),
        ({"points_mm": [[0, 0], [50, 0], [0, 0]], "reversible": True}, "/reversible"),
        ({"criterion": {"measure": "in_corridor_share"}}, "/criterion"),
        ({"criterion": {"measure": "gull", "at_least": 1}}, "/criterion/measure"),
        ({"criterion": {"measure": "hit_share", "at_least": 1}}, "/criterion/measure"),
        ({"criterion": {"measure": "in_corridor_share", "at_least": "a"}}, "/criterion/at_least"),
        ({"cautions": ["Gull\x00"]}, "/cautions/0"),
        ({"cautions": ["x"] * 11}, "/cautions"),
        # Dots
        (NONE | {"mode": "join", "targets_mm": dots((0, 0))}, "/targets_mm"),
        (NONE | {"mode": "join", "targets_mm": dots((0, 0), (5, 0))}, "/targets_mm"),
        (NONE | {"mode": "join", "targets_mm": dots((0, 0), (200, 0))}, "/targets_mm"),
        (NONE | {"mode": "tap", "targets_mm": dots((0, 0)) * 2}, "/targets_mm/1/order"),
        (
            NONE | {"mode": "tap", "targets_mm": dots((0, 0), (50, 0), radius=6.001)},
            "/targets_mm/0/radius",
        ),
        (NONE | {"mode": "trace", "targets_mm": dots((0, 0), (50, 0))}, "/mode"),
        (
            NONE | {"mode": "tap", "targets_mm": dots((0, 0), (50, 0)), "corridor_mm": 8},
            "/corridor_mm",
        ),
        (
            NONE | {"mode": "tap", "targets_mm": dots((0, 0), (50, 0)), "medium": "paper"},
            "/medium",
        ),
        (
            NONE | {"mode": "tap", "targets_mm": dots((0, 0), (50, 0)), "direction": "upward"},
            "/direction",
        ),
    ],
)
def test_a_task_that_does_not_fit_is_refused_with_its_place(
    practice: Practice, other: dict[str, Any], at: str
) -> None:
    body = {
        key: value for key, value in (TAIL | other).items() if value is not None or key == "name"
    }
    answer = practice.desk("ferry").post("/api/tasks", json=body)
    problem = assert_problem(answer, 422, at)
    assert problem["errors"][0]["detail"] != "This value does not fit the format."
    assert "gull" not in answer.text.lower()
    assert rows(practice, "SELECT count(*) FROM task") == [(0,)]
    assert rows(practice, "SELECT count(*) FROM audit WHERE kind = 'task'") == [(0,)]


@pytest.mark.parametrize("based_on", [None, 0, "1", 1.5, True])
def test_the_revision_that_a_change_builds_on_is_needed(practice: Practice, based_on: Any) -> None:
    path = f"/api/tasks/{made(practice)['task']['task_id']}"
    ferry = practice.desk("ferry")
    for where, body in (("revisions", TAIL), ("retire", {})):
        sent = body if based_on is None else body | {"based_on": based_on}
        assert_problem(ferry.post(f"{path}/{where}", json=sent), 422, "/based_on")
    assert rows(practice, "SELECT count(*) FROM task") == [(1,)]


def test_the_steps_of_an_own_task_fit_the_smallest_tablet(practice: Practice) -> None:
    # As wide and high as a tablet's path may be: only narrow corridors have room beside it.
    entry = made(practice, points_mm=[[0, 0], [190, 0], [190, 115]])
    assert steps(entry) == [12.0, 8.0, 6.0]  # [C] 207 - 190 = 17 mm of room
    for one in entry["steps"]:
        guide = placed(entry["task"], step=Step(**one), screen_mm=(207.0, 136.0))
        assert guide["corridor_mm"] == one["value"]
