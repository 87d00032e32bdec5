"""Shapes: lengths against closed forms, flatness, whole hundredths, corners kept."""

import numpy as np
import pytest
import shapely
from scipy.integrate import quad
from scipy.special import ellipe

from analysis import shapes
from analysis.errors import BadGuide
from analysis.flattening import FLATNESS_MM, flattened, settled
from analysis.guide import Guide

# A chord at the largest sagitta is shorter than its arc by under 0.03 % on the tightest
# bend used here; snapping a vertex adds up to 0.007 mm either way.
LENGTH = {"rel": 5e-4}

EVERY_SHAPE = {
    "line": shapes.line(150, -90),
    "half_ellipse": shapes.half_ellipse(180, 85),
    "sine": shapes.sine(180, 20, 1.5),
    "circle": shapes.circle(40),
    "square": shapes.square(70),
    "rectangle": shapes.rectangle(80, 33.333),
    "zigzag": shapes.zigzag(22.5, 35, 8),
    "figure_eight": shapes.figure_eight(150, 56),
    "spiral": shapes.spiral(10, 3, inner_radius_mm=4),
    "hairpin": shapes.hairpin(120, 12),
    "letter_loops": shapes.letter_loops(24, 30, count=6, loop_mm=8),
    "random_smooth": shapes.random_smooth(3),
}


def length_mm(points_mm: np.ndarray, *, closed: bool = False) -> float:
    return Guide.from_points(points_mm, closed=closed).length_mm


def farthest_mm(curve, first: float, last: float) -> float:
    """Largest distance from a true curve to its flattened polyline."""
    chain = shapely.LineString(flattened(curve, first, last))
    dense = curve(np.linspace(first, last, 20_000))
    return float(shapely.distance(shapely.points(dense), chain).max())


def test_line_has_the_length_of_its_hypotenuse():
    assert length_mm(shapes.line(150, -90)) == pytest.approx(
        np.sqrt(150**2 + 90**2), abs=0.01
    )  # [C]


def test_circle_has_length_two_pi_r():
    assert length_mm(shapes.circle(40), closed=True) == pytest.approx(
        2 * np.pi * 40, **LENGTH
    )  # [C]


@pytest.mark.parametrize(("width_mm", "height_mm"), [(180, 85), (180, 45), (40, 90)])
def test_half_ellipse_has_half_the_perimeter_of_the_elliptic_integral(width_mm, height_mm):
    long, short = sorted([0.5 * width_mm, height_mm], reverse=True)
    expected = 2 * long * ellipe(1 - (short / long) ** 2)  # [C]
    assert length_mm(shapes.half_ellipse(width_mm, height_mm)) == pytest.approx(expected, **LENGTH)


def test_sine_has_the_length_of_the_elliptic_integral():
    slope = 20 * 2 * np.pi * 1.5 / 180
    m = slope**2 / (1 + slope**2)
    expected = 180 * np.sqrt(1 + slope**2) * ellipe(m) * 2 / np.pi  # [C]
    assert length_mm(shapes.sine(180, 20, 1.5)) == pytest.approx(expected, **LENGTH)


@pytest.mark.parametrize(("inner_radius_mm", "pitch_mm", "turns"), [(4, 10, 3), (0, 8, 2.5)])
def test_spiral_has_the_closed_form_length(inner_radius_mm, pitch_mm, turns):
    b = pitch_mm / (2 * np.pi)
    first = inner_radius_mm / b
    last = first + 2 * np.pi * turns

    def primitive(u: float) -> float:
        return 0.5 * b * (u * np.sqrt(1 + u * u) + np.arcsinh(u))

    measured = length_mm(shapes.spiral(pitch_mm, turns, inner_radius_mm=inner_radius_mm))
    assert measured == pytest.approx(primitive(last) - primitive(first), **LENGTH)  # [C]


