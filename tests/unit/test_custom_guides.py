"""A practice's own lines: curves kept within 0.02 mm, corners and directions as drawn."""

import json

import numpy as np
import pytest
import shapely
import svgpathtools
from hypothesis import given
from hypothesis import strategies as st

from analysis.guide import Guide
from analysis.identity import guide_id
from server.custom_guides import custom_guide_of, custom_task
from server.custom_guides_svg import CHORD_MM, lines_of_svg
from server.formats import TaskDocument
from server.library import DoesNotFit, placed, steps_of
from server.library_fit import fits

SCREEN_MM = (207.0, 136.0)
# A vertex is snapped by half a hundredth each way.
SNAP_MM = 0.005 * np.sqrt(2.0)
FLAT_MM = 0.02


def made(**fields) -> dict:
    return custom_task(custom_guide_of({"name": "Kite tail"} | fields), task_id="own-1")


def drawn(path: str, scale: float = 1.0) -> dict:
    return made(svg_path=path, mm_per_unit=scale)


def polyline(part: dict) -> shapely.LineString:
    points = part["points_mm"] + part["points_mm"][:1] * part["closed"]
    return shapely.LineString(points)


def farthest_mm(curve_mm: np.ndarray, part: dict) -> float:
    """Largest distance between a true curve, given densely, and a task's line, both ways.

    The curve is laid so that its box begins where the task's does, before snapping.
    """
    line = polyline(part)
    there = shapely.distance(shapely.points(curve_mm), line).max()
    along = line.interpolate(np.linspace(0.0, line.length, 2_000))
    back = shapely.distance(along, shapely.LineString(curve_mm)).max()
    return float(max(there, back))


def laid(curve_mm: np.ndarray, path: str, scale: float = 1.0) -> np.ndarray:
    corner_mm = np.vstack([line.points_mm for line in lines_of_svg(path, scale)]).min(axis=0)
    return curve_mm - corner_mm


def bernstein(controls: list[tuple[float, float]], count: int = 20_001) -> np.ndarray:
    """Points of a Bezier curve by its own sum, not by the way the code goes."""
    t = np.linspace(0.0, 1.0, count)[:, None]
    p = np.array(controls, dtype=np.float64)
    if len(p) == 3:
        return (1 - t) ** 2 * p[0] + 2 * t * (1 - t) * p[1] + t**2 * p[2]
    return (
        (1 - t) ** 3 * p[0] + 3 * t * (1 - t) ** 2 * p[1] + 3 * t**2 * (1 - t) * p[2] + t**3 * p[3]
    )


def circle(radius_mm: float) -> np.ndarray:
    angle = np.linspace(0.0, 2.0 * np.pi, 20_001)
    return radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])


CIRCLE = "M 50 0 A 50 50 0 0 1 -50 0 A 50 50 0 0 1 50 0 Z"
TILTED = "M 60 0 A 60 25 0 1 1 -60 0 A 60 25 0 0 1 60 0 Z"
CUBIC = [(0, 100), (40, -60), (120, 160), (180, 10)]
CUSP = [(0, 0), (100, 80), (0, 80), (100, 0)]
QUADRATIC = [(0, 0), (90, 200), (180, 0)]


def data(letter: str, controls: list[tuple[float, float]]) -> str:
    rest = " ".join(f"{x},{y}" for x, y in controls[1:])
    return f"M {controls[0][0]},{controls[0][1]} {letter} {rest}"


EXACT = {
    "circle": (CIRCLE, circle(50.0)),
    "ellipse": (TILTED, circle(1.0) * [60.0, 25.0]),
    "cubic": (data("C", CUBIC), bernstein(CUBIC)),
    "cubic with a cusp": (data("C", CUSP), bernstein(CUSP)),
    "quadratic": (data("Q", QUADRATIC), bernstein(QUADRATIC)),
}


@pytest.mark.parametrize("name", EXACT)
def test_a_curve_is_kept_within_two_hundredths_of_a_millimetre(name):
    path, curve_mm = EXACT[name]
    (part,) = drawn(path)["parts"]
    assert farthest_mm(laid(curve_mm, path), part) <= FLAT_MM  # [C]
    assert CHORD_MM + SNAP_MM <= FLAT_MM


