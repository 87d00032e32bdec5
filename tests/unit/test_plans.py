"""Plans: versions that are added, items that are closed and never deleted."""

import json
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from copy import deepcopy
from typing import Any
from uuid import UUID

import pytest
from fastapi.testclient import TestClient

from server.library import LIBRARY
from server.plan_formats import PlanDocument
from tests.practice import PLAN_GULL, TELLING, Practice, plan
from tests.problem_form import assert_problem

NOWHERE = "Quillfeather"
ITEM = {"task_id": "high-bridge", "hand": "right", "repetitions": 2}


def rows(practice: Practice, query: str, *values: Any) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query, values).fetchall()


def path_of(practice: Practice, name: str = "Gull session") -> str:
    return f"/api/sessions/{practice.ids[name]}/plan"


def new_session(practice: Practice, client: TestClient, day: str) -> str:
    path = f"/api/children/{practice.ids['Gull']}/sessions"
    session_id = client.post(path, json={"day": day}).json()["session_id"]
    return f"/api/sessions/{session_id}/plan"


def held(client: TestClient, path: str) -> dict[str, Any]:
    answer: dict[str, Any] = client.get(path).json()
    return answer


def put(client: TestClient, path: str, based_on: int, items: list[Any]) -> Any:
    return client.put(path, json={"based_on": based_on, "items": items})


def added(client: TestClient, path: str, version: int, **body: Any) -> Any:
    return client.post(f"{path}/items", json={"based_on": version} | ITEM | body)


# Reading