def test_spiral_of_the_alignment_table_has_its_stated_length():
    measured = length_mm(shapes.spiral(10, 3, inner_radius_mm=4))
    assert measured == pytest.approx(359.8296, **LENGTH)  # [C] MEASURES.md section 2


def test_square_rectangle_and_zigzag_have_the_sum_of_their_sides():
    assert length_mm(shapes.square(70), closed=True) == pytest.approx(280.0)  # [C]
    assert length_mm(shapes.rectangle(80, 30), closed=True) == pytest.approx(220.0)  # [C]
    assert length_mm(shapes.zigzag(22.5, 35, 8)) == pytest.approx(8 * np.hypot(22.5, 35))  # [C]


def test_hairpin_has_two_legs_and_half_a_circle():
    assert length_mm(shapes.hairpin(120, 12)) == pytest.approx(240 + 6 * np.pi, **LENGTH)  # [C]


def test_figure_eight_has_the_length_of_its_integral():
    expected = quad(lambda u: np.hypot(75 * np.cos(u), 56 * np.cos(2 * u)), 0, 2 * np.pi)[0]
    measured = length_mm(shapes.figure_eight(150, 56), closed=True)
    assert measured == pytest.approx(expected, **LENGTH)  # [X] scipy.integrate.quad


def test_letter_loops_have_the_length_of_their_integral():
    def speed(u: float) -> float:
        dy = -15 * np.sin(u)
        return float(np.hypot(24 / (2 * np.pi) + 8 * np.cos(u) - 0.2 * dy, dy))

    expected = 6 * quad(speed, 0, 2 * np.pi)[0]
    measured = length_mm(shapes.letter_loops(24, 30, count=6, loop_mm=8))
    assert measured == pytest.approx(expected, **LENGTH)  # [X] scipy.integrate.quad


@pytest.mark.parametrize("seed", range(5))
def test_random_smooth_path_has_the_asked_length(seed):
    assert length_mm(shapes.random_smooth(seed, length_mm=220)) == pytest.approx(
        220, **LENGTH
    )  # [C]


@pytest.mark.parametrize(
    ("curve", "first", "last"),
    [
        (lambda u: 40 * np.column_stack([np.sin(u), -np.cos(u)]), 0, 2 * np.pi),
        (lambda u: 3 * np.column_stack([np.sin(u), -np.cos(u)]), 0, 2 * np.pi),
        (lambda u: np.column_stack([-90 * np.cos(u), -45 * np.sin(u)]), 0, np.pi),
        (lambda u: np.column_stack([180 * u, -20 * np.sin(3 * np.pi * u)]), 0, 1),
        (lambda u: np.column_stack([75 * np.sin(u), 28 * np.sin(2 * u)]), 0, 2 * np.pi),
        (lambda u: u[:, None] * np.column_stack([np.cos(u), np.sin(u)]), 0, 30),
        (lambda u: np.column_stack([4 * u + 8 * np.sin(u), 15 * np.cos(u)]), 0, 30),
    ],
    ids=["circle", "small circle", "half ellipse", "sine", "eight", "spiral", "loops"],
)
def test_a_flattened_curve_leaves_room_for_snapping_within_the_flatness(curve, first, last):
    assert farthest_mm(curve, first, last) <= FLATNESS_MM - 0.01 / np.sqrt(2)  # [C] bound


def test_a_flattened_circle_does_not_spend_more_vertices_than_its_bend_needs():
    needed = np.pi / np.arccos(1 - FLATNESS_MM / 40)  # [C] chords of the largest sagitta
    assert needed <= len(shapes.circle(40)) <= 1.5 * needed


def test_the_snapped_circle_stays_within_the_flatness_of_the_true_one():
    rim = shapely.LinearRing(shapes.circle(40)).segmentize(0.05)
    radius_mm = np.hypot(*(np.array(rim.coords) - 40).T)
    assert np.abs(radius_mm - 40).max() <= FLATNESS_MM


