"""How far the edge of a cut piece lies from its template, and what its outline shows."""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from analysis.guide import Part
from analysis.outline import ClosedLine
from analysis.trace import FloatArray, IntArray

FINE_CELLS = 16_384
"""Cells into which a closed line is cut for its distances: 0.01 mm on a shape of 40 mm. [1]"""
BAND_ROUNDING_MM = 1e-6
"""An edge cut exactly at the band's limit is inside, whatever rounding does. [mm]"""
SNIP_TURN_DEG = 20.0
"""A place that turns by less belongs to one cut of the scissors. [deg]"""
SNIP_REACH_MM = 2.0
"""The turn is that of the straight way there from this far before to this far after. [mm]"""
SNIP_STEP_MM = 0.25
"""Places between vertices are looked at every so far, so that it does not matter how densely
the edge was digitised. [mm]"""
TEMPLATE_REACH_MM = 5.0
"""Nearer to a place where the template itself turns as much, the turn was asked for. A right
angle rounded so far that it still turns 20° over 2 mm (r = 5.7 mm) does so within 4.8 mm. [mm]"""
ROUNDING_DEG = 1e-6
"""Rounding of the turn. [deg]"""


@dataclass(frozen=True, eq=False)
class Edge:
    """Signed distance of an outline from its template, all round.

    Parameters
    ----------
    d_mm : ndarray, shape (m,)
        Where each cell of the outline begins; positive outside the template. [mm]
    cell_mm : ndarray, shape (m,)
        Length of each cell. [mm]
    band_mm : ndarray, shape (m,), or None
        How far from the template counts as near enough there. [mm]
    """

    d_mm: FloatArray
    cell_mm: FloatArray
    band_mm: FloatArray | None

    def _ends(self) -> tuple[FloatArray, FloatArray]:
        return self.d_mm, np.roll(self.d_mm, -1)

    def _mean(self, cell_values: FloatArray) -> float:
        return float((cell_values * self.cell_mm).sum() / self.cell_mm.sum())

    @property
    def mean_abs_mm(self) -> float:
        """(1/L) ∫ |d| dl, exact where the sign changes inside a cell. [mm]"""
        a, b = self._ends()
        size = np.abs(a) + np.abs(b)
        crossed = (a**2 + b**2) / np.where(size > 0, 2 * size, 1.0)
        return self._mean(np.where(a * b < 0, crossed, size / 2))

    @property
    def mean_mm(self) -> float:
        """(1/L) ∫ d dl; positive outside. [mm]"""
        a, b = self._ends()
        return self._mean((a + b) / 2)

    def within_share(self, band_mm: FloatArray) -> float:
        """Share of the outline's length with |d| no larger than the band. [1]"""
        wide = band_mm + BAND_ROUNDING_MM
        outside = np.zeros(len(self.d_mm))
        for over in (self.d_mm - wide, -self.d_mm - wide):
            a, b = over, np.roll(over, -1)
            root = np.clip(-a / np.where(a == b, 1.0, b - a), 0.0, 1.0)
            part = np.where(b > 0, 1.0 - root, 0.0)
            outside += np.where(a > 0, np.where(b > 0, 1.0, root), part)
        return min(1.0, max(0.0, self._mean(1.0 - outside)))


def edge_of(outline: ClosedLine, template: Part, line: ClosedLine, band_mm: float | None) -> Edge:
    """Signed distance of an outline from its template.

    Parameters
    ----------
    outline : ClosedLine
        The cut edge, laid on the template.
    template : Part
        Closed and simple; its corridor gives the band unless `band_mm` does.
    line : ClosedLine
        The template's line, with the same vertices.
    band_mm : float or None
        Distance each side that counts as near enough. [mm]

    Returns
    -------
    Edge
        At every vertex of the outline, and between them at steps of at most 1/16384 of
        its length.
    """
    at_mm, cell_mm = outline.cells(FINE_CELLS)
    foot_mm, piece, share = line.nearest(at_mm)
    polygon = shapely.Polygon(template.points_mm)
    shapely.prepare(polygon)
    inside = shapely.contains_xy(polygon, at_mm[:, 0], at_mm[:, 1])
    far_mm = np.hypot(*(at_mm - foot_mm).T)
    band = None if band_mm is None else np.full(len(at_mm), band_mm)
    if band is None and template.corridor_mm is not None:
        first_mm, last_mm = template.corridor_mm, np.roll(template.corridor_mm, -1)
        band = 0.5 * (first_mm[piece] + share * (last_mm[piece] - first_mm[piece]))
    return Edge(np.where(inside, -far_mm, far_mm), cell_mm, band)


