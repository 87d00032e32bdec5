"""The next rungs of an item: on its task's own ladder, in the same place, only where they fit."""

from copy import deepcopy
from typing import Any

import numpy as np
import pytest

from analysis.identity import guide_id
from analysis.travel import OPPOSITE
from server.grading import steps_beside
from server.guides import GuideFields, guide_of
from server.library import (
    LIBRARY,
    placed,
    plan_item,
    steps_of,
    task_of,
    template_of,
    with_pressure_band,
)
from server.library_steps import Step, TaskDict

ROOM_MM = {"tablet": (230.0, 150.0), "paper": (277.0, 190.0), "large_screen": (740.0, 420.0)}


def item_of(
    task: TaskDict,
    step: Step | None = None,
    *,
    room_mm: tuple[float, float] | None = None,
    median: float = 0.42,
    hand: str = "right",
    **how: Any,
) -> dict[str, Any]:
    """An item of practice, made as a therapist makes one."""
    banded = with_pressure_band(task, median, step=step) if "needs" in task else task
    room_mm = room_mm or ROOM_MM[task["medium"]]
    guide = placed(task, step=step, screen_mm=room_mm, hand=hand, **how)
    condition = {"hand": hand, "direction": how.get("direction", task["direction"])}
    item = plan_item(banded, item_id="a1", guide=guide, condition=condition)
    item["task"]["use"] = "practice"
    return item


def rungs(found: dict[str, Any]) -> dict[str, float]:
    return {name: one["step"]["value"] for name, one in found.items()}


ASKED = [
    pytest.param(task, direction, midline_mm, id=f"{task['task_id']}-{direction}-{midline_mm}")
    for task in LIBRARY
    for direction in ([task["direction"]] + [OPPOSITE[task["direction"]]] * task["reversible"])
    for midline_mm in ([None, 110.0] if task["medium"] == "tablet" else [None])
]


@pytest.mark.parametrize(("task", "direction", "midline_mm"), ASKED)
def test_a_rung_beside_is_the_one_a_therapist_would_have_made(
    task: TaskDict, direction: str, midline_mm: float | None
) -> None:
    how: dict[str, Any] = {"direction": direction, "midline_x_mm": midline_mm}
    steps = steps_of(task)
    for at, step in enumerate(steps):
        item = item_of(task, step, **how)
        found = steps_beside(task, item)
        beside = {"easier": at - 1, "harder": at + 1}
        wanted = {name: steps[to] for name, to in beside.items() if 0 <= to < len(steps)}
        assert rungs(found) == {name: to.value for name, to in wanted.items()}
        for name, to in wanted.items():
            made = item_of(task, to, **how)
            assert found[name] == {
                "step": {"dimension": to.dimension, "value": to.value},
                "task": made["task"],
                "guide": made["guide"],
            }


def test_an_id_is_that_of_the_graded_guide() -> None:
    task = task_of("swell")
    found = steps_beside(task, item_of(task))
    for one in found.values():
        guide = guide_of(GuideFields.model_validate(one["guide"]))
        assert guide is not None
        assert guide_id(guide) == one["guide"]["id"]
    assert len({one["guide"]["id"] for one in found.values()}) == 2


@pytest.mark.parametrize("hand", ["left", "right", "free", "both"])
def test_the_disc_stays_where_it_lies(hand: str) -> None:
    task = task_of("capstan")
    item = item_of(task, hand=hand)
    found = steps_beside(task, item)
    assert rungs(found) == {"easier": 24.0, "harder": 12.0}
    for one in found.values():
        assert one["guide"]["targets_mm"] == item["guide"]["targets_mm"]
        assert one["guide"]["points_mm"] == item["guide"]["points_mm"]


def test_a_disc_planned_at_the_left_for_a_left_hand_stays_there() -> None:
    # As an earlier release placed it.
    task = task_of("capstan")
    item = item_of(task, hand="right") | {"condition": {"hand": "left"}}
    found = steps_beside(task, item)
    assert rungs(found) == {"easier": 24.0, "harder": 12.0}
    assert found["easier"]["guide"]["targets_mm"] == item["guide"]["targets_mm"]


@pytest.mark.parametrize(
    ("median", "step", "wanted"),
    [
        # [C] 0.42 and half bands of 0.15, 0.1 and 0.07.
        (0.42, 1, {"easier": [0.27, 0.57], "harder": [0.35, 0.49]}),
        (0.42, 0, {"harder": [0.32, 0.52]}),
        (0.42, 2, {"easier": [0.32, 0.52]}),
        # One bound lies at the end of the pen's range; only one rung can have the other.
        (0.95, 1, {"easier": [0.8, 1.0], "harder": [0.88, 1.0]}),
        (0.12, 1, {"easier": [0.0, 0.27], "harder": [0.05, 0.19]}),
    ],
)
def test_a_band_narrows_about_the_same_median(
    median: float, step: int, wanted: dict[str, list[float]]
) -> None:
    task = task_of("slow-tide")
    item = item_of(task, steps_of(task)[step], median=median)
    found = steps_beside(task, item)
    assert {name: one["task"]["pressure_band"] for name, one in found.items()} == wanted
    for one in found.values():
        assert one["guide"] == item["guide"]
        assert one["task"] == item["task"] | {"pressure_band": one["task"]["pressure_band"]}


