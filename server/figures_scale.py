"""How millimetres become inches: the view of a picture and its fixed colour scale."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from analysis.guide import Guide, Part
from analysis.trace import FloatArray

# A picture of a small guide is not blown up past this, so that pages stay comparable.
LARGEST_SCALE = 1.25
SMALLEST_VIEW_MM = (110.0, 36.0)
MARGIN_MM = 7.0
MM_PER_IN = 25.4
WIDTH_IN, NARROW_IN = 7.1, 3.9
TALLEST_IN = 5.4
# Used for the colours when a guide has no corridor at all.
USUAL_HALF_WIDTH_MM = 6.0
ARC_STEPS = 16


@dataclass(frozen=True)
class View:
    """The rectangle of the task area that is shown [mm], and its size on paper [in]."""

    left_mm: float
    top_mm: float
    right_mm: float
    bottom_mm: float
    width_in: float
    height_in: float

    @property
    def mm_per_in(self) -> float:
        """Scale of the picture. [mm/in]"""
        return (self.right_mm - self.left_mm) / self.width_in


def view_of(low_mm: FloatArray, high_mm: FloatArray, width_in: float = WIDTH_IN) -> View:
    """Return the view that shows everything between two corners with equal scales.

    Parameters
    ----------
    low_mm, high_mm : array, shape (2,)
        Corners of the box around all that is drawn. [mm]
    width_in : float
        Width of the view on paper. [in]

    Returns
    -------
    View
        At most `TALLEST_IN` high.
    """
    middle_mm = (low_mm + high_mm) / 2.0
    size_mm = np.maximum(high_mm - low_mm, SMALLEST_VIEW_MM) + 2.0 * MARGIN_MM
    in_per_mm = min(width_in / size_mm[0], TALLEST_IN / size_mm[1], LARGEST_SCALE / MM_PER_IN)
    height_in = float(size_mm[1] * in_per_mm)
    half_mm = np.array([width_in, height_in]) / in_per_mm / 2.0
    (left, top), (right, bottom) = middle_mm - half_mm, middle_mm + half_mm
    return View(float(left), float(top), float(right), float(bottom), width_in, height_in)


def half_width_mm(guide: Guide | None) -> float:
    """Half-width of the corridor where it is widest; the usual one without a corridor. [mm]"""
    if guide is None or not guide.has_corridor:
        return USUAL_HALF_WIDTH_MM
    widths_mm = [np.max(part.corridor_mm) for part in guide.parts if part.corridor_mm is not None]
    return float(max(widths_mm)) / 2.0


def corridor_area(guide: Guide) -> BaseGeometry:
    """Return the band of a guide as one area in mm, ends round; empty without corridor."""
    return shapely.union_all([_part_area(part) for part in guide.parts])


def _part_area(part: Part) -> BaseGeometry:
    width_mm = part.outline_corridor_mm
    if width_mm is None:
        return shapely.Polygon()
    line = shapely.LineString(part.outline_mm)
    if np.ptp(width_mm) < 1e-6:
        return line.buffer(float(width_mm[0]) / 2.0, quad_segs=ARC_STEPS)
    discs = shapely.buffer(shapely.points(part.outline_mm), width_mm / 2.0, quad_segs=ARC_STEPS)
    pairs = [shapely.union(one, other).convex_hull for one, other in pairwise(discs)]
    return shapely.union_all(pairs)
