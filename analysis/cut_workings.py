"""Everything the measures of one cut piece share, computed once."""

from collections.abc import Callable
from functools import cached_property

import numpy as np
import shapely

from analysis.corners import corners
from analysis.cut import Cut
from analysis.cutting import Edge, edge_of
from analysis.guide import Guide
from analysis.outline import LEAST_AREA_SHARE, ClosedLine, distinct, polygon_of
from analysis.registration import Fit, Rigid, best_fit, marks_fit
from analysis.trace import FloatArray
from analysis.value import Refused

LEAST_TEMPLATE_MM2 = 1.0
"""A smaller template cannot be cut. [mm2]"""


def _centroid_mm(polygon: shapely.Polygon) -> FloatArray:
    centre = polygon.centroid
    return np.array([centre.x, centre.y])


class CutWorkings:
    """Shared steps of the measures of one cut edge; each is done at most once.

    Parameters
    ----------
    cut : Cut
        One cut piece.

    Examples
    --------
    >>> from analysis.guide import Part
    >>> square = Part([[0, 0], [40, 0], [40, 40], [0, 40]], closed=True)
    >>> moved = np.array([[4, 0], [44, 0], [44, 40], [4, 40]])
    >>> w = CutWorkings(Cut("c", square, moved, calibrated=True))
    >>> round(w.moved_mm, 6), round(w.polygon.area, 6)
    (4.0, 1600.0)
    """

    def __init__(self, cut: Cut) -> None:
        self.cut = cut

    @cached_property
    def template_polygon(self) -> shapely.Polygon | None:
        """Area that was to be cut out; None if the template does not bound one."""
        template = self.cut.template
        if not template.closed:
            return None
        try:
            polygon = polygon_of(template.points_mm)
        except Refused:
            return None
        return polygon if polygon.area >= LEAST_TEMPLATE_MM2 else None

    @cached_property
    def template(self) -> ClosedLine:
        """Line of the template; only where `template_polygon` is known."""
        return ClosedLine(self.cut.template.points_mm)

    @cached_property
    def corners_mm(self) -> FloatArray:
        """Corners of the template that turn by at least 30°, shape (k, 2). [mm]"""
        found = corners(Guide((self.cut.template,)))
        return np.array([corner.point_mm for corner in found]).reshape(-1, 2)

    @cached_property
    def digitised(self) -> shapely.Polygon | None:
        """The outline as it came; None if there is none or it is not one simple shape.

        Also None if it has less than a quarter of the template's area.
        """
        if self.cut.outline_mm is None or self.template_polygon is None:
            return None
        try:
            polygon = polygon_of(self.cut.outline_mm)
        except Refused:
            return None
        large = polygon.area >= LEAST_AREA_SHARE * self.template_polygon.area
        return polygon if large else None

    @cached_property
    def _digitised_mm(self) -> FloatArray:
        if self.cut.outline_mm is None or self.digitised is None:
            raise Refused("outline_invalid")
        return distinct(self.cut.outline_mm)

    @cached_property
    def fit(self) -> Fit | None:
        """How the outline is laid on the template; None if it cannot be laid."""
        cut, template = self.cut, self.template_polygon
        if self.digitised is None or template is None:
            return None
        if cut.registration == "none":
            return Fit(Rigid(0.0, np.zeros(2)), 0.0)
        if cut.registration == "best_fit":
            centres = (_centroid_mm(self.digitised), _centroid_mm(template))
            return best_fit(ClosedLine(self._digitised_mm), self.template, *centres)
        if cut.marks_seen_mm is None or cut.marks_printed_mm is None:
            return None
        return marks_fit(cut.marks_seen_mm, cut.marks_printed_mm)

    @cached_property
    def moved_mm(self) -> float:
        """How far laying moved the outline's centroid; 0 if it was not laid. [mm]"""
        if self.fit is None or self.digitised is None:
            return 0.0
        before = _centroid_mm(self.digitised)
        return float(np.hypot(*(self.fit.rigid.applied(before[None])[0] - before)))

    @cached_property
    def outline(self) -> ClosedLine:
        """The outline as laid on the template.

        Raises
        ------
        Refused
            ``outline_invalid`` if there is none.
        """
        if self.fit is None:
            raise Refused("outline_invalid")
        return ClosedLine(self.fit.rigid.applied(self._digitised_mm))

    @cached_property
    def polygon(self) -> shapely.Geometry:
        """Area of the outline as laid; turning may make what nearly touches touch."""
        polygon = shapely.Polygon(self.outline.points_mm)
        return polygon if polygon.is_valid else shapely.make_valid(polygon)

    @cached_property
    def edge(self) -> Edge:
        """Signed distance of the outline from the template, all round."""
        return edge_of(self.outline, self.cut.template, self.template, self.cut.band_mm)

    @property
    def has_band(self) -> bool:
        """Whether it is known what counts as near enough."""
        return self.cut.band_mm is not None or self.cut.template.corridor_mm is not None


CUT_NEEDS: dict[str, tuple[str, Callable[[CutWorkings], bool]]] = {
    "outline": ("no_samples", lambda w: w.cut.outline_mm is not None),
    "calibrated": ("not_calibrated", lambda w: w.cut.calibrated),
    "template": ("guide_lacks_feature", lambda w: w.template_polygon is not None),
    "band": ("guide_lacks_feature", lambda w: w.has_band),
    "corner": ("guide_lacks_feature", lambda w: len(w.corners_mm) > 0),
    "valid": ("outline_invalid", lambda w: w.digitised is not None),
}
"""Name of each need: the reason code when it is not met, and the test; in order of `REASONS`."""

EDGE = frozenset({"outline", "calibrated", "template", "valid"})
"""What every measure of a cut edge needs."""
