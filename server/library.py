"""The tasks of day one that a tablet can show.

A task is a dict with the fields of ``linnet-task/1``: its parts lie in local coordinates
(bounding box at 0, 0), the first point of the first part is the start, and each part
carries the task's usual corridor. `grade` names the other widths of the one ladder
24, 18, 12, 8, 6 mm (full width): `down` is easier, `up` is harder, nearest step first.
"""

from analysis import shapes
from analysis.trace import FloatArray
from server.placing import DoesNotFit, TaskDict, listed, placed, plan_item

__all__ = [
    "LARGEST_MM",
    "LIBRARY",
    "WIDTH_LADDER_MM",
    "DoesNotFit",
    "placed",
    "plan_item",
    "task_of",
]

WIDTH_LADDER_MM = (24.0, 18.0, 12.0, 8.0, 6.0)
LARGEST_MM = (190.0, 115.0)
START_RADIUS_MM = 5.0
STOP_RADIUS_MM = 5.0


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
        "parts": [{"points_mm": listed(points_mm), "closed": closed, "corridor_mm": usual_mm}],
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
