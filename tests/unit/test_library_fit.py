"""Every task at every step, asked both ways, has room where it belongs: by shapely's polygons."""

from typing import NamedTuple

import numpy as np
import pytest
import shapely

from analysis.travel import OPPOSITE
from server.library import LARGEST_MM, LIBRARY, DoesNotFit, Step, placed, steps_of, task_of
from server.library_fit import box_mm, fits
from server.library_steps import at_step

# The smallest common tablet; A4 less 10 mm of margin, either way; 32 inches, 16:9.
SCREEN_MM = (207.0, 136.0)
SHEET_MM = (190.0, 277.0)
LARGE_MM = (708.0, 398.0)
ROOM_MM = {"tablet": SCREEN_MM, "large_screen": LARGE_MM}
# Points are snapped to hundredths; a polygon of 256 sides lies inside its circle.
SNAPPED_MM = 0.01
QUARTER = 64


class Case(NamedTuple):
    task: dict
    step: Step
    direction: str

    def __str__(self) -> str:
        return f"{self.task['task_id']}-{self.step.value:g}-{self.direction}"


def directions(task: dict) -> list[str]:
    there = task["direction"]
    return [there, OPPOSITE[there]] if task["reversible"] else [there]


EVERY = [
    Case(task, step, direction)
    for task in LIBRARY
    for step in steps_of(task)
    for direction in directions(task)
]
ON_SCREEN = [case for case in EVERY if case.task["medium"] != "paper"]
ON_PAPER = [case for case in EVERY if case.task["medium"] == "paper"]


def cases(chosen: list[Case]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("case", chosen, ids=str)


def buffered(line: dict) -> shapely.Geometry:
    """The corridor's polygon, with round ends; the bare line where there is no corridor."""
    points_mm = list(line["points_mm"])
    if line["closed"]:
        points_mm.append(points_mm[0])
    return (
        shapely.LineString(points_mm)
        .buffer(0.5 * (line.get("corridor_mm") or 0.0), quad_segs=QUARTER)
        .union(shapely.LineString(points_mm))
    )


def lines_of(guide: dict) -> list[dict]:
    return guide.get("parts", [guide] if "points_mm" in guide else [])


def discs_of(guide: dict) -> list[shapely.Geometry]:
    return [
        shapely.Point(dot["x"], dot["y"]).buffer(dot["radius"], quad_segs=QUARTER)
        for dot in guide.get("targets_mm", [])
    ]


def shown(guide: dict) -> shapely.Geometry:
    """All that a screen shows of a guide: corridors, dots, start and stop."""
    lines = lines_of(guide)
    found = [buffered(line) for line in lines] + discs_of(guide)
    for line in lines:
        ends = [
            ("start_radius_mm", line["points_mm"][0]),
            ("stop_radius_mm", line["points_mm"][0 if line["closed"] else -1]),
        ]
        found += [shapely.Point(at).buffer(guide.get(key) or 0.0) for key, at in ends]
    return shapely.union_all(found)


def guide_of(case: Case) -> dict:
    return placed(
        case.task,
        step=case.step,
        screen_mm=ROOM_MM[case.task["medium"]],
        direction=case.direction,
    )


def inside(bounds: tuple[float, ...], room_mm: tuple[float, float]) -> bool:
    left, top, right, bottom = bounds
    return (
        min(left, top) >= -SNAPPED_MM
        and right <= room_mm[0] + SNAPPED_MM
        and bottom <= room_mm[1] + SNAPPED_MM
    )


def test_there_are_as_many_steps_as_were_chosen():
    assert len(LIBRARY) == 24  # [P] TRADE.md section 3
    assert sum(len(steps_of(task)) for task in LIBRARY) == 79  # [N]
    assert (len(ON_SCREEN), len(ON_PAPER)) == (119, 33)  # [N]


@cases(ON_SCREEN)
def test_all_that_is_shown_lies_on_the_screen(case):
    assert inside(shown(guide_of(case)).bounds, ROOM_MM[case.task["medium"]])


@cases([case for case in ON_SCREEN if case.task["medium"] == "tablet"])
def test_the_path_of_a_tablet_s_task_lies_within_the_smallest_common_area(case):
    guide = guide_of(case)
    places_mm = [point for line in lines_of(guide) for point in line["points_mm"]]
    places_mm += [[dot["x"], dot["y"]] for dot in guide.get("targets_mm", [])]
    assert (np.ptp(np.array(places_mm), axis=0) <= np.array(LARGEST_MM) + SNAPPED_MM).all()


@cases(ON_PAPER)
def test_what_is_printed_lies_on_a_sheet_upright_or_turned(case):
    task = at_step(case.task, case.step)
    pieces = [buffered(line) for line in task.get("parts", [])]
    pieces += [buffered(task["template"])] if "template" in task else []
    left, top, right, bottom = shapely.union_all([*pieces, *discs_of(task)]).bounds
    size_mm = sorted((right - left, bottom - top))
    assert (np.array(size_mm) <= np.array(SHEET_MM) + SNAPPED_MM).all()


@cases([case for case in EVERY if case.task["mode"] != "cut"])
def test_dots_and_corridors_of_two_hands_keep_apart(case):
    task = at_step(case.task, case.step)
    pieces = discs_of(task)
    if task["mode"] == "both":
        pieces += [buffered(part) for part in task["parts"]]
    apart_mm = [one.distance(other) for at, one in enumerate(pieces) for other in pieces[at + 1 :]]
    assert all(distance_mm > 1.0 for distance_mm in apart_mm)


@cases(EVERY)
def test_the_box_that_the_library_reckons_with_is_the_polygon_s(case):
    task = at_step(case.task, case.step)
    pieces = [shown(task)]
    pieces += [buffered(task["template"])] if "template" in task else []
    low_mm, high_mm = box_mm(case.task, case.step)
    left, top, right, bottom = shapely.union_all(pieces).bounds
    # A polygon inside its circle is short by r (1 - cos(pi / 256)), here below 0.002 mm.
    assert low_mm == pytest.approx([left, top], abs=0.01)
    assert high_mm == pytest.approx([right, bottom], abs=0.01)
    assert fits(case.task, case.step)


def test_a_task_that_is_too_large_does_not_fit():
    bridge = task_of("wide-bridge")
    assert not fits(bridge | {"medium": "tablet"})
    assert not fits(bridge | {"medium": "paper"})
    with pytest.raises(DoesNotFit, match="640 by 340 mm"):
        placed(bridge, step=steps_of(bridge)[0], screen_mm=SCREEN_MM)


def test_a_corridor_that_would_leave_the_screen_is_refused_though_its_line_fits():
    edge = task_of("quay-edge")
    assert placed(edge, corridor_mm=6.0, screen_mm=(190.0, 30.0))["corridor_mm"] == 6.0
    with pytest.raises(DoesNotFit, match="204 by 24 mm"):
        placed(edge, corridor_mm=24.0, screen_mm=(203.0, 30.0))
