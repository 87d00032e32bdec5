"""The steps of every task: the ladders of the trade's table, in agreement with `grade`."""

import pytest

from server.library import LIBRARY, WIDTH_LADDER_MM, Step, steps_of, task_of
from server.library_steps import at_step, usual_step

# TRADE.md section 3: easiest to hardest. Widths and diameters in mm; half a band of pressure
# as a share of the pen's range; snips counted. A line of glue has no ladder.
LADDERS = {
    "quay-edge": ("corridor_mm", [24, 18, 12, 8, 6]),
    "flagpole": ("corridor_mm", [24, 18, 12, 8, 6]),
    "gangway": ("corridor_mm", [24, 18, 12, 8]),
    "high-bridge": ("corridor_mm", [24, 18, 12, 8]),
    "low-bridge": ("corridor_mm", [24, 18, 12, 8]),
    "swell": ("corridor_mm", [18, 12, 8]),
    "buoy": ("corridor_mm", [18, 12, 8, 6]),
    "hatch": ("corridor_mm", [18, 12, 8]),
    "sail-seam": ("corridor_mm", [18, 12, 8]),
    "two-islands": ("corridor_mm", [18, 12, 8]),
    "slow-tide": ("pressure_half_band", [0.15, 0.1, 0.07]),
    "portholes": ("diameter_mm", [20, 18, 12, 8]),
    "mooring-posts": ("diameter_mm", [18, 12, 8]),
    "night-beacons": ("diameter_mm", [20, 18, 12, 10]),
    "two-oars": ("corridor_mm", [24, 18, 12]),
    "capstan": ("corridor_mm", [24, 18, 12]),
    "wide-bridge": ("corridor_mm", [2 * 20, 2 * 12, 2 * 8]),
    "tar-line": ("length_mm", [200]),
    "ticket-snips": ("snips_asked", [2, 4, 6]),
    "rope-lengths": ("corridor_mm", [2 * 12.7, 2 * 6.35, 2 * 3.175]),
    "bunting-curve": ("corridor_mm", [2 * 12.7, 2 * 6.35, 2 * 3.175]),
    "life-ring": ("corridor_mm", [2 * 12.7, 2 * 6.35, 2 * 3.175]),
    "crate-card": ("corridor_mm", [2 * 12.7, 2 * 6.35, 2 * 3.175]),
    "punch-row": ("diameter_mm", [12, 8]),
}
TASKS = pytest.mark.parametrize("task", LIBRARY, ids=lambda task: task["task_id"])


@TASKS
def test_the_steps_of_a_task_are_the_rungs_of_its_ladder_easiest_first(task):
    dimension, values = LADDERS[task["task_id"]]  # [P] TRADE.md section 3, both ends
    steps = steps_of(task)
    assert [step.value for step in steps] == pytest.approx(values, abs=1e-12)
    assert {step.dimension for step in steps} == {dimension}


@pytest.mark.parametrize(
    "task",
    [task for task in LIBRARY if task["medium"] == "tablet" and "needs" not in task],
    ids=lambda task: task["task_id"],
)
def test_widths_and_inner_diameters_on_a_tablet_are_those_of_the_one_ladder(task):
    steps = steps_of(task)
    inner = steps if steps[0].dimension == "corridor_mm" else steps[1:-1]
    assert inner
    assert {step.value for step in inner} <= set(WIDTH_LADDER_MM)


@TASKS
def test_grade_names_the_steps_beside_the_usual_one_nearest_first(task):
    steps = steps_of(task)
    at = steps.index(usual_step(task))
    for key, beside in (("down", steps[:at][::-1]), ("up", steps[at + 1 :])):
        values = [value for ladder in task["grade"][key].values() for value in ladder]
        assert values == [step.value for step in beside]


@TASKS
def test_a_step_s_corridor_is_the_one_its_task_then_has(task):
    for step in steps_of(task):
        parts = at_step(task, step).get("parts") or [{}]
        assert {part.get("corridor_mm") for part in parts} == {step.corridor_mm}
        if step.dimension == "corridor_mm":
            assert step.corridor_mm == step.value


@TASKS
def test_a_step_leaves_the_library_s_own_task_as_it_was(task):
    before = repr(task)
    for step in steps_of(task):
        at_step(task, step)
    assert repr(task) == before


@TASKS
def test_the_usual_step_is_the_task_itself(task):
    assert at_step(task, usual_step(task)) == at_step(task, None) == task


def test_a_step_of_dots_changes_every_radius_and_no_centre():
    task = task_of("portholes")
    large = at_step(task, steps_of(task)[0])
    assert {dot["radius"] for dot in large["targets_mm"]} == {10.0}
    centres = [[(dot["x"], dot["y"]) for dot in one["targets_mm"]] for one in (task, large)]
    assert centres[0] == centres[1]


def test_a_step_of_snips_is_that_many_of_them():
    task = task_of("ticket-snips")
    for step in steps_of(task):
        shown = at_step(task, step)
        assert len(shown["parts"]) == step.value == shown["counts_asked"]["snips_asked"]


def test_a_step_of_another_task_is_refused():
    with pytest.raises(ValueError, match="High Bridge has no such step"):
        at_step(task_of("high-bridge"), Step("corridor_mm", 6.0, "mm", 6.0))
