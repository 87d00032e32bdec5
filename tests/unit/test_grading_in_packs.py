"""The next rungs in a tablet's day pack: of practice only, and nowhere but there."""

import sqlite3
from contextlib import closing
from typing import Any

from fastapi.testclient import TestClient

from server.plan_formats import DayDocument
from tests.practice import Practice
from tests.problem_form import assert_problem

OWN = {
    "name": "Rope to the bollard",
    "mode": "trace",
    "points_mm": [[10.0, 10.0], [120.0, 10.0], [120.0, 60.0]],
    "corridor_mm": 10.0,
}


def rungs(found: dict[str, Any]) -> dict[str, float]:
    return {name: one["step"]["value"] for name, one in found.items()}


def planned(practice: Practice, client: TestClient, **body: Any) -> None:
    path = f"/api/sessions/{practice.ids['Gull session']}/plan"
    version = client.get(path).json()["version"]
    sent = {"based_on": version, "hand": "right", "repetitions": 2} | body
    answer = client.post(f"{path}/items", json=sent)
    assert answer.status_code == 201, answer.text


def pack_of(tablet: TestClient) -> dict[str, Any]:
    answer = tablet.get("/api/tablet/day")
    DayDocument.model_validate(answer.json())
    pack: dict[str, Any] = answer.json()
    return pack


def test_a_day_pack_carries_steps_of_practice_and_plans_do_not(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    own = ferry.post("/api/tasks", json=OWN).json()["task"]
    planned(practice, ferry, task_id="swell")
    planned(practice, ferry, task_id="high-bridge")
    planned(practice, ferry, task_id=own["task_id"])
    first, swell, bridge, rope = pack_of(tablet)["plans"][0]["items"]
    assert rungs(swell["steps"]) == {"easier": 18.0, "harder": 8.0}
    # A probe is kept the same.
    assert "steps" not in bridge
    # The first is a guide of its own, none of the task's.
    assert "steps" not in first
    assert rungs(rope["steps"]) == {"easier": 12.0, "harder": 8.0}
    plan = ferry.get(f"/api/sessions/{practice.ids['Gull session']}/plan").json()
    assert not any("steps" in item for item in plan["items"])
    with closing(sqlite3.connect(practice.path)) as connection:
        stored = [text for (text,) in connection.execute("SELECT plan FROM plan")]
    assert not any('"steps"' in text for text in stored)


def test_an_own_task_s_item_keeps_the_ladder_of_its_revision(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    own = ferry.post("/api/tasks", json=OWN).json()["task"]
    planned(practice, ferry, task_id=own["task_id"])
    before = pack_of(tablet)["plans"][0]["items"][1]["steps"]
    path = f"/api/tasks/{own['task_id']}"
    longer = OWN | {"based_on": 1, "points_mm": [[0.0, 0.0], [90.0, 0.0]]}
    assert ferry.post(f"{path}/revisions", json=longer).status_code == 201
    assert ferry.post(f"{path}/retire", json={"based_on": 2}).status_code == 200
    assert pack_of(tablet)["plans"][0]["items"][1]["steps"] == before


def test_equal_packs_have_equal_tags_and_a_closed_item_loses_its_steps(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    planned(practice, ferry, task_id="swell")
    tags = {tablet.get("/api/tablet/day").headers["etag"] for _ in range(2)}
    practice.clock.move(minutes=5)
    (tag,) = tags | {tablet.get("/api/tablet/day").headers["etag"]}
    assert tablet.get("/api/tablet/day", headers={"If-None-Match": tag}).status_code == 304
    path = f"/api/sessions/{practice.ids['Gull session']}/plan"
    plan = ferry.get(path).json()
    closed = [item | {"state": "closed"} for item in plan["items"]]
    sent = {"based_on": plan["version"], "items": closed}
    assert ferry.put(path, json=sent).status_code == 200
    assert not any("steps" in item for item in pack_of(tablet)["plans"][0]["items"])


def test_a_plan_that_is_sent_with_steps_is_refused(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    planned(practice, ferry, task_id="swell")
    items = pack_of(tablet)["plans"][0]["items"]
    path = f"/api/sessions/{practice.ids['Gull session']}/plan"
    answer = ferry.put(path, json={"based_on": 2, "items": items})
    assert_problem(answer, 422, "/items/1")