@pytest.mark.parametrize("name", EXACT)
def test_no_chord_leaves_its_curve_by_more_than_it_may_before_snapping(name):
    path, curve_mm = EXACT[name]
    (line,) = lines_of_svg(path, 1.0)
    points = np.vstack([line.points_mm, line.points_mm[:1]]) if line.closed else line.points_mm
    away_mm = shapely.distance(shapely.points(curve_mm), shapely.LineString(points))
    assert away_mm.max() <= CHORD_MM + 1e-6  # [C]
    # Not finer than it need be either: half the chords would not do.
    assert away_mm.max() > CHORD_MM / 4


coordinate = st.floats(0.0, 100.0, allow_nan=False).map(lambda value: round(value, 3))
place = st.tuples(coordinate, coordinate)


@given(st.lists(place, min_size=4, max_size=4, unique=True))
def test_any_cubic_curve_is_kept_within_two_hundredths(controls):
    path = data("C", controls)
    curve_mm = bernstein(controls, 4_001)
    (line,) = lines_of_svg(path, 1.0)
    away_mm = shapely.distance(shapely.points(curve_mm), shapely.LineString(line.points_mm))
    assert away_mm.max() <= CHORD_MM + 1e-6  # [C]


MIXED = (
    "m 10,60 c 10,-50 40,-50 50,0 s 30 40 45,-5 q 10,-40 20,0 t 20,0 "
    "a 15,8 30 0 1 25,10 l 5 5 h 3 v -7 z"
)


@pytest.mark.parametrize("scale", [1.0, 0.35, 1.07])
def test_every_command_runs_where_another_library_says(scale):
    (part,) = drawn(MIXED, scale)["parts"]
    path = svgpathtools.parse_path(MIXED)
    dense = np.concatenate([one.point(np.linspace(0, 1, 2_001)) for one in path])  # [X]
    curve_mm = laid(scale * np.column_stack([dense.real, dense.imag]), MIXED, scale)
    assert farthest_mm(curve_mm, part) <= FLAT_MM
    assert part["closed"]


@pytest.mark.parametrize("flags", ["0 0", "0 1", "1 0", "1 1"])
@pytest.mark.parametrize("rotation", [0, 30, -75, 405])
def test_every_kind_of_arc_runs_where_another_library_says(flags, rotation):
    path = f"M 0 0 A 50 30 {rotation} {flags} 40 25"
    (part,) = drawn(path)["parts"]
    (arc,) = svgpathtools.parse_path(path)
    dense = np.array([arc.point(t) for t in np.linspace(0, 1, 4_001)])  # [X]
    assert farthest_mm(laid(np.column_stack([dense.real, dense.imag]), path), part) <= FLAT_MM


def test_relative_and_absolute_commands_draw_the_same():
    here = drawn("M 10 20 L 110 20 V 70 H 10 Z")
    assert here == drawn("m 10 20 l 100 0 v 50 h -100 z") == drawn("M10,20H110V70H10z")
    assert here["parts"][0]["points_mm"] == [[0, 0], [100, 0], [100, 50], [0, 50]]  # [C]


def test_numbers_may_stand_as_close_as_the_format_allows():
    assert drawn("M0 0L.5.5-20-20 40.5 0")["parts"][0]["points_mm"] == [
        [20.0, 20.0],
        [20.5, 20.5],
        [0.0, 0.0],
        [60.5, 20.0],
    ]  # [C]
    assert drawn("M0,0A50,50 0 01100,0") == drawn("M 0 0 A 50 50 0 0 1 100 0")


def test_several_lines_are_parts_that_keep_their_places():
    task = drawn("M 10 10 h 80 M 20 50 h 60 v 20 z L 25 60 l 30 30 M 5 5")
    points = [part["points_mm"] for part in task["parts"]]
    assert points == [
        [[0, 0], [80, 0]],
        [[10, 40], [70, 40], [70, 60]],
        [[10, 40], [15, 50], [45, 80]],
    ]  # [C]
    assert [part["closed"] for part in task["parts"]] == [False, True, False]
    assert task["direction"] == "downward"