@pytest.mark.parametrize("band", [[0.0, 0.14], [0.1, 0.9], [0.0, 1.0], None])
def test_a_band_that_is_no_rung_or_that_of_two_has_no_steps(band: list[float] | None) -> None:
    # [C] 0 to 0.14 is both 0.04 with 0.1 each side and 0.07 with 0.07 each side.
    task = task_of("slow-tide")
    item = item_of(task)
    item["task"]["pressure_band"] = band
    assert steps_beside(task, item) == {}


def test_a_probe_a_closed_item_and_another_width_have_no_steps() -> None:
    task = task_of("swell")
    item = item_of(task)
    assert steps_beside(task, item)
    probe = item | {"task": item["task"] | {"use": "probe"}}
    assert steps_beside(task, probe) == {}
    assert steps_beside(task, item | {"state": "closed"}) == {}
    between = placed(task, corridor_mm=10.0, screen_mm=ROOM_MM["tablet"])
    assert steps_beside(task, item | {"guide": between}) == {}


def test_a_guide_that_is_not_the_task_s_has_no_steps() -> None:
    task = task_of("swell")
    item = item_of(task)
    bent, short = deepcopy(item), deepcopy(item)
    bent["guide"]["points_mm"][7][1] += 0.01
    short["guide"]["points_mm"].pop()
    mirrored = deepcopy(item)
    mirrored["guide"]["points_mm"] = [[230.0 - x, y] for x, y in item["guide"]["points_mm"]]
    for other in (bent, short, mirrored, item | {"guide": {}}):
        assert steps_beside(task, other) == {}
    assert steps_beside(task_of("low-bridge"), item) == {}


@pytest.mark.parametrize(
    ("width_mm", "height_mm", "easier"),
    [
        # [C] the line is 180 mm long; 18 mm of corridor need 198 by 18 mm, 24 mm need 204 by 24 mm.
        (204.0, 24.0, True),
        (203.9, 24.0, False),
        (204.0, 23.9, False),
    ],
)
def test_a_rung_that_does_not_fit_the_screen_is_left_out(
    width_mm: float, height_mm: float, easier: bool
) -> None:
    task = task_of("quay-edge")
    item = item_of(task, steps_of(task)[1], room_mm=(width_mm, height_mm))
    found = steps_beside(task, item)
    assert rungs(found) == ({"easier": 24.0} if easier else {}) | {"harder": 12.0}


@pytest.mark.parametrize(
    ("midline_mm", "easier"),
    [
        # [C] beacons of 18 mm need 69 mm on both sides of the midline, those of 20 mm 70 mm; the
        # usual screen is 207 mm wide.
        (70.0, True),
        (69.5, False),
        (137.0, True),
        (137.5, False),
    ],
)
def test_about_a_midline_near_the_edge_of_the_usual_screen_only_what_fits_is_given(
    midline_mm: float, easier: bool
) -> None:
    task = task_of("night-beacons")
    item = item_of(task, steps_of(task)[1], room_mm=(207.0, 136.0), midline_x_mm=midline_mm)
    found = steps_beside(task, item)
    assert rungs(found) == ({"easier": 20.0} if easier else {}) | {"harder": 12.0}
    for one in found.values():
        assert one["guide"]["midline_x_mm"] == midline_mm
        middle_mm = np.mean([dot["x"] for dot in one["guide"]["targets_mm"]])
        assert middle_mm == pytest.approx(midline_mm)


def test_what_the_adult_chose_for_the_item_stays() -> None:
    task = task_of("swell")
    item = item_of(task)
    item["task"]["criterion"] = {"measure": "completion", "at_least": 0.9}
    item["guide"] |= {"start_radius_mm": 7.0, "midline_x_mm": 40.0, "midline_source": "entered"}
    before = deepcopy(item)
    found = steps_beside(task, item)
    assert item == before
    for one in found.values():
        assert one["task"] == item["task"]
        kept = ("shape", "start_radius_mm", "stop_radius_mm", "midline_x_mm", "midline_source")
        assert [one["guide"][key] for key in kept] == [item["guide"][key] for key in kept]


def test_a_template_does_not_make_a_cut_s_guide_larger() -> None:
    task = task_of("rope-lengths")
    assert template_of(task)
    assert set(steps_beside(task, item_of(task))) == {"easier", "harder"}
