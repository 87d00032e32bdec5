"""Distances between the trace and the guide as whole curves."""

from collections.abc import Iterator, Sequence

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


def _ends_of(pieces: FloatArray) -> FloatArray:
    """Ends of pieces, without the beginning of a piece where the one before it ended. [mm]"""
    joined = (pieces[1:, 0] == pieces[:-1, 1]).all(axis=1)
    return np.vstack([pieces[:1, 0], pieces[1:, 0][~joined], pieces[:, 1]])


def _farthest_mm(from_mm: FloatArray, to_mm: FloatArray, longest_mm: float) -> float:
    """Largest distance from the ends of some pieces to the nearest of others. [mm]"""
    at_mm = _ends_of(from_mm)
    ends = cKDTree(_ends_of(to_mm))
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


def _apart(guide: Guide, xy_mm: FloatArray) -> tuple[FloatArray, int, int]:
    """Distance of each point of the one curve from each of the other, row after row. [mm]"""
    guide_mm = np.vstack([part.outline_mm for part in guide.parts])
    first, second = (resampled(line, RESAMPLE_MM, MOST_POINTS) for line in (guide_mm, xy_mm))
    away_mm = first.T[:, :, None] - second.T[:, None, :]
    return np.hypot(*away_mm).ravel(), len(first), len(second)


def _diagonals(rows: int, columns: int) -> Iterator[tuple[int, int, slice]]:
    """Rows ``lo <= i < hi`` of each anti-diagonal i + j = k, and where its cells lie.

    Its cells depend on those of the two before it, not on each other. Values of a diagonal
    are kept with one place more in front, for the row before the first. Rows from `hi` on
    are still infinite; those below `lo` are not asked for any more.
    """
    for k in range(rows + columns - 1):
        lo, hi = max(0, k - columns + 1), min(rows, k + 1)
        stride = columns - 1
        yield lo, hi, slice(k + lo * stride, k + (hi - 1) * stride + 1, stride)


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
    apart_mm, rows, columns = _apart(guide, xy_mm)
    # (GEOS 3.14 has this distance too, but was seen to give 7.89 mm where this recursion gives
    # 2.99 mm.)
    before_mm, last_mm, new_mm = (np.full(rows + 1, np.inf) for _ in range(3))
    before_mm[0] = -np.inf
    for lo, hi, cells in _diagonals(rows, columns):
        came_mm = np.minimum(before_mm[lo:hi], last_mm[lo:hi])
        np.minimum(came_mm, last_mm[lo + 1 : hi + 1], out=came_mm)
        np.maximum(came_mm, apart_mm[cells], out=new_mm[lo + 1 : hi + 1])
        before_mm[0] = np.inf
        before_mm, last_mm, new_mm = last_mm, new_mm, before_mm
    return float(last_mm[-1])


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
    apart_mm, rows, columns = _apart(guide, xy_mm)
    before, last, new = (np.full(rows + 1, np.inf) for _ in range(3))
    before_count, last_count, new_count = (np.zeros(rows + 1) for _ in range(3))
    before[0] = 0.0
    for lo, hi, cells in _diagonals(rows, columns):
        cost, count = before[lo:hi], before_count[lo:hi]
        for shift in (0, 1):
            other = last[lo + shift : hi + shift]
            less = other < cost
            cost = np.where(less, other, cost)
            count = np.where(less, last_count[lo + shift : hi + shift], count)
        np.add(cost, apart_mm[cells], out=new[lo + 1 : hi + 1])
        np.add(count, 1, out=new_count[lo + 1 : hi + 1])
        before[0] = np.inf
        before, last, new = last, new, before
        before_count, last_count, new_count = last_count, new_count, before_count
    return float(last[-1] / last_count[-1])


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