def test_points_are_whole_hundredths_with_their_box_at_the_origin():
    points = np.vstack([part["points_mm"] for part in drawn(MIXED)["parts"]])
    assert points.min(axis=0).tolist() == [0.0, 0.0]
    assert np.abs(100 * points - np.round(100 * points)).max() < 1e-9
    assert drawn(MIXED)["size_mm"] == points.max(axis=0).tolist()


def test_drawing_noise_below_two_hundredths_is_thinned_and_nothing_else():
    rng = np.random.default_rng(20_260_307)
    x = np.linspace(0.0, 170.0, 6_000)
    wave = np.column_stack([x, 40.0 + 30.0 * np.sin(x / 20.0)])
    points = wave + rng.uniform(-0.004, 0.004, wave.shape)
    (part,) = made(points_mm=points.tolist())["parts"]
    assert len(part["points_mm"]) < 700
    corner = points.min(axis=0)
    away_mm = shapely.distance(shapely.points(points - corner), polyline(part))
    assert away_mm.max() <= FLAT_MM


def test_drawn_corners_stay_where_they_are():
    points = [[12.34, 56.78], [100.0, 20.0], [40.0, 20.0], [40.0, 100.0]]
    (part,) = made(points_mm=points)["parts"]
    assert part["points_mm"] == [[0, 36.78], [87.66, 0], [27.66, 0], [27.66, 80]]  # [C]


@pytest.mark.parametrize(
    ("points", "closed", "direction"),
    [
        ([[0, 0], [90, 5]], False, "left_to_right"),
        ([[90, 5], [0, 0]], False, "right_to_left"),
        ([[0, 0], [5, 90]], False, "downward"),
        ([[5, 90], [0, 0]], False, "upward"),
        ([[0, 0], [90, 0], [90, 90]], True, "clockwise"),
        ([[0, 0], [90, 90], [90, 0]], True, "anticlockwise"),
        ([[0, 0], [90, 0], [90, 90], [0, 0]], False, "none"),
    ],
)
def test_the_direction_is_the_one_in_which_it_was_drawn(points, closed, direction):
    task = made(points_mm=points, closed=closed)
    assert task["direction"] == direction
    assert task["reversible"] == (direction != "none")


def test_only_steps_that_have_room_are_offered():
    widths = [step.value for step in steps_of(made(points_mm=[[0, 0], [185, 0]]))]
    assert widths == [18, 12, 8, 6]  # [C] 185 + 24 > 207
    widths = [step.value for step in steps_of(made(points_mm=[[0, 0], [190, 115]]))]
    assert widths == [12, 8, 6]  # [C] 190 + 18 > 207
    sheet = made(points_mm=[[0, 0], [175, 250]], medium="paper")
    assert [step.value for step in steps_of(sheet)] == [12, 8, 6]  # [C] 175 + 18 > 190
    tall = made(points_mm=[[0, 0], [180, 260]], medium="paper")
    assert [step.value for step in steps_of(tall)] == [8, 6]  # [C] both ends are 10 mm wide


@pytest.mark.parametrize("path", [*(path for path, _ in EXACT.values()), MIXED])
def test_a_task_made_of_a_drawing_is_a_task_that_can_be_placed_and_told_again(path):
    task = drawn(path)
    assert TaskDocument.model_validate(json.loads(json.dumps(task))).task_id == "own-1"
    for step in steps_of(task):
        assert fits(task, step)
        guide = placed(task, step=step, screen_mm=SCREEN_MM)
        assert guide["corridor_mm"] == step.corridor_mm
        again = Guide.from_points(
            guide["points_mm"], closed=guide["closed"], corridor_mm=guide["corridor_mm"]
        )
        assert guide_id(again) == guide["id"]
    assert drawn(path) == task


def test_a_drawing_does_not_fit_a_smaller_screen():
    with pytest.raises(DoesNotFit):
        placed(drawn(CIRCLE), screen_mm=(100.0, 100.0))
