"""The tasks of day one that a tablet can show, and their placement on a screen.

A task is a dict with the fields of ``linnet-task/1``: its parts lie in local coordinates
(bounding box at 0, 0), the first point of the first part is the start, and each part
carries the task's usual corridor. `grade` names the other widths of the one ladder
24, 18, 12, 8, 6 mm (full width): `down` is easier, `up` is harder, nearest step first.
"""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis import shapes
from analysis.flattening import settled
from analysis.guide import Guide, Part
from analysis.identity import guide_id
from analysis.trace import FloatArray

TaskDict = dict[str, Any]
GuideDict = dict[str, Any]

WIDTH_LADDER_MM = (24.0, 18.0, 12.0, 8.0, 6.0)
LARGEST_MM = (190.0, 115.0)
START_RADIUS_MM = 5.0
STOP_RADIUS_MM = 5.0
OPPOSITE = {
    "left_to_right": "right_to_left",
    "right_to_left": "left_to_right",
    "downward": "upward",
    "upward": "downward",
    "clockwise": "anticlockwise",
    "anticlockwise": "clockwise",
    "none": "none",
}


class DoesNotFit(ValueError):
    """Raised when a guide is larger than the screen it is to be shown on."""


def _listed(points_mm: FloatArray) -> list[list[float]]:
    return [[round(float(x), 2), round(float(y), 2)] for x, y in points_mm]


def _trace_task(
    task_id: str,
    name: str,
    shape: str,
    points_mm: FloatArray,
    *,
    direction: str,
    widths_mm: tuple[float, float, float],
    use: str = "practice",
    closed: bool = False,
) -> TaskDict:
    widest_mm, usual_mm, finest_mm = widths_mm
    easier = [w for w in reversed(WIDTH_LADDER_MM) if usual_mm < w <= widest_mm]
    harder = [w for w in WIDTH_LADDER_MM if finest_mm <= w < usual_mm]
    return {
        "format": "linnet-task/1",
        "task_id": task_id,
        "revision": 1,
        "name": name,
        "mode": "trace",
        "use": use,
        "shape": shape,
        "size_mm": [round(float(side), 2) for side in points_mm.max(axis=0)],
        "direction": direction,
        "reversible": direction != "none",
        "parts": [{"points_mm": _listed(points_mm), "closed": closed, "corridor_mm": usual_mm}],
        "start_radius_mm": START_RADIUS_MM,
        "stop_radius_mm": STOP_RADIUS_MM,
        "criterion": {"measure": "in_corridor_share", "at_least": 0.8},
        "grade": {"down": {"corridor_mm": easier}, "up": {"corridor_mm": harder}},
        "cautions": [],
        "source": "Linnet's own geometry; width ladder by convention",
    }


# Widths are (widest, usual, finest), full width in mm.
LIBRARY: tuple[TaskDict, ...] = (
    _trace_task(
        "quay-edge",
        "Quay Edge",
        "line",
        shapes.line(180.0),
        direction="left_to_right",
        widths_mm=(24.0, 12.0, 6.0),
    ),
    _trace_task(
        "flagpole",
        "Flagpole",
        "line",
        shapes.line(0.0, 100.0),
        direction="downward",
        widths_mm=(24.0, 12.0, 6.0),
    ),
    _trace_task(
        "gangway",
        "Gangway",
        "line",
        shapes.line(150.0, -90.0),
        direction="left_to_right",
        widths_mm=(24.0, 12.0, 8.0),
    ),
    _trace_task(
        "high-bridge",
        "High Bridge",
        "half_ellipse",
        shapes.half_ellipse(180.0, 85.0),
        direction="left_to_right",
        widths_mm=(24.0, 12.0, 8.0),
        use="probe",
    ),
    _trace_task(
        "low-bridge",
        "Low Bridge",
        "half_ellipse",
        shapes.half_ellipse(180.0, 45.0),
        direction="left_to_right",
        widths_mm=(24.0, 12.0, 8.0),
    ),
    _trace_task(
        "swell",
        "Swell",
        "sine",
        shapes.sine(180.0, 20.0, 1.5),
        direction="left_to_right",
        widths_mm=(18.0, 12.0, 8.0),
    ),
    _trace_task(
        "buoy",
        "Buoy",
        "circle",
        shapes.circle(40.0),
        direction="clockwise",
        widths_mm=(18.0, 12.0, 6.0),
        closed=True,
    ),
    _trace_task(
        "hatch",
        "Hatch",
        "square",
        shapes.square(70.0),
        direction="clockwise",
        widths_mm=(18.0, 12.0, 8.0),
        closed=True,
    ),
    _trace_task(
        "sail-seam",
        "Sail Seam",
        "zigzag",
        shapes.zigzag(22.5, 35.0, 8),
        direction="left_to_right",
        widths_mm=(18.0, 12.0, 8.0),
    ),
    # An eight turns both ways and its ends meet, so no word tells one way from the other.
    _trace_task(
        "two-islands",
        "Two Islands",
        "figure_eight",
        shapes.figure_eight(150.0, 56.0),
        direction="none",
        widths_mm=(18.0, 12.0, 8.0),
        closed=True,
    ),
)


