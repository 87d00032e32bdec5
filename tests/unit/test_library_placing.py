"""Tasks of every mode, placed, drawn as asked and scored; templates cut as printed."""

import numpy as np
import pytest

from analysis import shapes
from analysis.errors import BadGuide
from analysis.travel import OPPOSITE
from server.cuts import cut_of
from server.documents import read_trial
from server.library import (
    LIBRARY,
    DoesNotFit,
    placed,
    plan_item,
    steps_of,
    task_of,
    template_of,
    with_pressure_band,
)
from server.plan_formats import ItemFields
from server.scoring import score, score_cut
from tests.cut_documents import CUT_ID
from tests.documents import as_bytes, sound

SCREEN_MM = (216.0, 144.0)
MIDLINE_X_MM = 108.0
LARGE_MM = (708.0, 398.0)
CUT = [task for task in LIBRARY if "template" in task]


def room_of(task: dict) -> tuple[float, float]:
    return {"paper": (277.0, 190.0), "large_screen": LARGE_MM}.get(task["medium"], SCREEN_MM)


def stepped(task: dict) -> list:
    return [
        pytest.param(task, step, id=f"{task['task_id']}-{step.value:g}") for step in steps_of(task)
    ]


EVERY_STEP = pytest.mark.parametrize(
    ("task", "step"), [case for task in LIBRARY for case in stepped(task)]
)
EVERY_CUT = pytest.mark.parametrize(
    ("task", "step"), [case for task in CUT for case in stepped(task)]
)


def strokes_as_asked(mode: str, guide: dict) -> list[tuple[int, np.ndarray]]:
    """What a child would draw who did exactly as asked: pointer and places of each stroke."""
    dots_mm = [np.array([[dot["x"], dot["y"]]] * 3) for dot in guide.get("targets_mm", [])]
    if mode == "tap":
        return [(0, dot_mm) for dot_mm in dots_mm]
    if mode == "join":
        return [(0, even(np.array([dot_mm[0] for dot_mm in dots_mm])))]
    lines = []
    for line in guide.get("parts", [guide]):
        points = line["points_mm"] + line["points_mm"][:1] * line["closed"]
        lines.append(even(np.array(points)))
    if mode != "both":
        return [(0, line_mm) for line_mm in lines]
    held = [np.repeat(dot_mm[:1], len(lines[0]), axis=0) for dot_mm in dots_mm]
    return list(enumerate(held + lines))


def even(points_mm: np.ndarray) -> np.ndarray:
    """Places every half millimetre along a line."""
    s_mm = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points_mm, axis=0).T))])
    at_mm = np.linspace(0.0, s_mm[-1], int(2 * s_mm[-1]) + 2)
    return np.column_stack([np.interp(at_mm, s_mm, one) for one in points_mm.T])


def trial_of(task: dict, guide: dict, direction: str) -> dict:
    columns = {"t_ms": [], "x_mm": [], "y_mm": [], "stroke": [], "pointer": []}
    now_ms = 600.0
    for stroke, (pointer, places_mm) in enumerate(strokes_as_asked(task["mode"], guide)):
        start_ms = 600.0 if task["mode"] == "both" else now_ms
        times_ms = start_ms + 10.0 * np.arange(len(places_mm))
        columns["t_ms"] += times_ms.tolist()
        columns["x_mm"] += places_mm[:, 0].tolist()
        columns["y_mm"] += places_mm[:, 1].tolist()
        columns["stroke"] += [stroke] * len(places_mm)
        columns["pointer"] += [pointer] * len(places_mm)
        now_ms = float(times_ms[-1]) + 400.0
    order = np.argsort(columns["t_ms"], kind="stable")
    samples = {name: [column[at] for at in order] for name, column in columns.items()}
    hand = "both" if task["mode"] == "both" else "right"
    item = plan_item(
        task,
        item_id="a1",
        guide=guide,
        condition={"hand": hand, "direction": direction, "position": "seated", "tool": "finger"},
    )
    ItemFields.model_validate(item)
    tree = sound() | {key: item[key] for key in ("task", "guide", "condition")}
    return tree | {"samples": samples, "marks": []}


