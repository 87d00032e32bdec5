"""What a cut document is made of: its template, its edge, its scale, how it is laid."""

from collections.abc import Iterator, Sequence
from typing import Annotated, Literal

import shapely
from pydantic import BeforeValidator, Field

from server.faults import Fault
from server.fields import Corridor, Fields, Points, Width, pair
from server.guides import PER_VERTEX

MAX_OUTLINE_POINTS = 20_000
MAX_REGISTRATION_MARKS = 20
# A photograph of 300 million pixels is 20 000 wide.
FARTHEST_UNIT = 100_000.0
# Smaller than a letter: nobody cuts that, and a line without an area has none to compare.
LEAST_TEMPLATE_MM2 = 4.0

NOT_CLOSED = "The template of a cut must be closed."
NO_AREA = "The template must enclose an area and must not cross itself."
THREE_POINTS = "A closed line needs at least three points."
TWO_MARKS = "Registration by marks needs at least two of them, in different places."
SAME_COUNT = "There must be as many marks seen as printed."

# In the unit of the outline: mm on paper or pixels of a photograph.
Coordinate = Annotated[float, Field(ge=-FARTHEST_UNIT, le=FARTHEST_UNIT)]
Place = Annotated[list[Coordinate], BeforeValidator(pair), Field(min_length=2, max_length=2)]
Outline = Annotated[list[Place], Field(fail_fast=True, max_length=MAX_OUTLINE_POINTS)]
MarksSeen = Annotated[list[Place], Field(fail_fast=True, max_length=MAX_REGISTRATION_MARKS)]
MarksPrinted = Annotated[Points, Field(max_length=MAX_REGISTRATION_MARKS)]


class TemplateFields(Fields):
    """The closed line that was to be cut. Lengths in mm on paper, y down."""

    points_mm: Points
    closed: bool = Field(default=True, json_schema_extra={"const": True})
    corridor_mm: Corridor | None = Field(
        default=None, description="Full width of the band: one number or one per point. [mm]"
    )

    def faults(self) -> Iterator[Fault]:
        """Yield what no single field can show to be wrong; paths start at the template."""
        count = len(self.points_mm)
        if not self.closed:
            yield Fault("/closed", NOT_CLOSED)
        if count < 3:
            yield Fault("/points_mm", THREE_POINTS)
        elif not _is_shape(self.points_mm):
            yield Fault("/points_mm", NO_AREA)
        if isinstance(self.corridor_mm, list) and len(self.corridor_mm) != count:
            yield Fault("/corridor_mm", PER_VERTEX)


def _is_shape(points_mm: Sequence[Sequence[float]]) -> bool:
    shape = shapely.Polygon(points_mm)
    return shape.is_valid and shape.area >= LEAST_TEMPLATE_MM2


class OutlineFields(Fields):
    """The edge of the cut piece as a closed line, without repeating its first point."""

    points: Outline
    unit: Literal["mm", "px"]


class ScaleFields(Fields):
    """How lengths on paper were known; `calibrated` absent counts as false."""

    px_per_mm: Width | None = None
    calibrated: bool = False


class RegistrationFields(Fields):
    """How the piece is laid on the template; marks seen are in the unit of the outline."""

    kind: Literal["marks", "best_fit", "none"]
    marks_seen: MarksSeen | None = None
    marks_printed_mm: MarksPrinted | None = None

    def faults(self) -> Iterator[Fault]:
        """Yield what no single field can show to be wrong; paths start at the registration."""
        if self.kind != "marks":
            return
        seen, printed = self.marks_seen or [], self.marks_printed_mm or []
        for name, marks in (("marks_seen", seen), ("marks_printed_mm", printed)):
            if len({tuple(mark) for mark in marks}) < 2:
                yield Fault(f"/{name}", TWO_MARKS)
        if len(seen) != len(printed):
            yield Fault("/marks_seen", SAME_COUNT)
