"""One cut piece: its template, its digitised edge, and what was counted on it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from analysis.errors import BadOutline
from analysis.guide import SHORTEST_SEGMENT_MM, Part
from analysis.trace import FloatArray
from analysis.trial import Criterion

RegistrationKind = Literal["marks", "best_fit", "none"]
REGISTRATIONS: tuple[RegistrationKind, ...] = ("marks", "best_fit", "none")


def _points(name: str, values: FloatArray) -> FloatArray:
    points_mm = np.array(values, dtype=np.float64)
    if points_mm.size == 0:
        points_mm = points_mm.reshape(0, 2)
    if points_mm.ndim != 2 or points_mm.shape[1:] != (2,):
        raise BadOutline(f"{name} must have shape (n, 2)")
    if not np.isfinite(points_mm).all():
        at = int(np.argwhere(~np.isfinite(points_mm))[0][0])
        raise BadOutline(f"{name} must be finite: see point {at}")
    points_mm.setflags(write=False)
    return points_mm


@dataclass(frozen=True, eq=False)
class Cut:
    """The edge of a cut piece, counts made on it, or both.

    Parameters
    ----------
    cut_id : str
        Random id.
    template : Part
        The closed line that was to be cut; its corridor is the band. [mm]
    outline_mm : array_like, shape (n, 2), or None
        Vertices of the digitised edge in order, either way round, the first one repeated
        or not; y down. None or no points: only counts were entered. [mm]
    band_mm : float or None
        Distance **each side** of the template that counts as near enough; None: half the
        template's corridor, if it has one. [mm]
    registration : {"marks", "best_fit", "none"}
        How the outline is laid on the template: by printed marks, by the best fit, or not
        at all because it is given in the template's coordinates.
    marks_seen_mm, marks_printed_mm : array_like, shape (k, 2), or None
        Registration marks in the outline's coordinates, and the same marks in the same
        order in the template's. [mm]
    calibrated : bool
        Whether the scale of the photograph is known.
    counts : mapping of str to int
        What the adult counted, as entered.
    criterion : Criterion or None
        What counts as met, if the task says so.

    Raises
    ------
    BadOutline
        If an array has the wrong shape or a number that is not finite, the band is not
        positive, or marks are fewer than two, unpaired or all in one place. An edge that
        is no single closed shape is no error here: its measures are refused.

    Examples
    --------
    >>> square = Part([[0, 0], [40, 0], [40, 40], [0, 40]], closed=True)
    >>> Cut("c", square, [[0, 0], [40, 0], [41, 40], [0, 39]]).outline_mm.shape
    (4, 2)
    """

    cut_id: str
    template: Part
    outline_mm: FloatArray | None = None
    band_mm: float | None = None
    registration: RegistrationKind = "best_fit"
    marks_seen_mm: FloatArray | None = None
    marks_printed_mm: FloatArray | None = None
    calibrated: bool = False
    counts: Mapping[str, int] = field(default_factory=dict)
    criterion: Criterion | None = None

    def __post_init__(self) -> None:
        if self.registration not in REGISTRATIONS:
            raise BadOutline(f"registration must be one of {', '.join(REGISTRATIONS)}")
        if self.band_mm is not None and not (np.isfinite(self.band_mm) and self.band_mm > 0):
            raise BadOutline("band_mm must be above 0")
        for name in ("outline_mm", "marks_seen_mm", "marks_printed_mm"):
            values = getattr(self, name)
            if values is not None:
                object.__setattr__(self, name, _points(name, values))
        if self.outline_mm is not None and len(self.outline_mm) == 0:
            object.__setattr__(self, "outline_mm", None)
        if self.registration == "marks":
            self._check_marks()

    def _check_marks(self) -> None:
        seen_mm, printed_mm = self.marks_seen_mm, self.marks_printed_mm
        if seen_mm is None or printed_mm is None or len(seen_mm) != len(printed_mm):
            raise BadOutline("marks_seen_mm and marks_printed_mm must be pairs")
        for name, marks_mm in (("marks_seen_mm", seen_mm), ("marks_printed_mm", printed_mm)):
            if len(marks_mm) < 2 or np.ptp(marks_mm, axis=0).max() <= SHORTEST_SEGMENT_MM:
                raise BadOutline(f"{name} must be at least two marks in different places")