def largest_mm(edge: Edge, outline: ClosedLine, line: ClosedLine) -> float:
    """Symmetric Hausdorff distance of an outline and its template.

    Parameters
    ----------
    edge : Edge
        Of the outline.
    outline, line : ClosedLine
        The outline as laid, and the template.

    Returns
    -------
    float
        The larger of the farthest point of the outline from the template and of the
        template from the outline; between vertices low by at most half a cell. [mm]
    """
    back_mm = outline.distance_mm(line.cells(FINE_CELLS)[0])
    return float(max(np.abs(edge.d_mm).max(), back_mm.max()))


def overlap_share(outline: shapely.Geometry, template: shapely.Geometry) -> float:
    """Area of the intersection over area of the union. [1]"""
    common_mm2 = shapely.area(shapely.intersection(outline, template))
    share = common_mm2 / (shapely.area(outline) + shapely.area(template) - common_mm2)
    return float(min(1.0, max(0.0, share)))


def corner_misses_mm(outline: ClosedLine, corners_mm: FloatArray) -> FloatArray:
    """Least distance of the outline from each corner, shape (k,). [mm]"""
    return outline.distance_mm(corners_mm)


def kinks(line: ClosedLine) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places at which a closed line turns by at least 20° over 2 mm.

    Parameters
    ----------
    line : ClosedLine
        The line.

    Returns
    -------
    xy_mm : ndarray, shape (k, 2)
        All vertices and places every 0.25 mm that do (coarser if the line is longer than
        4 m). [mm]
    s_mm : ndarray, shape (k,)
        Length from the first vertex to each. [mm]
    turn_deg : ndarray, shape (k,)
        Angle between the straight way from 2 mm before to the place and that from it to
        2 mm after, up to 180: the turn of a lone vertex, 2 mm / r on an arc of radius r. [deg]
    """
    count = int(min(FINE_CELLS, np.ceil(line.length_mm / SNIP_STEP_MM)))
    xy_mm, cell_mm = line.cells(count)
    s_mm = np.concatenate([[0.0], np.cumsum(cell_mm)[:-1]])
    before = xy_mm - line.at(s_mm - SNIP_REACH_MM)
    after = line.at(s_mm + SNIP_REACH_MM) - xy_mm
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn_deg = np.degrees(np.abs(np.arctan2(cross, np.einsum("nc,nc->n", before, after))))
    found = turn_deg >= SNIP_TURN_DEG - ROUNDING_DEG
    return xy_mm[found], s_mm[found], turn_deg[found]


def _apart(turn_deg: FloatArray, s_mm: FloatArray, length_mm: float) -> IntArray:
    """Indices left when the sharpest stand and those whose stretch overlaps theirs fall."""
    count = len(s_mm)
    # Three laps, so that the neighbours of the middle one need no wrapping.
    laps_mm = np.concatenate([s_mm - length_mm, s_mm, s_mm + length_mm])
    low = np.searchsorted(laps_mm, s_mm - 2 * SNIP_REACH_MM, side="left")
    high = np.searchsorted(laps_mm, s_mm + 2 * SNIP_REACH_MM, side="right")
    alive = np.ones(count, dtype=bool)
    kept: list[int] = []
    for at in np.argsort(-np.round(turn_deg, 6), kind="stable").tolist():
        if alive[at]:
            kept.append(at)
            alive[np.arange(low[at], high[at]) % count] = False
    return np.array(kept, dtype=np.int64)


def snip_marks_mm(outline: ClosedLine, line: ClosedLine) -> FloatArray:
    """Places where one cut of the scissors ended and another began.

    Parameters
    ----------
    outline : ClosedLine
        The cut edge, laid on the template.
    line : ClosedLine
        The template.

    Returns
    -------
    ndarray, shape (k, 2)
        Kinks of the outline farther than 5 mm from every kink of the template; of several
        within 4 mm along the outline the sharpest, so that a step is one mark. [mm]
    """
    xy_mm, s_mm, turn_deg = kinks(outline)
    asked_mm, _, _ = kinks(line)
    if len(xy_mm) and len(asked_mm):
        away_mm, _ = cKDTree(asked_mm).query(xy_mm)
        free = away_mm > TEMPLATE_REACH_MM
        xy_mm, s_mm, turn_deg = xy_mm[free], s_mm[free], turn_deg[free]
    if not len(xy_mm):
        return np.empty((0, 2))
    kept = _apart(turn_deg, s_mm, outline.length_mm)
    return np.asarray(xy_mm[np.sort(kept)])