@EVERY_STEP
def test_a_task_done_as_asked_is_complete_and_has_the_guide_that_was_sent(task, step):
    needs = with_pressure_band(task, 0.5, step=step) if "needs" in task else task
    directions = [task["direction"]]
    if task["reversible"]:
        directions.append(OPPOSITE[task["direction"]])
    for direction in directions:
        guide = placed(
            task,
            step=step,
            screen_mm=room_of(task),
            direction=direction,
            midline_x_mm=0.5 * room_of(task)[0],
        )
        report = score(read_trial(as_bytes(trial_of(needs, guide, direction))))
        measures = report["measures"]
        assert report["guide_id"] == guide["id"]
        assert "guide_id_differs" not in report["quality"]["flags"]
        assert "direction_mismatch" not in report["quality"]["flags"]
        assert measures["completion"]["value"] == pytest.approx(1.0, abs=1e-9)  # [C]
        if task["mode"] in ("tap", "join"):
            assert measures["hit_share"]["value"] == 1.0  # [C]
        elif step.corridor_mm is not None:
            assert measures["in_corridor_share"]["value"] == pytest.approx(1.0)  # [C]


@EVERY_CUT
def test_a_piece_cut_exactly_on_its_template_is_wholly_within_every_tolerance(task, step):
    template = template_of(task, step)
    counts = task.get("counts_asked", {}) | dict.fromkeys(task.get("counted", []), 5)
    tree = {
        "format": "linnet-cut/1",
        "cut_id": CUT_ID,
        "task": {"task_id": task["task_id"], "revision": task["revision"], "mode": "cut"},
        "template": template,
        "outline": {"points": template["points_mm"], "unit": "mm"},
        "scale": {"calibrated": True},
        "counts": counts,
    }
    measures = score_cut(cut_of(tree))["measures"]
    assert measures["cut_deviation_mean"]["value"] == pytest.approx(0.0, abs=1e-9)  # [C]
    if step.corridor_mm is not None:
        assert measures["cut_within_tolerance_share"]["value"] == pytest.approx(1.0)  # [C]


@pytest.mark.parametrize("task", CUT, ids=lambda task: task["task_id"])
def test_the_line_to_cut_lies_on_the_piece_that_falls_out(task):
    template = [tuple(point) for point in task["template"]["points_mm"]]
    ends = [tuple(part["points_mm"][at]) for part in task["parts"] for at in (0, -1)]
    if task["task_id"] == "ticket-snips":
        assert {y for _, y in ends} == {y for _, y in template} == {0.0, 25.0}
    else:
        assert set(ends) <= set(template)


@pytest.mark.parametrize(
    ("task_id", "length_mm"),
    [
        ("rope-lengths", 150.0),
        ("bunting-curve", 140.0),
        ("life-ring", 251.3),
        ("crate-card", 320.0),
    ],
)
def test_a_cut_has_the_length_of_the_table(task_id, length_mm):
    part = task_of(task_id)["parts"][0]
    points_mm = np.array(part["points_mm"] + part["points_mm"][:1] * part["closed"])
    found_mm = np.hypot(*np.diff(points_mm, axis=0).T).sum()
    assert found_mm == pytest.approx(length_mm, abs=0.1)  # [P] TRADE.md section 3


def test_the_bunting_hangs_on_a_circle_of_80_mm():
    part = task_of("bunting-curve")["parts"][0]
    points_mm = np.array(part["points_mm"])
    middle_mm = [0.5 * points_mm[-1, 0], -80.0 * np.cos(140.0 / 160.0)]
    away_mm = np.hypot(*(points_mm - middle_mm).T)
    assert away_mm == pytest.approx(80.0, abs=0.01)  # [C]


def test_an_arc_is_flat_and_at_most_half_a_circle():
    points_mm = shapes.arc(80.0, 140.0)
    middle_mm = 0.5 * (points_mm[1:] + points_mm[:-1])
    centre_mm = [0.5 * points_mm[-1, 0], -80.0 * np.cos(140.0 / 160.0)]
    assert np.hypot(*(middle_mm - centre_mm).T) == pytest.approx(80.0, abs=0.02)  # [C]
    with pytest.raises(BadGuide, match=r"at most 31\.42"):
        shapes.arc(10.0, 31.5)


