"""Guides of a practice's own: drawn by hand or taken from a drawing, checked, made a task."""

from collections.abc import Iterator
from functools import cache
from typing import Any, Literal

import numpy as np
import shapely
from pydantic import Field

from analysis.errors import BadGuide
from analysis.flattening import settled
from analysis.guide import Guide, Part
from analysis.trace import FloatArray
from analysis.travel import direction_of
from server.custom_guides_svg import CHORD_MM, MAX_LETTERS, SVG_PATH, Line, lines_of_svg
from server.cut_fields import THREE_POINTS
from server.faults import BadDocument, Fault
from server.fields import Fields, Points
from server.fields import Line as NameLine
from server.library_fit import LARGEST_MM, ROOMS_MM, TABLET, fits, has_room
from server.library_lines import START_RADIUS_MM, STOP_RADIUS_MM
from server.library_steps import CORRIDOR, WIDTH_LADDER_MM, TaskDict, graded
from server.placing import listed
from server.validation import names_of, validated

USUAL_MM = 12.0
LEAST_LENGTH_MM = 10.0
LARGEST_SCALE_MM = 1_000.0

POINTS = "/points_mm"
ONE_FORM = "Give either points_mm or svg_path, and not both."
NEEDS_SCALE = "A path needs its scale in mm_per_unit."
TWO_DISTINCT = "Every line needs at least two points in different places."
TOO_SHORT = f"The whole line must be at least {LEAST_LENGTH_MM:g} mm long."
TOO_LARGE = "The line must fit into {} by {} mm."


class CustomGuideFields(Fields):
    """A line for children to follow: points in mm (y down), or path data and its scale."""

    name: NameLine = Field(min_length=1)
    medium: Literal["tablet", "paper"] = "tablet"
    points_mm: Points | None = None
    closed: bool = Field(default=False, description="Whether points_mm return to the first one.")
    svg_path: str | None = Field(default=None, max_length=MAX_LETTERS)
    mm_per_unit: float | None = Field(
        default=None, gt=0, le=LARGEST_SCALE_MM, description="Scale of svg_path. [mm]"
    )

    def faults(self) -> Iterator[Fault]:
        """Yield what no single field can show to be wrong."""
        if (self.points_mm is None) == (self.svg_path is None):
            yield Fault("", ONE_FORM)
        elif self.svg_path is not None and self.mm_per_unit is None:
            yield Fault("/mm_per_unit", NEEDS_SCALE)


@cache
def custom_guide_names() -> frozenset[str]:
    """Return every key that a custom guide may have."""
    return names_of(CustomGuideFields)


def custom_guide_of(tree: Any) -> CustomGuideFields:
    """Return the checked fields of plain values.

    Raises
    ------
    BadDocument
        With every fault found; status 413 if a list is too long.
    """
    fields = validated(CustomGuideFields, tree, custom_guide_names())
    faults = list(fields.faults())
    if faults:
        raise BadDocument(faults)
    return fields


def _thinned(points_mm: FloatArray, *, closed: bool) -> FloatArray:
    """Drawn points without those that lie on the line of their neighbours anyway."""
    ring_mm = np.vstack([points_mm, points_mm[:1]]) if closed else points_mm
    line = shapely.simplify(shapely.LineString(ring_mm), CHORD_MM, preserve_topology=False)
    return shapely.get_coordinates(line)


def _lines(fields: CustomGuideFields) -> tuple[str, list[Line]]:
    """Where the line came from, and its separate pieces. [mm]"""
    if fields.svg_path is not None and fields.mm_per_unit is not None:
        return SVG_PATH, lines_of_svg(fields.svg_path, fields.mm_per_unit)
    points_mm = np.array(fields.points_mm, dtype=np.float64).reshape(-1, 2)
    if len(np.unique(points_mm, axis=0)) < 2:
        raise BadDocument([Fault(POINTS, TWO_DISTINCT)])
    return POINTS, [Line(_thinned(points_mm, closed=fields.closed), fields.closed)]


