"""Whole curves, lengths and areas against other people's libraries."""

import numpy as np
import pytest
import shapely
import similaritymeasures
from scipy.spatial.distance import directed_hausdorff
from skimage.metrics import hausdorff_distance
from svgpathtools import Arc, CubicBezier

from analysis.guide import Guide
from analysis.registry import measure_all
from analysis.trace import FloatArray
from analysis.value import Value
from analysis.workings import Workings
from tests.checked import checks
from tests.known import RATES_HZ, trial

rates = pytest.mark.parametrize("rate_hz", RATES_HZ)
BENT = np.array([[0.0, 0.0], [60.0, 20.0], [120.0, 0.0]])
T_S = np.arange(140) / 60  # [s]


def values(guide: Guide, xy_mm: FloatArray, t_s: FloatArray | None = None) -> dict[str, Value]:
    return measure_all(Workings(trial(guide, xy_mm, t_s)))


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value


def rough(seed: int) -> FloatArray:
    """A line along `BENT`, about 2 mm off it."""
    x_mm = np.linspace(0, 120, 140)
    y_mm = 20 - np.abs(x_mm - 60) / 3
    return np.column_stack([x_mm, y_mm + np.random.default_rng(seed).normal(0, 2, 140)])


def every_mm(points_mm: FloatArray) -> FloatArray:
    """Points at even steps of at most 1 mm, made by shapely."""
    line = shapely.LineString(points_mm)
    count = int(np.ceil(line.length)) + 1
    return shapely.get_coordinates(line.interpolate(np.linspace(0, line.length, count)))


@checks("X", "similaritymeasures.frechet_dist", "frechet_distance")
@pytest.mark.parametrize("seed", [5, 6, 7])
def test_frechet_distance_is_that_of_similaritymeasures(seed: int) -> None:
    xy_mm = rough(seed)
    other = similaritymeasures.frechet_dist(every_mm(BENT), every_mm(xy_mm))
    found = values(Guide.from_points(BENT), xy_mm, T_S)
    assert number(found, "frechet_distance") == pytest.approx(other, rel=1e-6)  # [X]


def path_cells(table: FloatArray) -> int:
    """Cells of the cheapest way back through a table of costs, the diagonal first."""
    i, j = table.shape[0] - 1, table.shape[1] - 1
    cells = 1
    while i or j:
        steps = [(i - 1, j - 1), (i - 1, j), (i, j - 1)]
        i, j = min((s for s in steps if min(s) >= 0), key=lambda s: table[s])
        cells += 1
    return cells


@checks("X", "similaritymeasures.dtw", "dtw_mean_distance")
@pytest.mark.parametrize("seed", [5, 6, 7])
def test_warped_distance_is_that_of_similaritymeasures(seed: int) -> None:
    xy_mm = rough(seed)
    cost, table = similaritymeasures.dtw(every_mm(BENT), every_mm(xy_mm))
    found = values(Guide.from_points(BENT), xy_mm, T_S)
    assert number(found, "dtw_mean_distance") == pytest.approx(cost / path_cells(table), rel=1e-6)


@checks("X", "scipy directed_hausdorff of points every 0.05 mm, both ways", "hausdorff_distance")
@checks("X", "skimage hausdorff_distance of both curves as pixels of 0.1 mm", "hausdorff_distance")
@pytest.mark.parametrize("seed", [5, 6])
def test_hausdorff_distance_is_that_of_scipy_and_of_scikit_image(seed: int) -> None:
    xy_mm = rough(seed)
    dense = []
    for points in (BENT, xy_mm):
        line = shapely.LineString(points)
        steps = np.linspace(0, line.length, int(line.length / 0.05))
        dense.append(shapely.get_coordinates(line.interpolate(steps)))
    found = number(values(Guide.from_points(BENT), xy_mm, T_S), "hausdorff_distance")
    other = max(directed_hausdorff(*dense)[0], directed_hausdorff(*dense[::-1])[0])
    # Points of ours lie 0.25 mm apart, and may miss a peak by half of that.
    assert found == pytest.approx(other, abs=0.125)  # [X]
    images = np.zeros((2, 1420, 420), dtype=bool)
    for image, points in zip(images, dense, strict=True):
        image[tuple(np.round(10 * (points + 10)).astype(int).T)] = True
    assert found == pytest.approx(hausdorff_distance(*images) / 10, abs=0.15)  # [X]


@checks("X", "shapely area of the polygon of line and trace", "area_between")
def test_area_of_a_trace_on_one_side_is_that_of_a_polygon() -> None:
    x_mm = np.linspace(0, 120, 961)
    y_mm = 20 - np.abs(x_mm - 60) / 3 + 6 * np.sin(np.pi * x_mm / 120) + 1
    found = values(Guide.from_points(BENT), np.column_stack([x_mm, y_mm]))
    polygon = shapely.Polygon([*BENT, *np.column_stack([x_mm, y_mm])[::-1]])
    assert number(found, "area_between") == pytest.approx(polygon.area, rel=1e-6)  # [X]


CURVES = {
    "bezier": CubicBezier(10 + 40j, 60 - 30j, 120 + 150j, 180 + 40j),
    "arc": Arc(20 + 60j, 70 + 40j, 0, False, True, 160 + 60j),
}


@checks(
    "X",
    "svgpathtools length of a cubic Bezier curve and of an elliptic arc",
    "path_length",
    "path_length_ratio",
    "speed_mean",
    "steering_index_of_difficulty",
    "steering_rate",
)
@rates
@pytest.mark.parametrize("name", CURVES)
def test_lengths_of_curves_are_those_of_svgpathtools(name: str, rate_hz: float) -> None:
    curve = CURVES[name]
    places = np.array([curve.point(u) for u in np.linspace(0, 1, 2001)])
    guide = Guide.from_points(np.column_stack([places.real, places.imag]), corridor_mm=8)
    length_mm = curve.length()
    assert guide.length_mm == pytest.approx(length_mm, rel=1e-5)  # [X]
    t_s = np.arange(0, 6 + 0.5 / rate_hz, 1 / rate_hz)
    s_mm = np.linspace(0, guide.length_mm * (1 - 1e-9), len(t_s))
    found = values(guide, guide.point_at(s_mm), t_s)
    assert number(found, "path_length") == pytest.approx(length_mm, rel=2e-3)  # [X]
    assert number(found, "path_length_ratio") == pytest.approx(1.0, abs=2e-3)  # [X]
    assert number(found, "speed_mean") == pytest.approx(length_mm / t_s[-1], rel=2e-3)  # [X]
    index = number(found, "steering_index_of_difficulty")
    assert index == pytest.approx(length_mm / 8, rel=1e-5)  # [X]
    assert number(found, "steering_rate") == pytest.approx(length_mm / 8 / t_s[-1], rel=1e-5)
