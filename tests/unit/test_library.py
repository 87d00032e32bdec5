"""The library's tasks: sizes of the trade's table, stable ids, placement."""

import json

import numpy as np
import pytest

from analysis.guide import Guide
from analysis.identity import guide_id, path_id
from analysis.registry import MEASURES
from analysis.travel import OPPOSITE, direction_of
from server.formats import TaskDocument
from server.library import (
    LARGEST_MM,
    LIBRARY,
    WIDTH_LADDER_MM,
    DoesNotFit,
    placed,
    task_of,
)

SMALL_TABLET_MM = (207.0, 136.0)


def id_of_task(task: dict) -> str:
    return task["task_id"]


EVERY_TASK = pytest.mark.parametrize("task", LIBRARY, ids=id_of_task)
# The ten lines of a tablet.
TRACED = LIBRARY[:10]
TASKS = pytest.mark.parametrize("task", TRACED, ids=id_of_task)

# TRADE.md section 3: names and modes in their order.
NAMES = {
    "Quay Edge": "trace",
    "Flagpole": "trace",
    "Gangway": "trace",
    "High Bridge": "trace",
    "Low Bridge": "trace",
    "Swell": "trace",
    "Buoy": "trace",
    "Hatch": "trace",
    "Sail Seam": "trace",
    "Two Islands": "trace",
    "Slow Tide": "trace",
    "Portholes": "tap",
    "Mooring Posts": "join",
    "Night Beacons": "join",
    "Two Oars": "both",
    "Capstan": "both",
    "Wide Bridge": "trace",
    "Tar Line": "trace",
    "Ticket Snips": "cut",
    "Rope Lengths": "cut",
    "Bunting Curve": "cut",
    "Life-ring": "cut",
    "Crate Card": "cut",
    "Punch Row": "tap",
}
ON_PAPER = {
    "tar-line",
    "ticket-snips",
    "rope-lengths",
    "bunting-curve",
    "life-ring",
    "crate-card",
    "punch-row",
}
CAUTION = (
    "An adult stays beside the child; scissors and small parts. "
    "Follow local policy and the plan of care."
)

# TRADE.md section 3: length, widest and finest full width in mm.
TABLE = {
    "quay-edge": (180, 24, 6),
    "flagpole": (100, 24, 6),
    "gangway": (175, 24, 8),
    "high-bridge": (275, 24, 8),
    "low-bridge": (218, 24, 8),
    "swell": (222, 18, 8),
    "buoy": (251, 18, 6),
    "hatch": (280, 18, 8),
    "sail-seam": (333, 18, 8),
    "two-islands": (403, 18, 8),
}

# [N] our own output: a changed id would break the trends of every child.
IDS = {
    "quay-edge": "g1-522e7d481a5907f1c472",
    "flagpole": "g1-be6f7a0b770b26dcacaa",
    "gangway": "g1-e7f018b29be81ec9fe7e",
    "high-bridge": "g1-5c28ceeab0a5debda825",
    "low-bridge": "g1-910e030ac9d038199115",
    "swell": "g1-55b3359c86c50b338110",
    "buoy": "g1-dab7ab0e50a299941dab",
    "hatch": "g1-7e7eda264c135cfcf4d6",
    "sail-seam": "g1-808e757c5e26bdfa41e1",
    "two-islands": "g1-ce89fc84f085716250ba",
}


def guide_of(placed_guide: dict) -> Guide:
    return Guide.from_points(
        placed_guide["points_mm"],
        closed=placed_guide["closed"],
        corridor_mm=placed_guide["corridor_mm"],
    )


def test_the_library_holds_the_twenty_four_tasks_of_the_table():
    assert {task["name"]: task["mode"] for task in LIBRARY} == NAMES  # [P] TRADE.md section 3
    assert [task["name"] for task in LIBRARY] == list(NAMES)
    assert [task["task_id"] for task in TRACED] == list(TABLE)


