"""Distances between whole curves, beside other libraries and their definitions."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from similaritymeasures import frechet_dist

from analysis import distances
from analysis.alignment import align
from analysis.guide import Guide
from analysis.registry import measure_all
from analysis.trace import FloatArray
from analysis.workings import Workings
from tests.checked import checks
from tests.known import trial


def value(guide: Guide, xy_mm: FloatArray, name: str) -> float:
    t_s = np.arange(len(xy_mm)) / 120
    found = measure_all(Workings(trial(guide, xy_mm, t_s)))[name]
    assert found.number is not None, found.reason
    return found.number


def zigzag() -> Guide:
    return Guide.from_points([[0, 0], [20, 35], [40, 0], [60, 35], [80, 0]])


@checks("X", "similaritymeasures: frechet_dist", "frechet_distance")
@pytest.mark.parametrize("seed", range(12))
def test_frechet_distance_agrees_with_another_library(seed: int) -> None:
    guide, rng = zigzag(), np.random.default_rng(seed)
    s_mm = np.linspace(0, guide.length_mm * (1 - 1e-9), 500)
    # Loops of some mm and a rest in the middle: many ways through the table are near equal.
    wave = np.sin(s_mm[:, None] * rng.uniform(0.05, 0.4, 4) + rng.uniform(0, 6, 4))
    still = np.minimum(s_mm, 90.0) + np.maximum(s_mm - 110.0, 0.0)
    still *= guide.length_mm * (1 - 1e-9) / still[-1]
    xy_mm = guide.point_at(still) + 2.0 * wave.reshape(500, 2, 2).sum(axis=1)
    first, second = (
        distances.resampled(curve, 1.0, 600) for curve in (guide.parts[0].outline_mm, xy_mm)
    )
    other_mm = frechet_dist(first, second)
    assert value(guide, xy_mm, "frechet_distance") == pytest.approx(other_mm, abs=1e-9)


@checks("X", "shapely: make_valid and symmetric_difference", "area_between")
@pytest.mark.parametrize("seed", range(8))
def test_area_of_a_knotted_lap_agrees_with_another_way(seed: int) -> None:
    rng = np.random.default_rng(seed)
    square_mm = np.array([[0, 0], [60, 0], [60, 60], [0, 60]], float)
    guide = Guide.from_points(square_mm, closed=True)
    s_mm = np.linspace(0, guide.length_mm, 700)
    xy_mm = guide.point_at(s_mm) + rng.normal(0.0, 0.4, (700, 2))
    drawn = shapely.make_valid(shapely.Polygon(Workings(trial(guide, xy_mm, None)).first_lap_mm))
    other = shapely.area(shapely.symmetric_difference(shapely.Polygon(square_mm), drawn))
    assert value(guide, xy_mm, "area_between") == pytest.approx(other, rel=1e-9)


@checks("C", "a loop inside a lap is left out by the even-odd rule", "area_between")
def test_a_loop_drawn_inside_a_lap_counts_as_outside_it() -> None:
    guide = Guide.from_points([[0, 0], [60, 0], [60, 60], [0, 60]], closed=True)
    sides = np.array([[0, 0], [60, 0], [60, 60], [0, 60], [0, 40], [20, 40], [20, 20], [0, 20]])
    # Inside, a square of 20 mm is drawn the same way round once more, beginning at its corner.
    loop = np.array([[0, 40], [20, 40], [20, 20], [0, 20], [0, 40]])
    corners = np.vstack([sides[:5], loop[1:], loop[1:], [[0, 0]]])
    xy_mm = np.vstack([np.linspace(a, b, 40) for a, b in pairwise(corners)])
    assert value(guide, xy_mm, "area_between") == pytest.approx(0.0, abs=1e-9)
    # Without it the side runs round the square of 20 mm: that much is left out of the lap.
    dented = np.vstack([sides, [[0, 0]]])
    once_mm = np.vstack([np.linspace(a, b, 40) for a, b in pairwise(dented)])
    assert value(guide, once_mm, "area_between") == pytest.approx(400.0, abs=1e-9)


@checks("C", "beyond an apex every place lies on the outside of the turn", "deviation_bias")
@pytest.mark.parametrize("lean_mm", [-4.0, -1.0, 0.0, 1.0, 4.0])
def test_beyond_a_sharp_apex_the_line_stays_on_one_side(lean_mm: float) -> None:
    # Up, round an apex of 30 degrees, down: outside is left as the child sees it.
    guide = Guide.from_points([[0, 0], [20, -75], [40, 0]])
    angle = np.linspace(np.pi, 2 * np.pi, 181)
    beyond = np.column_stack([20 + lean_mm + 6 * np.cos(angle), -75 + 0.5 + 6 * np.sin(angle)])
    xy_mm = np.vstack(
        [np.linspace([-6.0, 0], beyond[0], 200), beyond, np.linspace(beyond[-1], [46.0, 0], 200)]
    )
    found = align(guide, xy_mm, np.zeros(len(xy_mm), dtype=int))
    assert (found.d_mm > 0).all()
    assert np.abs(np.diff(found.d_mm)).max() < 1.0
    assert value(guide, xy_mm, "deviation_bias") > 4.0
