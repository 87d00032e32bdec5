"""Lines of a practice's own: given as points, as several lines or as a drawing's path."""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from analysis.errors import BadGuide
from analysis.flattening import settled
from analysis.guide import Guide, Part
from analysis.travel import direction_of
from server.custom_guides import (
    LEAST_LENGTH_MM,
    TOO_LARGE,
    TOO_SHORT,
    TWO_DISTINCT,
    custom_guide_of,
    custom_task,
)
from server.cut_fields import NOT_CLOSED, TemplateFields
from server.faults import BadDocument, Fault
from server.fields import MAX_POINTS
from server.guides import TOO_MANY
from server.library_fit import LARGEST_MM, PAPER, ROOMS_MM, fits, has_room
from server.library_lines import START_RADIUS_MM, STOP_RADIUS_MM
from server.library_paper import CUT_USUAL_MM, CUT_WIDTHS_MM
from server.library_steps import CORRIDOR, WIDTH_LADDER_MM, TaskDict, graded
from server.placing import listed

USUAL_MM = 12.0
NO_ROOM = "At this width the task does not fit where it belongs."
HUNDREDTHS = "This must be in whole hundredths of a millimetre."
ONE_LINE = "A cut follows one line."


class Sent(NamedTuple):
    """What the lines of a task are made of: one of three ways is not None."""

    name: str
    mode: str
    medium: str
    points_mm: list[list[float]] | None
    closed: bool
    svg_path: str | None
    mm_per_unit: float | None
    parts: list[tuple[list[list[float]], bool]] | None
    corridor_mm: float | None

    @property
    def path(self) -> str:
        """Where the lines stand in what was sent."""
        names = {"points_mm": self.points_mm, "parts": self.parts, "svg_path": self.svg_path}
        return "/" + next(name for name, value in names.items() if value is not None)


class Drawn(NamedTuple):
    """What was drawn: where it stood, its direction, and its fields of a ``linnet-task/1``."""

    path: str
    direction: str
    fields: TaskDict


def lines_of(sent: Sent) -> Drawn:
    """Return the lines of a task, at the origin and in whole hundredths, with their widths.

    Raises
    ------
    BadDocument
        If they are empty, too short or too large, or cannot be cut.
    """
    parts = _several(sent) if sent.parts is not None else _single(sent)
    shown = {"medium": sent.medium, "parts": parts, **_template(sent, parts), "shape": "custom"}
    shown |= {"start_radius_mm": START_RADIUS_MM, "stop_radius_mm": STOP_RADIUS_MM}
    every_mm = np.vstack([part["points_mm"] for part in parts])
    shown["size_mm"] = [round(float(side), 2) for side in every_mm.max(axis=0)]
    # Each hand has a line of its own: they run side by side, not one after the other.
    asked = parts[:1] if sent.mode == "both" else parts
    guide = Guide([Part(np.array(part["points_mm"]), part["closed"]) for part in asked])
    return Drawn(sent.path, direction_of(guide), _graded(shown, sent))


def _single(sent: Sent) -> list[dict[str, Any]]:
    given = {
        "name": sent.name,
        "medium": sent.medium,
        "closed": sent.closed,
        "points_mm": sent.points_mm,
        "svg_path": sent.svg_path,
        "mm_per_unit": sent.mm_per_unit,
    }
    task = custom_task(custom_guide_of(given), task_id="own")
    return [{"points_mm": part["points_mm"], "closed": part["closed"]} for part in task["parts"]]


def _several(sent: Sent) -> list[dict[str, Any]]:
    rows = sent.parts or []
    if sum(len(points) for points, _ in rows) > MAX_POINTS:
        raise BadDocument([Fault("/parts", TOO_MANY)], status=413)
    for at, (points, _) in enumerate(rows):
        if len(points) < 2:
            raise BadDocument([Fault(f"/parts/{at}/points_mm", TWO_DISTINCT)])
    every_mm = np.vstack([np.array(points, dtype=np.float64) for points, _ in rows])
    _check_size(np.ptp(every_mm, axis=0), sent)
    corner_mm = every_mm.min(axis=0)
    parts = [_part(at, points, closed, corner_mm) for at, (points, closed) in enumerate(rows)]
    if Guide(parts).length_mm < LEAST_LENGTH_MM:
        raise BadDocument([Fault("/parts", TOO_SHORT)])
    return [{"points_mm": listed(part.points_mm), "closed": part.closed} for part in parts]


def _part(at: int, points: Sequence[Sequence[float]], closed: bool, corner_mm: Any) -> Part:
    try:
        return Part(settled(points, origin_mm=corner_mm), closed)
    except BadGuide:
        raise BadDocument([Fault(f"/parts/{at}/points_mm", TWO_DISTINCT)]) from None


def _check_size(size_mm: Any, sent: Sent) -> None:
    rooms_mm = ROOMS_MM[PAPER] if sent.medium == PAPER else (LARGEST_MM,)
    if not any(has_room(size_mm, room_mm) for room_mm in rooms_mm):
        sides = (f"{side:g}" for side in rooms_mm[0])
        raise BadDocument([Fault(sent.path, TOO_LARGE.format(*sides))])


def _template(sent: Sent, parts: list[dict[str, Any]]) -> TaskDict:
    """Return what falls out of the paper, if something is cut."""
    if sent.mode != "cut":
        return {}
    if len(parts) != 1:
        raise BadDocument([Fault(sent.path, ONE_LINE)])
    (part,) = parts
    if not part["closed"]:
        raise BadDocument([Fault(sent.path, NOT_CLOSED)])
    faults = list(TemplateFields.model_validate(part).faults())
    if faults:
        raise BadDocument([Fault(sent.path, fault.detail) for fault in faults])
    return {"template": dict(part)}


def _at_width(task: TaskDict, width_mm: float) -> TaskDict:
    changed: TaskDict = {"parts": [part | {CORRIDOR: width_mm} for part in task["parts"]]}
    if "template" in task:
        changed["template"] = task["template"] | {CORRIDOR: width_mm}
    return task | changed


def _graded(task: TaskDict, sent: Sent) -> TaskDict:
    """Return a task with the widths that have room; the chosen one is among them."""
    ladder, usual_mm = (
        (CUT_WIDTHS_MM, CUT_USUAL_MM) if sent.mode == "cut" else (WIDTH_LADDER_MM, USUAL_MM)
    )
    chosen_mm = sent.corridor_mm
    offered = set(ladder) if chosen_mm is None else {*ladder, float(chosen_mm)}
    # `fits` looks at the task as it is: its steps are what is being found here.
    plain = task | {"grade": {"down": {}, "up": {}}}
    widths = [one for one in sorted(offered, reverse=True) if fits(_at_width(plain, one))]
    if chosen_mm is not None:
        if round(chosen_mm, 2) != chosen_mm:
            raise BadDocument([Fault("/corridor_mm", HUNDREDTHS)])
        if chosen_mm not in widths:
            raise BadDocument([Fault("/corridor_mm", NO_ROOM)])
        usual_mm = float(chosen_mm)
    elif not widths:
        raise BadDocument([Fault(sent.path, NO_ROOM)])
    elif usual_mm not in widths:
        usual_mm = next((one for one in widths if one < usual_mm), widths[-1])
    return _at_width(task, usual_mm) | {"grade": graded(CORRIDOR, widths, usual_mm)}
