"""Distances between the trace and the guide as whole curves."""

from collections.abc import Sequence

import numpy as np
import shapely

from analysis.guide import Guide
from analysis.trace import FloatArray
from analysis.value import Refused

RESAMPLE_MM, MOST_POINTS = 1.0, 600
"""Spacing and greatest number of points for order-aware distances."""
DENSE_MM = 0.25
"""Spacing of the points from which the Hausdorff distance is taken. [mm]"""
DTW_STEP_RULE = "symmetric1"
"""Every step of the warping path costs once the distance of the cell it enters."""


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


def _lines(curves: Sequence[FloatArray]) -> shapely.MultiLineString:
    return shapely.MultiLineString([resampled(curve, DENSE_MM) for curve in curves])


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
        Symmetric Hausdorff distance from points every 0.25 mm to the other's lines. [mm]
    """
    lines = _lines([part.outline_mm for part in guide.parts])
    return float(shapely.hausdorff_distance(lines, _lines(strokes_mm)))


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
    return float(shapely.frechet_distance(shapely.LineString(first), shapely.LineString(second)))


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
        Least cost divided by the number of cells of its path; step rule symmetric1,
        diagonal first among equals. [mm]
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
    line_mm = guide.parts[0].outline_mm
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
    if len(lap_mm) < 4:
        raise Refused("too_little_traced")
    drawn = shapely.make_valid(shapely.Polygon(lap_mm))
    asked = shapely.Polygon(guide.parts[0].points_mm)
    return float(shapely.area(shapely.symmetric_difference(asked, drawn)))
