"""Tasks of a practice's own: what is sent, checked, and made a ``linnet-task/1``."""

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from analysis.registry import MEASURES
from server.documents import NO_BOUND
from server.faults import BadDocument, Fault
from server.fields import (
    LINE_PATTERN,
    MAX_PARTS,
    MAX_TARGETS,
    Count,
    Direction,
    Label,
    Millimetres,
    Number,
    Points,
    Use,
)
from server.library_paper import CUTTING_CAUTION
from server.library_steps import TaskDict
from server.own_dots import Dot, dots_of
from server.own_lines import Drawn, Sent, lines_of

OwnMode = Literal["trace", "both", "cut", "tap", "join"]
LEAST_DOTS = 2
DOT_MODES = frozenset({"tap", "join"})
SOURCES = ("points_mm", "parts", "svg_path", "targets_mm")
# What makes sense beside some of them only.
GOES_WITH = {
    "closed": {"points_mm"},
    "mm_per_unit": {"svg_path"},
    "corridor_mm": {"points_mm", "parts", "svg_path"},
}
USUAL_CRITERIA: dict[str, dict[str, Any]] = {
    "trace": {"measure": "in_corridor_share", "at_least": 0.8},
    "both": {"measure": "in_corridor_share", "at_least": 0.8},
    "cut": {"measure": "cut_within_tolerance_share", "at_least": 0.8},
    "tap": {"measure": "hit_share", "at_least": 0.8},
    "join": {"measure": "completion", "at_least": 1.0},
}
SOURCE = "The practice's own; widths by convention"

ONE_SOURCE = "Give one of points_mm, parts, svg_path and targets_mm, and no other."
NOT_WITH = "This does not go with how the task is given."
NEEDS_DOTS = "This mode needs targets_mm."
NEEDS_LINES = "This mode needs a line: points_mm, parts or svg_path."
ONE_LINE = "There must be one line at least."
TWO_DOTS = "There must be two dots at least."
ON_PAPER = "A cut is made on paper."
ON_TABLET = "This mode needs a tablet."
TWO_LINES = "Two hands follow two lines, one each."
NO_MEASURE = "This must be a measure that this mode has."
OTHER_WAY = "The task does not run in this direction. Give its points in the asked order."
ONE_WAY = "A task without a direction cannot be asked the other way."

Width = Annotated[float, Field(gt=0, le=100)]
Name = Annotated[str, Field(pattern=LINE_PATTERN, min_length=1, max_length=120)]
Caution = Annotated[str, Field(pattern=LINE_PATTERN, min_length=1, max_length=300)]


class _Sent(BaseModel):
    """Strict types, no key that is not known."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


class OwnPart(_Sent):
    """One of several lines. [mm]"""

    points_mm: Points
    closed: bool = False


class OwnDot(_Sent):
    """A dot to tap or to join. [mm]"""

    x: Millimetres
    y: Millimetres
    radius: Width
    order: Count


class OwnCriterion(_Sent):
    """What counts as met: a bound on one measure."""

    measure: Label
    at_least: Number | None = None
    at_most: Number | None = None


class OwnTask(_Sent):
    """A task of the practice's own, in mm, y down; it is moved to the origin by the server."""

    name: Name = Field(description="Shown beside trials and on plans: never a child's name.")
    mode: OwnMode
    use: Use = "practice"
    medium: Literal["tablet", "paper"] | None = Field(
        default=None, description="Paper for cuts, a tablet for everything else if left out."
    )
    points_mm: Points | None = None
    closed: bool = False
    parts: list[OwnPart] | None = Field(default=None, max_length=MAX_PARTS)
    svg_path: str | None = None
    mm_per_unit: float | None = None
    targets_mm: list[OwnDot] | None = Field(default=None, max_length=MAX_TARGETS)
    corridor_mm: Width | None = Field(default=None, description="Usual full width. [mm]")
    direction: Direction | None = None
    reversible: bool | None = None
    criterion: OwnCriterion | None = Field(
        default=None, description="The usual one of the mode if left out; none if null."
    )
    cautions: list[Caution] = Field(default_factory=list, max_length=10)

    def faults(self) -> Iterator[Fault]:
        """Yield what no single field can show to be wrong."""
        given = {name for name in SOURCES if getattr(self, name) is not None}
        if len(given) != 1:
            yield Fault("", ONE_SOURCE)
            return
        for name, sources in GOES_WITH.items():
            if getattr(self, name) not in (None, False) and not given & sources:
                yield Fault(f"/{name}", NOT_WITH)
        if (self.mode in DOT_MODES) != (self.targets_mm is not None):
            yield Fault("/mode", NEEDS_DOTS if self.mode in DOT_MODES else NEEDS_LINES)
        if self.parts is not None and not self.parts:
            yield Fault("/parts", ONE_LINE)
        if self.targets_mm is not None and len(self.targets_mm) < LEAST_DOTS:
            yield Fault("/targets_mm", TWO_DOTS)
        yield from self._medium_faults()
        yield from self._criterion_faults()

    def _medium_faults(self) -> Iterator[Fault]:
        if self.mode == "cut" and self.medium == "tablet":
            yield Fault("/medium", ON_PAPER)
        if self.mode in {*DOT_MODES, "both"} and self.medium == "paper":
            yield Fault("/medium", ON_TABLET)

    def _criterion_faults(self) -> Iterator[Fault]:
        asked = self.criterion
        if asked is None:
            return
        if asked.at_least is None and asked.at_most is None:
            yield Fault("/criterion", NO_BOUND)
        if asked.measure not in measures_of(self.mode):
            yield Fault("/criterion/measure", NO_MEASURE)