def test_the_wide_bridge_is_half_a_circle_of_942_mm():
    part = task_of("wide-bridge")["parts"][0]
    found_mm = np.hypot(*np.diff(np.array(part["points_mm"]), axis=0).T).sum()
    assert found_mm == pytest.approx(942.0, abs=0.7)  # [P] TRADE.md section 3


def test_dots_are_numbered_in_the_asked_order():
    there = placed(task_of("mooring-posts"), screen_mm=SCREEN_MM)["targets_mm"]
    back = placed(task_of("mooring-posts"), screen_mm=SCREEN_MM, direction="upward")["targets_mm"]
    assert [dot["order"] for dot in there] == [dot["order"] for dot in back] == list(range(6))
    places = [[(dot["x"], dot["y"]) for dot in dots] for dots in (there, back)]
    assert places[0] == places[1][::-1]


def test_posts_stand_60_mm_apart_on_alternating_sides_of_the_midline():
    guide = placed(task_of("mooring-posts"), screen_mm=SCREEN_MM, midline_x_mm=100.0)
    sides_mm = [dot["x"] - 100.0 for dot in guide["targets_mm"]]
    assert sides_mm == pytest.approx([-30.0, 30.0] * 3)  # [P] TRADE.md section 3


def test_every_pair_of_beacons_crosses_the_midline_120_mm_wide():
    guide = placed(task_of("night-beacons"), screen_mm=SCREEN_MM, midline_x_mm=104.0)
    sides_mm = [dot["x"] - 104.0 for dot in guide["targets_mm"]]
    pairs = [sides_mm[at : at + 2] for at in range(0, 8, 2)]
    assert pairs == [pytest.approx(way) for way in [[-60, 60], [60, -60]] * 2]  # [P] TRADE.md
    levels_mm = [dot["y"] for dot in guide["targets_mm"]]
    assert all(levels_mm[at] == levels_mm[at + 1] for at in range(0, 8, 2))


@pytest.mark.parametrize("direction", ["downward", "upward"])
def test_the_left_oar_is_the_first_part_whichever_way_it_runs(direction):
    guide = placed(
        task_of("two-oars"), screen_mm=SCREEN_MM, direction=direction, midline_x_mm=101.0
    )
    sides_mm = [part["points_mm"][0][0] - 101.0 for part in guide["parts"]]
    assert sides_mm == pytest.approx([-50.0, 50.0])  # [P] TRADE.md section 3
    for part in guide["parts"]:
        rise_mm = part["points_mm"][-1][1] - part["points_mm"][0][1]
        assert rise_mm == {"downward": 80.0, "upward": -80.0}[direction]


