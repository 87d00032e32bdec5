"""A trial that was not done: kept without samples, scored with reasons, counted as not done."""

from typing import Any
from uuid import uuid4

import pytest

from analysis.registry import MEASURES
from tests.practice import Practice, drawn

GOAL = {
    "measure": "in_corridor_share",
    "criterion": {"at_least": 0.8},
    "k": 2,
    "n": 3,
    "conditions": {"corridor_mm": 8.0, "hand": "left", "direction": "left_to_right"},
    "purpose": "School.",
}


# [C] What the guide alone says: 160 mm long, 8 mm wide, without a corner or a turn.
OF_THE_GUIDE = {"steering_index_of_difficulty": 20.0, "corner_count": 0.0, "turning_total": 0.0}


def not_done(mode: str = "trace") -> dict[str, Any]:
    """What a tablet sends of a task that the child did not begin."""
    tree = drawn(ended_by="not_done")
    tree["task"] = tree["task"] | {"mode": mode}
    tree["device"] = tree["device"] | {"pointer_type": "none"}
    tree["samples"] = {"t_ms": [], "x_mm": [], "y_mm": [], "stroke": []}
    tree["marks"] = []
    if mode in ("tap", "join"):
        dots = [{"x": 20.0 + 30 * at, "y": 60.0, "radius": 6.0, "order": at} for at in range(4)]
        tree["guide"] = {"targets_mm": dots} | ({"pairs": True} if mode == "join" else {})
    if mode == "both":
        tree["samples"]["pointer"] = []
    return tree


@pytest.mark.parametrize("mode", ["trace", "cut", "tap", "join", "both"])
def test_it_is_kept_and_every_measure_says_why_it_has_no_value(
    practice: Practice, mode: str
) -> None:
    tree = not_done(mode)
    answer = practice.send(practice.tablet(), tree)
    assert answer.status_code == 201, answer.text
    report = answer.json()["report"]
    measured = {one.id for one in MEASURES if one.scope == "trial" and mode in one.modes}
    assert set(report["measures"]) == measured
    valued = {name: one["value"] for name, one in report["measures"].items() if "reason" not in one}
    assert valued == (OF_THE_GUIDE if mode in ("trace", "cut") else {})
    for name in measured - valued.keys():
        assert report["measures"][name]["value"] is None, name
        assert report["measures"][name]["reason"], name
    assert "nothing_drawn" in report["quality"]["flags"]
    assert report["scores"] == {"on_path_pct": None, "covered_pct": None, "moving_pct": None}
    assert (report["criterion"] or {"met": None})["met"] is None
    assert report["pointer_type"] == "none"


@pytest.mark.parametrize("mode", ["trace", "tap", "join", "both"])
def test_its_page_and_its_picture_can_be_looked_at(practice: Practice, mode: str) -> None:
    ferry, tree = practice.desk("ferry"), not_done(mode)
    assert practice.send(practice.tablet(), tree).status_code == 201
    for path in (f"/trials/{tree['trial_id']}", f"/api/trials/{tree['trial_id']}/figure.svg"):
        assert ferry.get(path).status_code == 200
    facts = ferry.get(f"/api/trials/{tree['trial_id']}").json()
    assert facts["ended_by"] == "not_done"


def test_it_is_not_done_in_k_of_n_and_no_failure(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    made = practice.desk("harbour").post(f"/api/children/{practice.ids['Gull']}/goals", json=GOAL)
    assert made.status_code == 201, made.text
    trees = [drawn(seq=1), not_done() | {"seq": 2}, drawn(seq=3), drawn(seq=4, beside_mm=5.0)]
    for tree, outcome in zip(trees, ("finished", "not_done", "finished", "finished"), strict=True):
        assert practice.send(tablet, tree).status_code == 201
        mark = {"id": str(uuid4()), "outcome": outcome}
        marked = tablet.post(f"/api/trials/{tree['trial_id']}/marks", json=mark)
        assert marked.status_code == 201, marked.text
    note = ferry.get(f"/api/sessions/{practice.ids['Gull session']}/note").json()
    (group,) = note["numbers"]["groups"]
    # [C] of four trials two are on the path, one is beside it and one was not done.
    assert (group["met"], group["of"]) == (2, 3)
    left = {reason: count for reason, count in group["left_out"].items() if count}
    assert left == {"not_done": 1}
    told = ferry.get(f"/api/goals/{made.json()['goal_id']}/progress").json()
    assert told["counted"] == 3
    (one,) = told["left_out"]
    assert (one["reason"], one["trial_ids"]) == ("not_done", [trees[1]["trial_id"]])


@pytest.mark.parametrize(
    "ended_by", ["all_dots", "all_parts", "interrupted", "not_done", "sample_limit"]
)
def test_every_end_that_a_tablet_names_is_told_back(practice: Practice, ended_by: str) -> None:
    tree = drawn(ended_by=ended_by)
    assert practice.send(practice.tablet(), tree).status_code == 201
    (line,) = (
        practice.desk("ferry")
        .get(f"/api/sessions/{practice.ids['Gull session']}/trials")
        .json()["trials"]
    )
    assert line["ended_by"] == ended_by