def measures_of(mode: str) -> frozenset[str]:
    """Return the ids of the measures that a criterion of a mode may be about."""
    scope = "cut" if mode == "cut" else "trial"
    return frozenset(
        entry.id
        for entry in MEASURES
        if entry.scope == scope and (scope == "cut" or mode in entry.modes)
    )


def own_task(sent: OwnTask, *, task_id: str, revision: int) -> TaskDict:
    """Return the task that was sent.

    Parameters
    ----------
    sent : OwnTask
        Each of its fields is checked already.
    task_id : str
        Id of the task.
    revision : int
        Counts up from 1. [1]

    Returns
    -------
    dict
        A ``linnet-task/1``: bounding box at (0, 0), whole hundredths, with the steps that
        have room where it belongs.

    Raises
    ------
    BadDocument
        With the place of what is wrong.

    Examples
    --------
    >>> sent = OwnTask(name="Kite string", mode="trace", points_mm=[[5, 5], [95, 5]])
    >>> task = own_task(sent, task_id="own-0123456789", revision=1)
    >>> task["direction"], task["size_mm"], task["grade"]["down"]
    ('left_to_right', [90.0, 0.0], {'corridor_mm': [18.0, 24.0]})
    """
    faults = list(sent.faults())
    if faults:
        raise BadDocument(faults)
    medium = sent.medium or ("paper" if sent.mode == "cut" else "tablet")
    drawn = _drawn(sent, medium)
    if sent.mode == "both" and len(drawn.fields["parts"]) != 2:
        raise BadDocument([Fault(drawn.path, TWO_LINES)])
    return {
        "format": "linnet-task/1",
        "task_id": task_id,
        "revision": revision,
        "name": sent.name,
        "mode": sent.mode,
        "use": sent.use,
        "medium": medium,
        **_direction(sent, drawn.direction),
        **drawn.fields,
        "criterion": _criterion(sent),
        "cautions": ([CUTTING_CAUTION] if sent.mode == "cut" else []) + sent.cautions,
        "source": SOURCE,
    }


def _drawn(sent: OwnTask, medium: str) -> Drawn:
    if sent.targets_mm is not None:
        return dots_of([Dot(one.x, one.y, one.radius, one.order) for one in sent.targets_mm])
    parts = None
    if sent.parts is not None:
        parts = [(part.points_mm, part.closed) for part in sent.parts]
    return lines_of(
        Sent(
            name=sent.name,
            mode=sent.mode,
            medium=medium,
            points_mm=sent.points_mm,
            closed=sent.closed,
            svg_path=sent.svg_path,
            mm_per_unit=sent.mm_per_unit,
            parts=parts,
            corridor_mm=sent.corridor_mm,
        )
    )


def _direction(sent: OwnTask, found: str) -> dict[str, Any]:
    # Dots to tap may lie about in no direction at all.
    allowed = {found, "none"} if sent.mode in DOT_MODES else {found}
    direction = sent.direction or found
    if direction not in allowed:
        raise BadDocument([Fault("/direction", OTHER_WAY)])
    reversible = direction != "none" if sent.reversible is None else sent.reversible
    if reversible and direction == "none":
        raise BadDocument([Fault("/reversible", ONE_WAY)])
    return {"direction": direction, "reversible": reversible}


def _criterion(sent: OwnTask) -> dict[str, Any] | None:
    if "criterion" not in sent.model_fields_set:
        return dict(USUAL_CRITERIA[sent.mode])
    return None if sent.criterion is None else sent.criterion.model_dump(exclude_none=True)