@pytest.mark.parametrize("name", EVERY_SHAPE)
def test_every_vertex_is_a_whole_number_of_hundredths(name):
    hundredths = 100 * EVERY_SHAPE[name]
    assert np.abs(hundredths - np.round(hundredths)).max() < 1e-6


@pytest.mark.parametrize("name", EVERY_SHAPE)
def test_every_shape_lies_at_the_origin_without_repeated_vertices(name):
    points_mm = EVERY_SHAPE[name]
    assert points_mm.min(axis=0).tolist() == [0.0, 0.0]
    assert (np.hypot(*np.diff(points_mm, axis=0).T) > 0).all()
    assert np.hypot(*(points_mm[-1] - points_mm[0])) > 0


def test_settled_moves_a_vertex_by_less_than_half_a_step():
    raw = np.random.default_rng(1).uniform(0, 100, (500, 2))
    moved = settled(raw, origin_mm=(0, 0)) - raw
    assert np.abs(moved).max() <= 0.005 + 1e-9


def test_corners_stay_vertices():
    assert shapes.zigzag(22.5, 35, 3).tolist() == [[0, 35], [22.5, 0], [45, 35], [67.5, 0]]
    assert shapes.square(70).tolist() == [[0, 0], [70, 0], [70, 70], [0, 70]]


def test_the_eight_passes_its_crossing_twice_and_crosses_itself_once():
    eight = shapes.figure_eight(150, 56)
    middle = np.array([75.0, 0.5 * eight[:, 1].max()])
    assert (np.hypot(*(eight - middle).T) < 0.02).sum() == 2
    assert not shapely.LinearRing(eight).is_simple


def test_bridges_and_waves_start_left_and_rise_first():
    for shape in ("half_ellipse", "sine"):
        points_mm = EVERY_SHAPE[shape]
        assert points_mm[0, 0] == 0.0
        assert points_mm[1, 1] < points_mm[0, 1]


def test_a_circle_starts_at_its_top_and_goes_clockwise():
    points_mm = shapes.circle(40)
    assert points_mm[0].tolist() == [40.0, 0.0]
    assert points_mm[1, 0] > 40.0
    assert points_mm.max(axis=0).tolist() == [80.0, 80.0]


def test_nested_rectangles_keep_their_distance():
    outer, middle, inner = shapes.nested_rectangles(90, 60, inset_mm=8, count=3)
    assert outer.tolist() == [[0, 0], [90, 0], [90, 60], [0, 60]]
    for larger, smaller in ((outer, middle), (middle, inner)):
        gap_mm = shapely.LinearRing(larger).distance(shapely.LinearRing(smaller))
        assert gap_mm == pytest.approx(8.0)  # [C]


def test_every_letter_loop_crosses_itself_once():
    row = shapely.LineString(shapes.letter_loops(24, 30, count=6, loop_mm=8))
    pieces = shapely.get_num_geometries(shapely.node(row))
    assert pieces == 1 + 2 * 6  # [C] each crossing cuts two pieces more


def test_a_random_path_is_the_same_for_the_same_seed_only():
    assert np.array_equal(shapes.random_smooth(7), shapes.random_smooth(7))
    assert not np.array_equal(shapes.random_smooth(7)[:10], shapes.random_smooth(8)[:10])


@pytest.mark.parametrize(
    "make",
    [
        lambda: shapes.line(0, 0),
        lambda: shapes.circle(-1),
        lambda: shapes.half_ellipse(180, float("nan")),
        lambda: shapes.zigzag(10, 10, 0),
        lambda: shapes.spiral(10, 2, inner_radius_mm=-1),
        lambda: shapes.nested_rectangles(40, 30, inset_mm=8, count=3),
        lambda: shapes.letter_loops(40, 30, count=2, loop_mm=5),
    ],
)
def test_an_impossible_size_is_refused(make):
    with pytest.raises(BadGuide):
        make()