def task_of(task_id: str) -> TaskDict:
    """Return the library's task with this id.

    Parameters
    ----------
    task_id : str
        For example ``high-bridge``.

    Returns
    -------
    dict
        A ``linnet-task/1``.

    Raises
    ------
    KeyError
        If the library has no such task.
    """
    for task in LIBRARY:
        if task["task_id"] == task_id:
            return task
    known = ", ".join(task["task_id"] for task in LIBRARY)
    raise KeyError(f"no task {task_id!r}; the library has {known}")


def _asked_parts(task: TaskDict, corridor_mm: float | None, direction: str) -> list[Part]:
    allowed = {task["direction"], OPPOSITE[task["direction"]] if task["reversible"] else None}
    if direction not in allowed:
        raise ValueError(f"{task['name']} cannot be asked {direction!r}")
    parts = [
        Part(
            np.array(part["points_mm"]),
            part["closed"],
            part["corridor_mm"] if corridor_mm is None else np.array(float(corridor_mm)),
        )
        for part in task["parts"]
    ]
    if direction == task["direction"]:
        return parts
    return [part.reversed() for part in reversed(parts)]


def _corner_mm(size_mm: Sequence[float], screen_mm: Sequence[float]) -> FloatArray:
    if any(side > room for side, room in zip(size_mm, screen_mm, strict=True)):
        width_mm, height_mm = (math.ceil(side) for side in size_mm)
        raise DoesNotFit(f"the guide needs {width_mm} by {height_mm} mm of screen")
    middle_mm = [[0.5 * (room - side) for side, room in zip(size_mm, screen_mm, strict=True)]]
    whole_mm: FloatArray = settled(middle_mm, origin_mm=(0.0, 0.0))[0]
    return whole_mm


def _width(part: Part) -> float | list[float]:
    widths_mm = [] if part.corridor_mm is None else part.corridor_mm.tolist()
    return widths_mm[0] if len(set(widths_mm)) == 1 else widths_mm


def placed(
    task: TaskDict,
    *,
    corridor_mm: float | None = None,
    screen_mm: Sequence[float],
    direction: str | None = None,
    midline_x_mm: float | None = None,
) -> GuideDict:
    """Guide of a plan item: the task's path in the middle of a screen.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1`` with parts.
    corridor_mm : float or None
        **Full** width for this item; None takes the task's usual one. [mm]
    screen_mm : sequence of two floats
        Width and height of the tablet's task area. [mm]
    direction : str or None
        The task's own direction or, if it is reversible, the opposite one; None is its own.
    midline_x_mm : float or None
        Where the middle of the child's body is; None when nobody said. [mm]

    Returns
    -------
    dict
        Guide in absolute mm from the screen's upper left corner, points in the asked order.

    Raises
    ------
    DoesNotFit
        If the path is larger than the screen.
    ValueError
        If the task cannot be asked in this direction.

    Examples
    --------
    >>> guide = placed(task_of("quay-edge"), corridor_mm=8, screen_mm=(207, 136))
    >>> guide["points_mm"], guide["corridor_mm"]
    ([[13.5, 68.0], [193.5, 68.0]], 8.0)
    """
    parts = _asked_parts(task, corridor_mm, direction or task["direction"])
    corner_mm = _corner_mm(task["size_mm"], screen_mm)
    listed = [
        {
            "points_mm": _listed(part.points_mm + corner_mm),
            "closed": part.closed,
            "corridor_mm": _width(part),
        }
        for part in parts
    ]
    guide: GuideDict = {"id": guide_id(Guide(parts)), "shape": task["shape"]}
    guide |= listed[0] if len(listed) == 1 else {"parts": listed}
    guide |= {"start_radius_mm": task["start_radius_mm"], "stop_radius_mm": task["stop_radius_mm"]}
    if midline_x_mm is not None:
        guide |= {"midline_x_mm": round(float(midline_x_mm), 2), "midline_source": "entered"}
    return guide
