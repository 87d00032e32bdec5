"""Distances between the trace and the guide as whole curves."""

from collections.abc import Sequence

import numpy as np
import shapely
from scipy.spatial import cKDTree

from analysis.guide import Guide
from analysis.thinning import keypoints
from analysis.trace import BoolArray, FloatArray
from analysis.value import Refused

RESAMPLE_MM, MOST_POINTS = 1.0, 600
"""Spacing and greatest number of points for order-aware distances."""
DENSE_MM, DENSE_MOST = 0.25, 100_000
"""Greatest spacing of the points from which the Hausdorff distance is taken [mm]; wider only on
lines longer than 25 m."""
AREA_SPACING_MM, AREA_MOST_POINTS = 0.1, 2000
"""Of more samples than these, areas take one every so far [mm], doubled until few enough: a pen
that rests or scribbles crosses its own line once for nearly every pair of samples."""


def resampled(xy_mm: FloatArray, step_mm: float, most: int | None = None) -> FloatArray:
    """Points at even distances along a polyline, both ends included.

    Parameters
    ----------
    xy_mm : ndarray, shape (n, 2)
        Vertices, at least one. [mm]
    step_mm : float
        Greatest spacing. [mm]
    most : int or None
        Greatest number of points; the spacing grows to keep it.

    Returns
    -------
    ndarray, shape (k, 2)
        At least two points. [mm]
    """
    step = np.hypot(*np.diff(xy_mm, axis=0).T) if len(xy_mm) > 1 else np.empty(0)
    along_mm = np.insert(np.cumsum(step), 0, 0.0)
    count = max(2, int(np.ceil(along_mm[-1] / step_mm - 1e-9)) + 1)
    if most is not None:
        count = min(count, most)
    at_mm = np.linspace(0, along_mm[-1], count)
    return np.column_stack([np.interp(at_mm, along_mm, column) for column in xy_mm.T])


def _pieces(curves: Sequence[FloatArray]) -> tuple[FloatArray, float]:
    """Short straight pieces of all curves, shape (m, 2, 2), and what none is longer than. [mm]"""
    ends = np.concatenate(
        [
            np.stack([curve[:-1], curve[1:]], axis=1) if len(curve) > 1 else curve[None, [0, 0]]
            for curve in curves
        ]
    )
    length_mm = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    longest_mm = max(DENSE_MM, float(length_mm.sum()) / DENSE_MOST)
    parts = np.maximum(np.ceil(length_mm / longest_mm - 1e-9), 1).astype(np.int64)
    owner = np.repeat(np.arange(len(ends)), parts)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(parts) - parts, parts)
    step = (ends[owner, 1] - ends[owner, 0]) / parts[owner, None]
    first = ends[owner, 0] + number[:, None] * step
    return np.stack([first, first + step], axis=1), longest_mm


def _farthest_mm(from_mm: FloatArray, to_mm: FloatArray, longest_mm: float) -> float:
    """Largest distance from the ends of some pieces to the nearest of others. [mm]"""
    at_mm = np.unique(from_mm.reshape(-1, 2), axis=0)
    ends = cKDTree(np.unique(to_mm.reshape(-1, 2), axis=0))
    most_mm = np.asarray(ends.query(at_mm)[0])
    # A piece comes nearer than its ends by half its length at most.
    at_mm = at_mm[most_mm >= most_mm.max() - longest_mm / 2]
    tree = shapely.STRtree(np.atleast_1d(np.asarray(shapely.linestrings(to_mm))))
    points = np.atleast_1d(np.asarray(shapely.points(at_mm)))
    found = tree.query_nearest(points, return_distance=True, all_matches=False)
    return float(np.asarray(found[1]).max())


def hausdorff_mm(guide: Guide, strokes_mm: Sequence[FloatArray]) -> float:
    """Largest distance from any point of either curve to the other one.

    Parameters
    ----------
    guide : Guide
        The guide.
    strokes_mm : sequence of ndarray, shape (n, 2)
        Drawn strokes. [mm]

    Returns
    -------
    float
        Symmetric Hausdorff distance from the vertices, and from points at most 0.25 mm apart
        between them, to the other's lines. [mm]
    """
    asked, asked_mm = _pieces([part.outline_mm for part in guide.parts])
    drawn, drawn_mm = _pieces(strokes_mm)
    return max(_farthest_mm(asked, drawn, drawn_mm), _farthest_mm(drawn, asked, asked_mm))