def _parts(lines: list[Line], path: str) -> list[Part]:
    """Return lines moved to the origin together and snapped to hundredths."""
    corner_mm = np.vstack([line.points_mm for line in lines]).min(axis=0)
    try:
        parts = [Part(settled(line.points_mm, origin_mm=corner_mm), line.closed) for line in lines]
    except BadGuide:
        raise BadDocument([Fault(path, TWO_DISTINCT)]) from None
    if any(part.closed and len(part.points_mm) < 3 for part in parts):
        raise BadDocument([Fault(path, THREE_POINTS)])
    return parts


def _check_size(lines: list[Line], medium: str, path: str) -> None:
    """Refuse lines that are larger than their place, before they are snapped."""
    points_mm = np.vstack([line.points_mm for line in lines])
    rooms_mm = (LARGEST_MM,) if medium == TABLET else ROOMS_MM[medium]
    if not any(has_room(np.ptp(points_mm, axis=0), room_mm) for room_mm in rooms_mm):
        raise BadDocument([Fault(path, TOO_LARGE.format(*(f"{side:g}" for side in rooms_mm[0])))])


def _graded(task: TaskDict, path: str) -> TaskDict:
    """Return a task with the widths at which it has room; the usual one is 12 mm, or the next."""
    widths = []
    for width_mm in WIDTH_LADDER_MM:
        parts = [part | {CORRIDOR: width_mm} for part in task["parts"]]
        if fits(task | {"parts": parts}):
            widths.append(width_mm)
    if not widths:
        room_mm = [f"{side - WIDTH_LADDER_MM[-1]:g}" for side in ROOMS_MM[task["medium"]][0]]
        raise BadDocument([Fault(path, TOO_LARGE.format(*room_mm))])
    usual_mm = next((width for width in widths if width <= USUAL_MM), widths[-1])
    parts = [part | {CORRIDOR: usual_mm} for part in task["parts"]]
    return task | {"parts": parts, "grade": graded(CORRIDOR, widths, usual_mm)}


def custom_task(fields: CustomGuideFields, *, task_id: str, revision: int = 1) -> TaskDict:
    """Task of a practice's own line, to be traced.

    Parameters
    ----------
    fields : CustomGuideFields
        What `custom_guide_of` returned.
    task_id : str
        Id of the task.
    revision : int
        Counts up whenever the line changes. [1]

    Returns
    -------
    dict
        A ``linnet-task/1``: within 0.02 mm of what was drawn, in whole hundredths, bounding
        box at (0, 0), with its direction and the steps of the width ladder that have room.

    Raises
    ------
    BadDocument
        If the line is empty, too short, too large, or needs too many points.

    Examples
    --------
    >>> fields = custom_guide_of({"name": "Kite tail", "points_mm": [[5, 5], [95, 5], [95, 45]]})
    >>> task = custom_task(fields, task_id="kite-tail")
    >>> task["parts"][0]["points_mm"], task["direction"], task["size_mm"]
    ([[0.0, 0.0], [90.0, 0.0], [90.0, 40.0]], 'left_to_right', [90.0, 40.0])
    """
    path, lines = _lines(fields)
    _check_size(lines, fields.medium, path)
    parts = _parts(lines, path)
    guide = Guide(parts)
    if guide.length_mm < LEAST_LENGTH_MM:
        raise BadDocument([Fault(path, TOO_SHORT)])
    direction = direction_of(guide)
    size_mm = np.vstack([part.points_mm for part in parts]).max(axis=0)
    task: TaskDict = {
        "format": "linnet-task/1",
        "task_id": task_id,
        "revision": revision,
        "name": fields.name,
        "mode": "trace",
        "use": "practice",
        "medium": fields.medium,
        "shape": "custom",
        "size_mm": [round(float(side), 2) for side in size_mm],
        "direction": direction,
        "reversible": direction != "none",
        "parts": [{"points_mm": listed(part.points_mm), "closed": part.closed} for part in parts],
        "start_radius_mm": START_RADIUS_MM,
        "stop_radius_mm": STOP_RADIUS_MM,
        "criterion": {"measure": "in_corridor_share", "at_least": 0.8},
        "cautions": [],
        "source": "The practice's own line; width ladder by convention",
    }
    return _graded(task, path)