def test_the_capstan_is_one_disc_to_hold_and_one_ring_to_follow():
    guide = placed(task_of("capstan"), screen_mm=SCREEN_MM)
    (held,) = guide["targets_mm"]
    assert (held["radius"], guide["closed"]) == (15.0, True)  # [P] TRADE.md: diameter 30
    middle_mm = np.mean(
        [guide["points_mm"][0], guide["points_mm"][len(guide["points_mm"]) // 2]], axis=0
    )
    away_mm = np.hypot(*(np.array(guide["points_mm"]) - middle_mm).T)
    assert away_mm == pytest.approx(30.0, abs=0.01)  # [P] TRADE.md: r 30
    assert middle_mm[1] == held["y"]


@pytest.mark.parametrize("direction", ["downward", "upward"])
def test_beacons_are_joined_in_pairs_whichever_way_they_run(direction):
    task = task_of("night-beacons")
    guide = placed(task, screen_mm=SCREEN_MM, direction=direction)
    assert guide["pairs"] is True
    dots = guide["targets_mm"]
    levels = [{dots[at]["y"], dots[at + 1]["y"]} for at in range(0, 8, 2)]
    # Both beacons of a pair stand side by side, and no two pairs do.
    assert all(len(level) == 1 for level in levels)
    assert len(set.union(*levels)) == 4
    asked = ItemFields.model_validate(
        plan_item(task, item_id="a1", guide=guide, condition={"direction": direction})
    )
    assert asked.guide.pairs is True


def test_pairs_are_no_part_of_what_a_guide_is_known_by():
    task = task_of("night-beacons")
    without = {key: value for key, value in task.items() if key != "pairs"}
    paired, plain = (placed(one, screen_mm=SCREEN_MM) for one in (task, without))
    assert paired == plain | {"pairs": True}
    others = [task for task in LIBRARY if task["task_id"] != "night-beacons"]
    assert not any("pairs" in placed(task, screen_mm=LARGE_MM) for task in others)


@pytest.mark.parametrize("direction", ["clockwise", "anticlockwise"])
def test_a_left_hand_that_draws_has_the_capstan_s_disc_at_its_right(direction):
    task = task_of("capstan")
    guides = {
        hand: placed(task, screen_mm=SCREEN_MM, direction=direction, hand=hand)
        for hand in (None, "right", "free", "both", "left")
    }
    left = guides.pop("left")
    assert all(guide == guides[None] for guide in guides.values())
    right, half_mm = guides["right"], 0.5 * SCREEN_MM[0]
    (at_left,), (at_right,) = right["targets_mm"], left["targets_mm"]
    # [C] from the disc's middle to the ring's far edge 126 mm, in the middle of the screen
    assert (at_left["x"], at_right["x"]) == (half_mm - 63.0, half_mm + 63.0)
    assert at_left["y"] == at_right["y"]
    assert max(x for x, _ in left["points_mm"]) == pytest.approx(half_mm - 3.0)  # [C] 63 - 60
    assert min(x for x, _ in right["points_mm"]) == pytest.approx(half_mm + 3.0)
    # The ring is moved and not mirrored: it is the same guide, in the same series.
    apart_mm = np.array(right["points_mm"]) - np.array(left["points_mm"])
    assert apart_mm == pytest.approx(np.tile([66.0, 0.0], (len(apart_mm), 1)))
    assert (left["id"], left["closed"]) == (right["id"], True)


def test_nothing_but_a_disc_beside_a_line_changes_sides():
    for task in LIBRARY:
        if task["task_id"] != "capstan":
            room_mm = room_of(task)
            guides = [placed(task, screen_mm=room_mm, hand=hand) for hand in ("left", "right")]
            assert guides[0] == guides[1], task["task_id"]


def test_a_midline_too_near_the_edge_leaves_no_room_about_it():
    with pytest.raises(DoesNotFit, match="about this midline"):
        placed(task_of("two-oars"), screen_mm=SCREEN_MM, midline_x_mm=40.0)


def test_slow_tide_is_not_planned_before_its_band_is_chosen():
    task = task_of("slow-tide")
    fields = {"item_id": "a1", "guide": placed(task, screen_mm=SCREEN_MM), "condition": {}}
    with pytest.raises(ValueError, match="own median pressure"):
        plan_item(task, **fields)
    banded = with_pressure_band(task, 0.42, step=steps_of(task)[0])
    assert banded["pressure_band"] == [0.27, 0.57]  # [C]
    carried = plan_item(banded, **fields)["task"]
    assert (carried["needs"], carried["pressure_band"]) == (["pressure"], [0.27, 0.57])


def test_a_band_ends_where_the_pen_s_range_ends():
    assert with_pressure_band(task_of("slow-tide"), 0.95)["pressure_band"] == [0.85, 1.0]  # [C]
    assert with_pressure_band(task_of("slow-tide"), 0.04)["pressure_band"] == [0.0, 0.14]  # [C]


@pytest.mark.parametrize("median", [0.0, 1.0, -0.2, float("nan")])
def test_a_median_that_no_pen_reports_is_refused(median):
    with pytest.raises(ValueError, match="between 0 and 1"):
        with_pressure_band(task_of("slow-tide"), median)


def test_only_slow_tide_has_a_band_and_only_cuts_have_a_template():
    with pytest.raises(ValueError, match="Quay Edge has no band"):
        with_pressure_band(task_of("quay-edge"), 0.4)
    with pytest.raises(ValueError, match="Quay Edge has no template"):
        template_of(task_of("quay-edge"))


def test_a_line_of_glue_has_no_corridor():
    guide = placed(task_of("tar-line"), screen_mm=(277.0, 190.0))
    assert "corridor_mm" not in guide
    assert np.ptp(np.array(guide["points_mm"]), axis=0)[0] == 200.0  # [P] TRADE.md section 3