@EVERY_TASK
def test_the_id_of_a_task_is_its_name_in_kebab_case(task):
    assert task["task_id"] == task["name"].lower().replace(" ", "-")


def test_a_task_says_where_it_belongs():
    belongs = {task["task_id"]: task["medium"] for task in LIBRARY}
    assert {name for name, medium in belongs.items() if medium == "paper"} == ON_PAPER
    assert [name for name, medium in belongs.items() if medium == "large_screen"] == ["wide-bridge"]


@EVERY_TASK
def test_only_what_needs_scissors_or_a_punch_carries_the_caution(task):
    sharp = task["mode"] == "cut" or task["task_id"] == "punch-row"
    assert task["cautions"] == ([CAUTION] if sharp else [])  # [P] TRADE.md section 9


@EVERY_TASK
def test_a_criterion_is_a_measure_of_the_task_s_mode(task):
    if task["criterion"] is None:
        assert task["counted"]
        return
    measures = {measure.id: measure for measure in MEASURES}
    assert task["mode"] in measures[task["criterion"]["measure"]].modes


@TASKS
def test_a_guide_has_the_length_of_the_table(task):
    length_mm = guide_of(placed(task, screen_mm=SMALL_TABLET_MM)).length_mm
    assert length_mm == pytest.approx(TABLE[task["task_id"]][0], abs=0.5)  # [P] TRADE.md section 3


@TASKS
def test_every_task_lies_within_the_smallest_common_area(task):
    points_mm = np.array(task["parts"][0]["points_mm"])
    assert points_mm.min(axis=0).tolist() == [0.0, 0.0]
    assert (points_mm.max(axis=0) <= LARGEST_MM).all()


@TASKS
def test_even_the_widest_corridor_stays_on_the_smallest_screen(task):
    widest_mm = TABLE[task["task_id"]][1]
    points_mm = np.array(placed(task, screen_mm=SMALL_TABLET_MM)["points_mm"])
    assert (points_mm - widest_mm / 2 >= 0).all()
    assert (points_mm + widest_mm / 2 <= SMALL_TABLET_MM).all()


@TASKS
def test_grades_are_the_rungs_of_the_ladder_nearest_first(task):
    usual_mm = task["parts"][0]["corridor_mm"]
    down, up = task["grade"]["down"]["corridor_mm"], task["grade"]["up"]["corridor_mm"]
    rungs = [*reversed(down), usual_mm, *up]
    _, widest_mm, finest_mm = TABLE[task["task_id"]]
    assert rungs == [w for w in WIDTH_LADDER_MM if finest_mm <= w <= widest_mm]


@TASKS
def test_the_id_of_a_guide_is_stable(task):
    assert placed(task, screen_mm=SMALL_TABLET_MM)["id"] == IDS[task["task_id"]]


@TASKS
def test_a_guide_and_its_reverse_have_the_same_id(task):
    guide = guide_of(placed(task, screen_mm=SMALL_TABLET_MM))
    assert guide_id(guide.reversed()) == guide_id(guide)


@pytest.mark.parametrize("task", [task for task in TRACED if task["reversible"]], ids=id_of_task)
def test_asked_the_other_way_a_task_keeps_its_id_and_starts_at_the_other_end(task):
    there = placed(task, screen_mm=SMALL_TABLET_MM)
    back = placed(task, screen_mm=SMALL_TABLET_MM, direction=OPPOSITE[task["direction"]])
    assert back["id"] == there["id"] == guide_id(guide_of(back))
    if task["parts"][0]["closed"]:
        assert back["points_mm"][0] == there["points_mm"][0]
        assert back["points_mm"][1:] == there["points_mm"][:0:-1]
    else:
        assert back["points_mm"] == there["points_mm"][::-1]


