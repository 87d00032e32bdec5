"""The guide as documents carry it, and its way into the analysis."""

from collections.abc import Iterator

import numpy as np
from pydantic import Field

from analysis.errors import BadGuide
from analysis.guide import Guide, Part, Target
from server.faults import BadDocument, Fault
from server.fields import (
    MAX_PARTS,
    MAX_POINTS,
    MAX_TARGETS,
    Code,
    Corridor,
    Count,
    Fields,
    Label,
    Millimetres,
    Points,
    Radius,
)

PAIRS = "Whether dots are joined two by two: the first with the second, the third with the fourth."
TWO_FORMS = "A guide has either points_mm or parts, and this one has both."
TWO_POINTS = "A line needs at least two points."
TWO_DISTINCT = "A line needs at least two points in different places."
PER_VERTEX = "Widths are one number or one per point; there are not as many as points."
ORDER_TAKEN = "Each place in the order may be taken by one target only."
TOO_MANY = f"All parts together may hold at most {MAX_POINTS} points."


class PartFields(Fields):
    """One polyline of a guide."""

    points_mm: Points
    closed: bool = False
    corridor_mm: Corridor | None = None


class TargetFields(Fields):
    """A dot to tap or to join."""

    x: Millimetres
    y: Millimetres
    radius: Radius
    order: Count


class GuideFields(Fields):
    """The path to follow, in the asked order; first point = start target. Lengths in mm, y down."""

    id: Code | None = None
    shape: Label | None = None
    points_mm: Points | None = None
    closed: bool = False
    corridor_mm: Corridor | None = Field(
        default=None, description="Full width of the corridor: one number or one per point. [mm]"
    )
    parts: list[PartFields] | None = Field(default=None, max_length=MAX_PARTS)
    targets_mm: list[TargetFields] | None = Field(default=None, max_length=MAX_TARGETS)
    pairs: bool | None = Field(default=None, description=PAIRS)
    start_radius_mm: Radius | None = None
    stop_radius_mm: Radius | None = None
    midline_x_mm: Millimetres | None = None
    midline_source: Label | None = None

    def lines(self) -> list[tuple[str, "PartFields | GuideFields"]]:
        """Return each polyline with the path of the object that holds it, from the guide on."""
        if self.parts is not None:
            return [(f"/parts/{at}", part) for at, part in enumerate(self.parts)]
        return [] if self.points_mm is None else [("", self)]

    def faults(self) -> Iterator[Fault]:
        """Yield what no single field can show to be wrong; paths start at the guide."""
        if self.points_mm is not None and self.parts is not None:
            yield Fault("/parts", TWO_FORMS)
        for path, line in self.lines():
            count = len(line.points_mm or ())
            if count < 2:
                yield Fault(f"{path}/points_mm", TWO_POINTS)
            elif isinstance(line.corridor_mm, list) and len(line.corridor_mm) != count:
                yield Fault(f"{path}/corridor_mm", PER_VERTEX)
        taken = set()
        for at, target in enumerate(self.targets_mm or ()):
            if target.order in taken:
                yield Fault(f"/targets_mm/{at}/order", ORDER_TAKEN)
            taken.add(target.order)

    @property
    def point_count(self) -> int:
        """How many points all lines have together [1]."""
        return sum(len(line.points_mm or ()) for _, line in self.lines())


def _part(fields: PartFields | GuideFields, path: str) -> Part:
    width_mm = fields.corridor_mm
    try:
        return Part(
            np.array(fields.points_mm, dtype=np.float64),
            fields.closed,
            None if width_mm is None else np.array(width_mm, dtype=np.float64),
        )
    except BadGuide:
        raise BadDocument([Fault(f"{path}/points_mm", TWO_DISTINCT)]) from None


def guide_of(fields: GuideFields, path: str = "/guide") -> Guide | None:
    """Return the guide of a document; None if it has no points at all.

    Parameters
    ----------
    fields : GuideFields
        The guide of a document.
    path : str
        Where it stands in the document, for the path of a fault.

    Returns
    -------
    Guide or None
        The guide.

    Raises
    ------
    BadDocument
        If its points cannot be a guide.
    """
    if fields.point_count > MAX_POINTS:
        raise BadDocument([Fault(f"{path}/parts", TOO_MANY)], status=413)
    faults = [Fault(path + fault.path, fault.detail) for fault in fields.faults()]
    if faults:
        raise BadDocument(faults)
    parts = tuple(_part(line, path + inner) for inner, line in fields.lines())
    targets = tuple(
        Target(target.x, target.y, target.radius, target.order)
        for target in fields.targets_mm or ()
    )
    if not parts and not targets:
        return None
    return Guide(
        parts=parts,
        start_radius_mm=fields.start_radius_mm,
        stop_radius_mm=fields.stop_radius_mm,
        midline_x_mm=fields.midline_x_mm,
        midline_source=fields.midline_source,
        targets=targets,
    )