def _both(guide: Guide, xy_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    guide_mm = np.vstack([part.outline_mm for part in guide.parts])
    return resampled(guide_mm, RESAMPLE_MM, MOST_POINTS), resampled(xy_mm, RESAMPLE_MM, MOST_POINTS)


def frechet_mm(guide: Guide, xy_mm: FloatArray) -> float:
    """Discrete Fréchet distance (Eiter & Mannila 1994): aware of the order of drawing.

    Parameters
    ----------
    guide : Guide
        As travelled.
    xy_mm : ndarray, shape (n, 2)
        Drawn positions in order; a lift is bridged by a straight line. [mm]

    Returns
    -------
    float
        Both curves resampled to 1 mm, at most 600 points. [mm]
    """
    first, second = _both(guide, xy_mm)
    rows, columns = len(first), len(second)
    # Cells of one anti-diagonal i + j = k do not depend on each other. (GEOS 3.14 has this
    # distance too, but was seen to give 7.89 mm where this recursion gives 2.99 mm.)
    reach_mm = np.full(rows, np.inf)
    before_mm = reach_mm.copy()
    for k in range(rows + columns - 1):
        i = np.arange(max(0, k - columns + 1), min(rows, k + 1))
        distance_mm = np.hypot(*(first[i] - second[k - i]).T)
        above = np.maximum(i - 1, 0)
        came_mm = np.minimum(before_mm[above], reach_mm[above])
        came_mm = np.minimum(np.where(i > 0, came_mm, np.inf), reach_mm[i])
        new_mm = np.full(rows, np.inf)
        new_mm[i] = distance_mm if k == 0 else np.maximum(came_mm, distance_mm)
        before_mm, reach_mm = reach_mm, new_mm
    return float(reach_mm[-1])


def dtw_mean_mm(guide: Guide, xy_mm: FloatArray) -> float:
    """Mean distance along the dynamic time warping path (Sakoe & Chiba 1978).

    Parameters
    ----------
    guide : Guide
        As travelled.
    xy_mm : ndarray, shape (n, 2)
        Drawn positions in order. [mm]

    Returns
    -------
    float
        Least cost divided by the number of cells of its path. Every step costs once the
        distance of the cell it enters (symmetric1); diagonal first among equals. [mm]
    """
    first, second = _both(guide, xy_mm)
    rows, columns = len(first), len(second)
    # Cells of one anti-diagonal i + j = k do not depend on each other.
    cost = np.full(rows, np.inf)
    before, before_cells, cells = cost.copy(), np.zeros(rows), np.zeros(rows)
    for k in range(rows + columns - 1):
        i = np.arange(max(0, k - columns + 1), min(rows, k + 1))
        distance = np.hypot(*(first[i] - second[k - i]).T)
        new, new_cells = np.full(rows, np.inf), np.zeros(rows)
        if k == 0:
            new[0], new_cells[0] = distance[0], 1
        else:
            above = np.where(i > 0, i - 1, 0)
            options = np.stack(
                [
                    np.where(i > 0, before[above], np.inf),
                    np.where(i > 0, cost[above], np.inf),
                    cost[i],
                ]
            )
            counts = np.stack([before_cells[above], cells[above], cells[i]])
            best = options.argmin(axis=0)
            here = np.arange(len(i))
            new[i], new_cells[i] = options[best, here] + distance, counts[best, here] + 1
        before, before_cells, cost, cells = cost, cells, new, new_cells
    return float(cost[-1] / cells[-1])


def _thinned(xy_mm: FloatArray) -> FloatArray:
    one_stroke = np.zeros(len(xy_mm), dtype=np.int64)
    spacing_mm, kept_mm = AREA_SPACING_MM, xy_mm
    while len(kept_mm) > AREA_MOST_POINTS and spacing_mm <= RESAMPLE_MM:
        kept_mm = xy_mm[keypoints(xy_mm, one_stroke, spacing_mm)]
        spacing_mm *= 2
    few = np.linspace(0, len(kept_mm) - 1, min(len(kept_mm), AREA_MOST_POINTS))
    return kept_mm[few.round().astype(np.int64)]


def area_open_mm2(guide: Guide, xy_mm: FloatArray) -> float:
    """Area enclosed between an open guide, the trace and the two lines joining their ends.

    Parameters
    ----------
    guide : Guide
        One open part, as travelled.
    xy_mm : ndarray, shape (n, 2)
        Drawn positions in order. [mm]

    Returns
    -------
    float
        Sum of all enclosed faces, each counted once. [mm2]
    """
    line_mm, xy_mm = guide.parts[0].outline_mm, _thinned(xy_mm)
    curves = [line_mm, xy_mm, np.stack([line_mm[0], xy_mm[0]]), np.stack([line_mm[-1], xy_mm[-1]])]
    lines = [shapely.LineString(curve) for curve in curves if np.ptp(curve, axis=0).any()]
    faces = shapely.polygonize([shapely.union_all(shapely.MultiLineString(lines))])
    return float(shapely.area(faces))


def area_closed_mm2(guide: Guide, lap_mm: FloatArray) -> float:
    """Area of the symmetric difference between a closed guide and one drawn lap.

    Parameters
    ----------
    guide : Guide
        One closed part that does not cross itself.
    lap_mm : ndarray, shape (n, 2)
        The first full lap; its ends are joined. [mm]

    Returns
    -------
    float
        Area inside one but not both. [mm2]

    Raises
    ------
    Refused
        ``too_little_traced`` if the lap encloses nothing.
    """
    lap_mm = _thinned(lap_mm)
    if len(lap_mm) < 4:
        raise Refused("too_little_traced")
    asked_mm = guide.parts[0].points_mm
    lines = shapely.union_all([shapely.LinearRing(asked_mm), shapely.LinearRing(lap_mm)])
    faces = shapely.get_parts(shapely.polygonize([lines]))
    inner_mm = shapely.get_coordinates(shapely.point_on_surface(faces))
    either = _is_inside(inner_mm, asked_mm) != _is_inside(inner_mm, lap_mm)
    return float(shapely.area(faces)[either].sum())


def _is_inside(points_mm: FloatArray, ring_mm: FloatArray) -> BoolArray:
    """Whether each point lies inside a ring by the even-odd rule.

    A ray to the right meets an odd number of its sides. The tree makes this as fast as
    sorting: a resting pen ties thousands of knots, and one valid polygon of them all
    would take seconds.
    """
    start_mm, end_mm = ring_mm, np.roll(ring_mm, -1, axis=0)
    beyond_mm = np.column_stack([np.full(len(points_mm), ring_mm[:, 0].max()), points_mm[:, 1]])
    beyond_mm[:, 0] = np.maximum(beyond_mm[:, 0], points_mm[:, 0])
    sides = np.asarray(shapely.linestrings(np.stack([start_mm, end_mm], axis=1)))
    tree = shapely.STRtree(sides)
    ray, side = tree.query(shapely.linestrings(np.stack([points_mm, beyond_mm], axis=1)))
    y_mm, from_mm, to_mm = points_mm[ray, 1], start_mm[side], end_mm[side]
    over = (from_mm[:, 1] > y_mm) != (to_mm[:, 1] > y_mm)
    ray, y_mm, from_mm, to_mm = ray[over], y_mm[over], from_mm[over], to_mm[over]
    share = (y_mm - from_mm[:, 1]) / (to_mm[:, 1] - from_mm[:, 1])
    meets_mm = from_mm[:, 0] + share * (to_mm[:, 0] - from_mm[:, 0])
    count = np.bincount(ray[meets_mm > points_mm[ray, 0]], minlength=len(points_mm))
    inside: BoolArray = count % 2 == 1
    return inside