def test_a_plan_carries_two_signs_and_neither_name_nor_code(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    answer = ferry.get(path_of(practice))
    found = answer.json()
    assert PlanDocument.model_validate(found).plan_id == PLAN_GULL
    assert (found["version"], found["session_label"]) == (1, ["boat", "kite"])
    assert not any(word in answer.text for word in TELLING)
    stored = rows(practice, "SELECT plan FROM plan")
    assert not any(word in text for (text,) in stored for word in TELLING)


def test_a_session_without_a_plan_has_version_0(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    found = held(ferry, new_session(practice, ferry, "2026-03-10"))
    assert (found["version"], found["items"]) == (0, [])
    assert found["session_label"] == ["boat", "kite"]


def test_an_unchanged_plan_is_answered_304(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    first = ferry.get(path_of(practice))
    tag = {"If-None-Match": first.headers["etag"]}
    again = ferry.get(path_of(practice), headers=tag)
    assert (again.status_code, again.content) == (304, b"")
    assert added(ferry, path_of(practice), 1).status_code == 201
    assert ferry.get(path_of(practice), headers=tag).json()["version"] == 2


def test_every_version_stays_readable(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    added(ferry, path_of(practice), 1)
    versions = path_of(practice) + "s"
    assert [len(held(ferry, f"{versions}/{at}")["items"]) for at in (1, 2)] == [1, 2]
    assert_problem(ferry.get(f"{versions}/3"), 404)
    for bad in ("0", "-1", NOWHERE, "9" * 30):
        answer = ferry.get(f"{versions}/{bad}")
        assert_problem(answer, 422, "/version")
        assert NOWHERE not in answer.text


# Writing anew


def test_items_can_be_closed_moved_and_asked_again(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    added(ferry, path_of(practice), 1)
    first, second = held(ferry, path_of(practice))["items"]
    changed = [second | {"repetitions": 5, "show": {"quiet": True}}, first | {"state": "closed"}]
    answer = put(ferry, path_of(practice), 2, changed)
    assert answer.status_code == 200, answer.text
    assert answer.json()["version"] == 3
    found = held(ferry, path_of(practice))["items"]
    assert found == changed
    by = rows(practice, "SELECT account_id, at FROM plan WHERE version = 3")
    assert by == [(practice.ids["ferry"], "2026-03-03 12:00:00.000000")]
    noted = rows(practice, "SELECT child_id FROM audit WHERE verb = 'planned'")
    assert noted == [(practice.ids["Gull"],)] * 2
    day = practice.tablet().get("/api/tablet/day").json()["plans"][0]
    assert [one["state"] for one in day["items"]] == ["open", "closed"]


def test_null_and_left_out_mean_the_same_in_an_item(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    (item,) = held(ferry, path_of(practice))["items"]
    sent = item | {"guide": item["guide"] | {"parts": None}}
    sent["guide"].pop("closed")
    answer = put(ferry, path_of(practice), 1, [sent])
    assert answer.status_code == 200, answer.text
    assert held(ferry, path_of(practice))["items"][0]["guide"] == item["guide"]


Spoil = Callable[[list[Any]], Any]


def spoilt(*steps: Any, value: Any) -> Spoil:
    def change(items: list[Any]) -> list[Any]:
        inner: Any = items
        for step in steps[:-1]:
            inner = inner[step]
        inner[steps[-1]] = value
        return items

    return change


def without(*steps: Any) -> Spoil:
    def change(items: list[Any]) -> list[Any]:
        inner: Any = items
        for step in steps[:-1]:
            inner = inner[step]
        del inner[steps[-1]]
        return items

    return change


def fresh(**change: Any) -> dict[str, Any]:
    return deepcopy(plan()["items"][0]) | {"item_id": "b2"} | change


def fresh_task(**change: Any) -> dict[str, Any]:
    return fresh(task=fresh()["task"] | change)


def fresh_guide(**change: Any) -> dict[str, Any]:
    return fresh(guide=fresh()["guide"] | change)


BAD = [
    # What was there stays there, and stays what it was.
    ("missing", lambda items: [fresh()], "/items"),
    ("emptied", lambda items: [], "/items"),
    ("other task", spoilt(0, "task", "task_id", value="swell"), "/items/0/task"),
    ("other criterion", spoilt(0, "task", "criterion", "at_least", value=0.5), "/items/0/task"),
    ("other point", spoilt(0, "guide", "points_mm", 1, value=[181.0, 60.0]), "/items/0/guide"),
    ("other width", spoilt(0, "guide", "corridor_mm", value=12.0), "/items/0/guide"),
    ("other hand", spoilt(0, "condition", "hand", value="right"), "/items/0/condition"),
    ("no condition", without(0, "condition", "tool"), "/items/0/condition"),
    # New ones fit the format.
    ("no id", without(0, "item_id"), "/items/0/item_id"),
    ("no state", without(0, "state"), "/items/0/state"),
    ("other state", spoilt(0, "state", value=NOWHERE), "/items/0/state"),
    ("no repetition", spoilt(0, "repetitions", value=0), "/items/0/repetitions"),
    ("too often", spoilt(0, "repetitions", value=101), "/items/0/repetitions"),
    ("half a time", spoilt(0, "repetitions", value=1.5), "/items/0/repetitions"),
    ("same id", lambda items: [*items, fresh(item_id="a1")], "/items/1/item_id"),
    ("bad id", lambda items: [*items, fresh(item_id="b/2")], "/items/1/item_id"),
    (
        "unknown task",
        lambda items: [*items, fresh_task(task_id="no-such")],
        "/items/1/task/task_id",
    ),
    ("revision", lambda items: [*items, fresh_task(revision=99)], "/items/1/task/task_id"),
    ("name of a child", lambda items: [*items, fresh_task(name=NOWHERE)], "/items/1/task/name"),
    ("other mode", lambda items: [*items, fresh_task(mode="join")], "/items/1/task/mode"),
    ("unknown use", lambda items: [*items, fresh_task(use=NOWHERE)], "/items/1/task/use"),
    (
        "criterion without bound",
        lambda items: [*items, fresh_task(criterion={"measure": "in_corridor_share"})],
        "/items/1/task/criterion",
    ),
    (
        "band the wrong way round",
        lambda items: [*items, fresh_task(pressure_band=[0.5, 0.4])],
        "/items/1/task/pressure_band",
    ),
    (
        "guide of one point",
        lambda items: [*items, fresh_guide(points_mm=[[20.0, 60.0]])],
        "/items/1/guide/points_mm",
    ),
    (
        "guide in one place",
        lambda items: [*items, fresh_guide(points_mm=[[20.0, 60.0]] * 2)],
        "/items/1/guide/points_mm",
    ),
    ("no guide", lambda items: [*items, fresh(guide={})], "/items/1/guide"),
    (
        "width of 0",
        lambda items: [*items, fresh_guide(corridor_mm=0)],
        "/items/1/guide/corridor_mm",
    ),
    (
        "text for a width",
        lambda items: [*items, fresh_guide(corridor_mm=[8.0, NOWHERE])],
        "/items/1/guide/corridor_mm/1",
    ),
    # Keys of the sender's own could say anything.
    ("key of an item", lambda items: [*items, fresh(**{NOWHERE: 1})], "/items/1"),
    ("key of a task", lambda items: [*items, fresh_task(**{NOWHERE: 1})], "/items/1/task"),
    ("key of a guide", lambda items: [*items, fresh_guide(**{NOWHERE: 1})], "/items/1/guide"),
    ("key of show", spoilt(0, "show", value={NOWHERE: 1}), "/items/0/show"),
    ("prose", spoilt(0, "show", value={"feedback": f"{NOWHERE} did"}), "/items/0/show/feedback"),
    ("not a list", lambda items: NOWHERE, "/items"),
]


@pytest.mark.parametrize(("change", "path"), [case[1:] for case in BAD], ids=[c[0] for c in BAD])
def test_a_bad_plan_is_refused_with_its_place(practice: Practice, change: Spoil, path: str) -> None:
    ferry = practice.desk("ferry")
    before = held(ferry, path_of(practice))
    answer = put(ferry, path_of(practice), 1, change(deepcopy(before["items"])))
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text
    assert held(ferry, path_of(practice)) == before
    assert rows(practice, "SELECT count(*) FROM plan") == [(2,)]


@pytest.mark.parametrize(
    ("raw", "path"),
    [
        (b"", ""),
        (NOWHERE.encode(), ""),
        (b"[]", ""),
        (b'{"items": []}', "/based_on"),
        (b'{"based_on": 1}', "/items"),
        (b'{"based_on": 1, "based_on": 1, "items": []}', "/based_on"),
        (b'{"based_on": "1", "items": []}', "/based_on"),
        (b'{"based_on": -1, "items": []}', "/based_on"),
        (b'{"based_on": NaN, "items": []}', "/based_on"),
        (b'{"based_on": 1, "items": [], "Quillfeather": 1}', ""),
    ],
)
def test_a_body_that_is_no_plan_is_refused(practice: Practice, raw: bytes, path: str) -> None:
    ferry = practice.desk("ferry")
    answer = ferry.put(path_of(practice), content=raw)
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text


def test_too_many_items_and_too_many_bytes_are_refused(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    many = [fresh(item_id=f"b{at}") for at in range(101)]
    assert_problem(put(ferry, path_of(practice), 1, many), 413, "/items")
    assert_problem(ferry.put(path_of(practice), content=b" " * (1024 * 1024 + 1)), 413)


def test_a_closed_item_stays_closed(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    (item,) = held(ferry, path_of(practice))["items"]
    closed = item | {"state": "closed"}
    assert put(ferry, path_of(practice), 1, [closed]).status_code == 200
    assert_problem(put(ferry, path_of(practice), 2, [item]), 422, "/items/0/state")
    assert put(ferry, path_of(practice), 2, [closed, fresh()]).status_code == 200


def test_a_plan_builds_on_the_newest_version_only(practice: Practice) -> None:
    ferry, harbour = practice.desk("ferry"), practice.desk("harbour")
    (item,) = held(ferry, path_of(practice))["items"]
    assert put(harbour, path_of(practice), 1, [item, fresh()]).status_code == 200
    for based_on in (0, 1, 3):
        # The other's item is missing too: that it is there now is what has to be said.
        assert_problem(put(ferry, path_of(practice), based_on, [item]), 409)
        assert_problem(added(ferry, path_of(practice), based_on), 409)
        same = {"based_on": based_on}
        new_session(practice, ferry, "2026-03-02")
        assert ferry.post(f"{path_of(practice)}/same-as-last", json=same).status_code == 409
    assert held(ferry, path_of(practice))["version"] == 2


def test_of_two_plans_at_once_one_is_kept(practice: Practice) -> None:
    clients = [practice.desk(name) for name in ("ferry", "harbour") for _ in range(2)]
    (item,) = held(clients[0], path_of(practice))["items"]
    start, answers = threading.Barrier(len(clients)), []

    def write(at: int, client: TestClient) -> None:
        start.wait()
        sent = [item, fresh(item_id=f"b{at}")]
        answers.append(put(client, path_of(practice), 1, sent).status_code)

    threads = [threading.Thread(target=write, args=pair) for pair in enumerate(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [200, 409, 409, 409]
    found = held(clients[0], path_of(practice))
    assert (found["version"], len(found["items"])) == (2, 2)


def test_the_plan_of_a_closed_session_is_not_changed(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    items = held(ferry, path_of(practice))["items"]
    ferry.post(f"/api/sessions/{practice.ids['Gull session']}/close")
    assert_problem(put(ferry, path_of(practice), 1, items), 409)
    assert_problem(added(ferry, path_of(practice), 1), 409)


def test_versions_are_kept_by_the_database_itself(practice: Practice) -> None:
    with closing(sqlite3.connect(practice.path)) as connection:
        for statement in (
            "UPDATE plan SET plan = '{}'",
            "DELETE FROM plan",
            "INSERT OR REPLACE INTO plan SELECT * FROM plan",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="never"):
                connection.execute(statement)


# Items made from tasks


def test_an_item_is_made_from_a_task_and_placed_on_the_screen(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    answer = added(
        ferry,
        path_of(practice),
        1,
        corridor_mm=12,
        direction="right_to_left",
        position="seated",
        tool="stylus",
        screen_mm=[216, 144],
        midline_x_mm=108,
        show={"quiet": True},
    )
    assert answer.status_code == 201, answer.text
    assert answer.json()["version"] == 2
    first, item = answer.json()["items"]
    assert first["item_id"] == "a1"
    assert UUID(item["item_id"]).version == 4
    assert (item["state"], item["repetitions"]) == ("open", 2)
    assert item["task"]["name"] == "High Bridge"
    assert item["condition"] == {
        "hand": "right",
        "direction": "right_to_left",
        "position": "seated",
        "tool": "stylus",
    }
    assert item["guide"]["corridor_mm"] == 12.0
    # [C] 180 wide about the midline at 108: from 198 at the right to 18 at the left.
    assert [item["guide"]["points_mm"][end][0] for end in (0, -1)] == [198.0, 18.0]
    assert (item["guide"]["midline_x_mm"], item["show"]["quiet"]) == (108.0, True)
    assert PlanDocument.model_validate(answer.json()).items[1].item_id == item["item_id"]
    again = added(ferry, path_of(practice), 2).json()["items"]
    assert len({one["item_id"] for one in again}) == 3


def test_beacons_keep_their_pairs_in_a_plan(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    answer = added(ferry, path_of(practice), 1, task_id="night-beacons")
    first, beacons = answer.json()["items"]
    assert beacons["guide"]["pairs"] is True
    assert put(ferry, path_of(practice), 2, [first, beacons]).status_code == 200
    loose = beacons | {"guide": beacons["guide"] | {"pairs": False}}
    assert_problem(put(ferry, path_of(practice), 3, [first, loose]), 422, "/items/1/guide")
    other = beacons | {"item_id": "b1", "guide": beacons["guide"] | {"pairs": 1}}
    answer = put(ferry, path_of(practice), 3, [first, beacons, other])
    assert_problem(answer, 422, "/items/2/guide/pairs")
    odd = beacons | {"item_id": "b1", "guide": beacons["guide"] | {"pairs": True}}
    odd["guide"]["targets_mm"] = beacons["guide"]["targets_mm"][:-1]
    answer = put(ferry, path_of(practice), 3, [first, beacons, odd])
    assert_problem(answer, 422, "/items/2/guide/pairs")


def test_the_hand_decides_at_which_side_a_disc_is_held(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    asked = {"task_id": "capstan", "screen_mm": [207, 136]}
    for version, hand in enumerate(("right", "left", "both"), 1):
        answer = added(ferry, path_of(practice), version, hand=hand, **asked)
        assert answer.status_code == 201, answer.text
    _, right, left, both = (item["guide"] for item in held(ferry, path_of(practice))["items"])
    # [C] 63 mm from the middle of the screen, which is 103.5 mm from its edge.
    assert [guide["targets_mm"][0]["x"] for guide in (right, left, both)] == [40.5, 166.5, 40.5]
    assert right["id"] == left["id"] == both["id"]


def test_a_step_of_the_ladder_can_be_named(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    step = {"dimension": "diameter_mm", "value": 8}
    answer = added(ferry, path_of(practice), 1, task_id="portholes", step=step)
    assert answer.status_code == 201, answer.text
    # [C] A diameter of 8 is a radius of 4.
    radii = {dot["radius"] for dot in answer.json()["items"][1]["guide"]["targets_mm"]}
    assert radii == {4.0}


def test_a_band_of_pressure_is_set_about_the_child_s_own_median(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    refused = added(ferry, path_of(practice), 1, task_id="slow-tide")
    assert_problem(refused, 422, "/pressure_median")
    answer = added(ferry, path_of(practice), 1, task_id="slow-tide", pressure_median=0.42)
    assert answer.status_code == 201, answer.text
    task = answer.json()["items"][1]["task"]
    assert task["pressure_band"] == [0.32, 0.52]  # [C] 0.42 less and more 0.1
    # What the tablet must report travels with it, and may be sent back as it came.
    assert task["needs"] == ["pressure"]
    assert put(ferry, path_of(practice), 2, answer.json()["items"]).status_code == 200


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({"task_id": "no-such-task"}, "/task_id"),
        ({"task_id": f"{NOWHERE} "}, "/task_id"),
        ({"revision": 99}, "/task_id"),
        ({"corridor_mm": 0}, "/corridor_mm"),
        ({"corridor_mm": 201}, "/corridor_mm"),
        ({"corridor_mm": 8.001}, "/corridor_mm"),
        ({"corridor_mm": 8, "task_id": "portholes"}, "/corridor_mm"),
        ({"corridor_mm": 8, "step": {"dimension": "corridor_mm", "value": 8}}, "/step"),
        ({"step": {"dimension": "corridor_mm", "value": 7}}, "/step"),
        ({"step": {"dimension": "diameter_mm", "value": 8}}, "/step"),
        ({"step": {"dimension": "corridor_mm"}}, "/step/value"),
        ({"direction": "upward"}, "/direction"),
        ({"direction": NOWHERE}, "/direction"),
        ({"hand": NOWHERE}, "/hand"),
        ({"position": f"on the lap of {NOWHERE}"}, "/position"),
        ({"repetitions": 0}, "/repetitions"),
        ({"screen_mm": [150, 100]}, "/screen_mm"),
        ({"screen_mm": [216]}, "/screen_mm"),
        ({"task_id": "two-oars", "midline_x_mm": 20, "screen_mm": [216, 144]}, "/screen_mm"),
        ({"corridor_mm": 120}, "/task_id"),
        ({"pressure_median": 0.4}, "/pressure_median"),
        ({"pressure_median": 1}, "/pressure_median"),
        ({"show": {NOWHERE: 1}}, "/show"),
        ({"show": {"guide": NOWHERE}}, "/show/guide"),
        ({"based_on": None}, "/based_on"),
        ({NOWHERE: 1}, ""),
    ],
)
def test_an_item_that_cannot_be_made_is_refused(
    practice: Practice, body: dict[str, Any], path: str
) -> None:
    ferry = practice.desk("ferry")
    answer = added(ferry, path_of(practice), 1, **body)
    assert_problem(answer, 422, path)
    assert NOWHERE not in answer.text
    assert held(ferry, path_of(practice))["version"] == 1


def test_a_plan_does_not_grow_without_end(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    (item,) = held(ferry, path_of(practice))["items"]
    full = [item, *(fresh(item_id=f"b{at}") for at in range(99))]
    assert put(ferry, path_of(practice), 1, full).status_code == 200
    assert_problem(added(ferry, path_of(practice), 2), 409)


def test_every_task_of_the_library_becomes_an_item_that_can_be_sent_back(
    practice: Practice,
) -> None:
    ferry = practice.desk("ferry")
    for version, task in enumerate(LIBRARY, start=1):
        more = {"pressure_median": 0.42} if task.get("pressure_half_band") else {}
        answer = added(ferry, path_of(practice), version, task_id=task["task_id"], **more)
        assert answer.status_code == 201, (task["task_id"], answer.text)
    found = answer.json()
    assert PlanDocument.model_validate(found).version == len(LIBRARY) + 1
    names = [item["task"]["name"] for item in found["items"][1:]]
    assert names == [task["name"] for task in LIBRARY]
    sent = put(ferry, path_of(practice), found["version"], found["items"])
    assert sent.status_code == 200, sent.text
    assert sent.json()["items"] == found["items"]


def test_a_task_of_the_practice_s_own_is_planned_in_the_revision_asked(
    practice: Practice,
) -> None:
    ferry = practice.desk("ferry")
    line = {"name": "Kite tail", "mode": "trace"}
    tail = line | {"points_mm": [[0, 0], [60, 30], [120, 0]]}
    made = ferry.post("/api/tasks", json=tail)
    assert made.status_code == 201, made.text
    task_id = made.json()["task"]["task_id"]
    longer = tail | {"points_mm": [[0, 0], [60, 30], [150, 0]], "based_on": 1}
    assert ferry.post(f"/api/tasks/{task_id}/revisions", json=longer).status_code == 201
    for version, revision, wide in ((1, 1, 120.0), (2, 2, 150.0), (3, None, 150.0)):
        answer = added(ferry, path_of(practice), version, task_id=task_id, revision=revision)
        assert answer.status_code == 201, answer.text
        points = answer.json()["items"][-1]["guide"]["points_mm"]
        assert points[-1][0] - points[0][0] == pytest.approx(wide)
        assert answer.json()["items"][-1]["task"]["revision"] == (revision or 2)
    refused = added(ferry, path_of(practice), 4, task_id=task_id, revision=3)
    assert_problem(refused, 422, "/task_id")


# The same as last time


def test_the_items_of_the_last_session_come_again_under_new_ids(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    added(ferry, path_of(practice), 1)
    first, second = held(ferry, path_of(practice))["items"]
    last = [first | {"state": "closed"}, second]
    put(ferry, path_of(practice), 2, last)
    # Sessions without a plan between them, and one after it, are passed over.
    new_session(practice, ferry, "2026-03-04")
    path = new_session(practice, ferry, "2026-03-10")
    after = new_session(practice, ferry, "2026-03-11")
    added(ferry, after, 0)
    answer = ferry.post(f"{path}/same-as-last", json={"based_on": 0})
    assert answer.status_code == 201, answer.text
    assert answer.json()["version"] == 1
    copies = answer.json()["items"]
    kept = ("task", "guide", "condition", "repetitions")
    assert [{name: one[name] for name in kept} for one in copies] == [
        {name: one[name] for name in kept} for one in last
    ]
    assert [one["state"] for one in copies] == ["open", "open"]
    assert not {one["item_id"] for one in copies} & {one["item_id"] for one in last}
    again = ferry.post(f"{path}/same-as-last", json={"based_on": 1}).json()["items"]
    assert again[:2] == copies
    assert len({one["item_id"] for one in again}) == 4


def test_a_first_session_has_no_last_time(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    answer = ferry.post(f"{path_of(practice)}/same-as-last", json={"based_on": 1})
    # Wren's session is there, but it is another child's.
    assert "no earlier session" in assert_problem(answer, 409)["detail"]


# Who may


@pytest.mark.parametrize(
    ("name", "status"),
    [("harbour", 200), ("ferry", 200), ("lantern", 404), ("beacon", 403), ("purser", 403)],
)
def test_only_linked_therapists_reach_a_plan(practice: Practice, name: str, status: int) -> None:
    client, path = practice.desk(name), path_of(practice)
    assert client.get(path).status_code == status
    assert client.get(f"{path}s/1").status_code == status
    sent = put(client, path, 1, json.loads(json.dumps(plan()["items"])))
    assert sent.status_code == status
    assert added(client, path, 2).status_code == (201 if status == 200 else status)
    same = client.post(f"{path}/same-as-last", json={"based_on": 3})
    assert same.status_code == (409 if status == 200 else status)


def test_signed_out_and_tablets_reach_no_plan(practice: Practice) -> None:
    for client in (practice.client, practice.tablet()):
        assert_problem(client.get(path_of(practice)), 401)
        assert_problem(put(client, path_of(practice), 1, []), 401)
        assert_problem(added(client, path_of(practice), 1), 401)
