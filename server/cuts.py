"""Cut documents, ``linnet-cut/1``: the edge of a cut piece, or what was counted on it."""

from collections.abc import Iterator, Sequence
from functools import cache
from typing import Annotated, Any, Literal, Self

import numpy as np
from pydantic import Field

from analysis.cut import Cut
from analysis.errors import BadGuide, BadOutline
from analysis.guide import Part
from analysis.trace import FloatArray
from server.cut_fields import (
    THREE_POINTS,
    OutlineFields,
    RegistrationFields,
    ScaleFields,
    TemplateFields,
)
from server.documents import (
    ConditionFields,
    CriterionFields,
    PlanFields,
    criterion_of,
)
from server.faults import BadDocument, Fault
from server.fields import (
    FARTHEST_MM,
    Code,
    Count,
    Fields,
    Label,
    Line,
    Moment,
    Use,
    Uuid,
    Width,
)
from server.guides import TWO_DISTINCT, GuideFields
from server.strict_json import read_json
from server.validation import names_of, validated

MAX_COUNTS = 50

NO_SCALE = "What is given in px needs a scale in px_per_mm."
TOO_FAR = f"On paper this would reach farther than {FARTHEST_MM:g} mm."
NOT_AN_OUTLINE = "These points cannot be the outline of a piece."
NO_OUTLINE_TO_LAY = "Marks can only be used with an outline."
NOTHING_TO_SCORE = "A cut needs an outline, counts or both."

Counts = Annotated[dict[Label, Count], Field(max_length=MAX_COUNTS)]


class CutTaskFields(Fields):
    """What was asked of the child."""

    task_id: Code | None = None
    revision: Count | None = None
    mode: Literal["cut"] = "cut"
    name: Line | None = None
    use: Use | None = None
    criterion: CriterionFields | None = None


class CutDocument(Fields):
    """One cut piece: its digitised edge, what was counted on it, or both."""

    format: Literal["linnet-cut/1"]
    cut_id: Uuid
    seq: Count | None = None
    plan: PlanFields | None = None
    task: CutTaskFields = Field(default_factory=CutTaskFields)
    template: TemplateFields
    outline: OutlineFields | None = None
    scale: ScaleFields = Field(default_factory=ScaleFields)
    registration: RegistrationFields | None = None
    band_mm: Width | None = Field(
        default=None, description="Distance each side of the template that is near enough. [mm]"
    )
    counts: Counts = Field(default_factory=dict)
    condition: ConditionFields = Field(default_factory=ConditionFields)
    started_at: Moment | None = None

    def faults(self) -> Iterator[Fault]:
        """Yield what no single field can show to be wrong."""
        for fault in self.template.faults():
            yield Fault(f"/template{fault.path}", fault.detail)
        if self.outline is None and not self.counts:
            yield Fault("", NOTHING_TO_SCORE)
        yield from self._outline_faults()
        if self.registration is not None:
            if self.outline is None and self.registration.kind == "marks":
                yield Fault("/registration", NO_OUTLINE_TO_LAY)
            for fault in self.registration.faults():
                yield Fault(f"/registration{fault.path}", fault.detail)

    def _outline_faults(self) -> Iterator[Fault]:
        if self.outline is None:
            return
        if len(self.outline.points) < 3:
            yield Fault("/outline/points", THREE_POINTS)
        if self.outline.unit == "px" and self.scale.px_per_mm is None:
            yield Fault("/scale/px_per_mm", NO_SCALE)
            return
        placed = [("/outline/points", self.outline.points)]
        if self.registration is not None and self.registration.marks_seen:
            placed.append(("/registration/marks_seen", self.registration.marks_seen))
        for path, places in placed:
            if any(abs(value) > FARTHEST_MM for value in self._millimetres(places).flat):
                yield Fault(path, TOO_FAR)

    def _millimetres(self, places: Sequence[Sequence[float]]) -> FloatArray:
        """Return places given in the unit of the outline in mm, shape (n, 2). [mm]"""
        in_unit = np.array(places, dtype=np.float64).reshape(-1, 2)
        if self.outline is None or self.outline.unit == "mm" or self.scale.px_per_mm is None:
            return in_unit
        # A scale next to nothing gives infinite lengths, which are then too far.
        with np.errstate(over="ignore"):
            return in_unit / self.scale.px_per_mm

    def to_cut(self) -> Cut:
        """Return the cut as the analysis takes it.

        Returns
        -------
        Cut
            Lengths in mm.

        Raises
        ------
        BadDocument
            If template, outline, scale or registration contradict themselves.
        """
        faults = list(self.faults())
        if faults:
            raise BadDocument(faults)
        laid = self.registration
        marks = laid if laid is not None and laid.kind == "marks" else None
        try:
            return Cut(
                cut_id=self.cut_id,
                template=_template(self.template),
                outline_mm=None if self.outline is None else self._millimetres(self.outline.points),
                band_mm=self.band_mm,
                registration="best_fit" if laid is None else laid.kind,
                marks_seen_mm=None if marks is None else self._millimetres(marks.marks_seen or []),
                marks_printed_mm=None if marks is None else np.array(marks.marks_printed_mm),
                calibrated=self.scale.calibrated,
                counts=dict(self.counts),
                criterion=criterion_of(self.task.criterion),
            )
        except BadOutline:
            raise BadDocument([Fault("/outline/points", NOT_AN_OUTLINE)]) from None

    @property
    def each_side_mm(self) -> float | None:
        """Width of the band each side, where it is one number. [mm]"""
        width_mm = self.template.corridor_mm
        if self.band_mm is None and isinstance(width_mm, float):
            return width_mm / 2.0
        return self.band_mm

    def with_guide(self, guide: GuideFields) -> Self | None:
        """Return the same cut measured against another template; None if it is not closed."""
        lines = guide.lines()
        if len(lines) != 1 or not lines[0][1].closed or len(lines[0][1].points_mm or ()) < 3:
            return None
        line = lines[0][1]
        template = TemplateFields(points_mm=line.points_mm or [], corridor_mm=line.corridor_mm)
        return self.model_copy(update={"template": template})


def _template(fields: TemplateFields) -> Part:
    width_mm = fields.corridor_mm
    try:
        return Part(
            np.array(fields.points_mm, dtype=np.float64),
            closed=True,
            corridor_mm=None if width_mm is None else np.array(width_mm, dtype=np.float64),
        )
    except BadGuide:
        raise BadDocument([Fault("/template/points_mm", TWO_DISTINCT)]) from None


@cache
def cut_names() -> frozenset[str]:
    """Return every key that the cut format defines, at any depth."""
    return names_of(CutDocument)


def cut_of(tree: Any) -> CutDocument:
    """Return the cut document of plain values; `CutDocument.to_cut` is certain to succeed.

    Raises
    ------
    BadDocument
        With every fault found; status 413 if a list is too long.
    """
    document = validated(CutDocument, tree, cut_names())
    document.to_cut()
    return document


def read_cut(raw: bytes) -> CutDocument:
    """Read a cut document, or say where it is wrong. Unknown keys are kept.

    Parameters
    ----------
    raw : bytes
        The document exactly as received.

    Returns
    -------
    CutDocument
        The document; `CutDocument.to_cut` is certain to succeed.

    Raises
    ------
    BadDocument
        With status 413 if it is too large, else 422, and all faults that were found.

    Examples
    --------
    >>> read_cut(b'{"format": "linnet-cut/1"')
    Traceback (most recent call last):
    server.faults.BadDocument: (document): The document is not JSON: look at line 1, column 26.
    """
    return cut_of(read_json(raw, cut_names()))