@TASKS
def test_placement_changes_no_id_and_another_width_changes_only_the_guide_id(task):
    here = placed(task, screen_mm=SMALL_TABLET_MM, midline_x_mm=103.5)
    there = placed(task, screen_mm=(261.37, 163.18))
    narrow = placed(task, screen_mm=SMALL_TABLET_MM, corridor_mm=8)
    assert there["id"] == here["id"] != narrow["id"]
    assert path_id(guide_of(narrow)) == path_id(guide_of(here)) == path_id(guide_of(there))


@TASKS
def test_placed_points_are_whole_hundredths_in_the_middle_of_the_screen(task):
    points_mm = np.array(placed(task, screen_mm=(261.37, 163.18))["points_mm"])
    hundredths = points_mm * 100
    assert np.abs(hundredths - np.round(hundredths)).max() < 1e-6
    middle_mm = 0.5 * (points_mm.min(axis=0) + points_mm.max(axis=0))
    assert np.abs(middle_mm - [130.685, 81.59]).max() <= 0.01


def test_the_midline_is_only_there_when_somebody_entered_it():
    task = task_of("high-bridge")
    assert "midline_x_mm" not in placed(task, screen_mm=SMALL_TABLET_MM)
    guide = placed(task, screen_mm=SMALL_TABLET_MM, midline_x_mm=103.5)
    assert (guide["midline_x_mm"], guide["midline_source"]) == (103.5, "entered")


def test_high_bridge_is_the_probe_at_six_mm_each_side():
    probes = [task for task in LIBRARY if task["use"] == "probe"]
    assert [task["task_id"] for task in probes] == ["high-bridge"]
    assert probes[0]["parts"][0]["corridor_mm"] == 12.0


def test_several_parts_are_placed_together_and_reversed_together():
    task = task_of("hatch") | {
        "size_mm": [40.0, 30.0],
        "parts": [
            {"points_mm": [[0, 0], [40, 0]], "closed": False, "corridor_mm": [8.0, 6.0]},
            {"points_mm": [[0, 30], [20, 30], [40, 30]], "closed": False, "corridor_mm": 12.0},
        ],
    }
    back = placed(task, screen_mm=(100, 100), direction="anticlockwise")
    assert back["parts"] == [
        {
            "points_mm": [[70.0, 65.0], [50.0, 65.0], [30.0, 65.0]],
            "closed": False,
            "corridor_mm": 12.0,
        },
        {"points_mm": [[70.0, 35.0], [30.0, 35.0]], "closed": False, "corridor_mm": [6.0, 8.0]},
    ]


def test_a_guide_whose_corridor_is_larger_than_the_screen_is_not_offered():
    with pytest.raises(DoesNotFit, match="192 by 97 mm"):
        placed(task_of("high-bridge"), screen_mm=(185.0, 90.0))


def test_a_direction_the_task_does_not_have_is_refused():
    with pytest.raises(ValueError, match="clockwise"):
        placed(task_of("high-bridge"), screen_mm=SMALL_TABLET_MM, direction="clockwise")


def test_the_eight_has_one_direction_only():
    assert (
        direction_of(guide_of(placed(task_of("two-islands"), screen_mm=SMALL_TABLET_MM))) == "none"
    )
    with pytest.raises(ValueError, match="clockwise"):
        placed(task_of("two-islands"), screen_mm=SMALL_TABLET_MM, direction="clockwise")


@TASKS
def test_the_direction_of_a_task_is_the_one_its_points_run_in(task):
    assert direction_of(guide_of(placed(task, screen_mm=SMALL_TABLET_MM))) == task["direction"]


@EVERY_TASK
def test_every_task_is_a_valid_task_document(task):
    assert TaskDocument.model_validate(task).task_id == task["task_id"]
    assert set(task) <= set(TaskDocument.model_fields)


def test_an_unknown_task_names_the_known_ones():
    with pytest.raises(KeyError, match="quay-edge"):
        task_of("lighthouse")


def test_the_library_is_plain_data():
    assert json.loads(json.dumps(LIBRARY)) == list(LIBRARY)
