"""The library's lines to trace: ten paths, a line with a band of pressure, a wide bridge."""

from collections.abc import Sequence
from typing import Any

from analysis import shapes
from analysis.trace import FloatArray
from server.library_fit import LARGE_SCREEN, TABLET
from server.library_steps import CORRIDOR, HALF_BAND, TaskDict, graded, rungs
from server.placing import listed

START_RADIUS_MM = 5.0
STOP_RADIUS_MM = 5.0
SOURCE = "Linnet's own geometry; width ladder by convention"


def line_task(
    task_id: str,
    name: str,
    shape: str,
    points_mm: FloatArray,
    *,
    direction: str,
    widths_mm: Sequence[float],
    usual_mm: float = 12.0,
    closed: bool = False,
    **more: Any,
) -> TaskDict:
    """Return a task of one line to trace.

    Parameters
    ----------
    task_id, name, shape : str
        Id, name and kind of shape.
    points_mm : ndarray, shape (n, 2)
        Vertices, bounding box at (0, 0). [mm]
    direction : str
        Direction in which they run; all but ``none`` may be asked the other way too.
    widths_mm : sequence of float
        Full widths offered, widest first. [mm]
    usual_mm : float
        The one among them that is taken if nobody chooses. [mm]
    closed : bool
        Whether the last vertex is joined to the first.
    **more
        Further fields, or other values for those above.

    Returns
    -------
    dict
        A ``linnet-task/1``.
    """
    return {
        "format": "linnet-task/1",
        "task_id": task_id,
        "revision": 1,
        "name": name,
        "mode": "trace",
        "use": "practice",
        "medium": TABLET,
        "shape": shape,
        "size_mm": [round(float(side), 2) for side in points_mm.max(axis=0)],
        "direction": direction,
        "reversible": direction != "none",
        "parts": [{"points_mm": listed(points_mm), "closed": closed, "corridor_mm": usual_mm}],
        "start_radius_mm": START_RADIUS_MM,
        "stop_radius_mm": STOP_RADIUS_MM,
        "criterion": {"measure": "in_corridor_share", "at_least": 0.8},
        "grade": graded(CORRIDOR, widths_mm, usual_mm),
        "cautions": [],
        "source": SOURCE,
    } | more


TRACED: tuple[TaskDict, ...] = (
    line_task(
        "quay-edge",
        "Quay Edge",
        "line",
        shapes.line(180.0),
        direction="left_to_right",
        widths_mm=rungs(24.0, 6.0),
    ),
    line_task(
        "flagpole",
        "Flagpole",
        "line",
        shapes.line(0.0, 100.0),
        direction="downward",
        widths_mm=rungs(24.0, 6.0),
    ),
    line_task(
        "gangway",
        "Gangway",
        "line",
        shapes.line(150.0, -90.0),
        direction="left_to_right",
        widths_mm=rungs(24.0, 8.0),
    ),
    line_task(
        "high-bridge",
        "High Bridge",
        "half_ellipse",
        shapes.half_ellipse(180.0, 85.0),
        direction="left_to_right",
        widths_mm=rungs(24.0, 8.0),
        use="probe",
    ),
    line_task(
        "low-bridge",
        "Low Bridge",
        "half_ellipse",
        shapes.half_ellipse(180.0, 45.0),
        direction="left_to_right",
        widths_mm=rungs(24.0, 8.0),
    ),
    line_task(
        "swell",
        "Swell",
        "sine",
        shapes.sine(180.0, 20.0, 1.5),
        direction="left_to_right",
        widths_mm=rungs(18.0, 8.0),
    ),
    line_task(
        "buoy",
        "Buoy",
        "circle",
        shapes.circle(40.0),
        direction="clockwise",
        widths_mm=rungs(18.0, 6.0),
        closed=True,
    ),
    line_task(
        "hatch",
        "Hatch",
        "square",
        shapes.square(70.0),
        direction="clockwise",
        widths_mm=rungs(18.0, 8.0),
        closed=True,
    ),
    line_task(
        "sail-seam",
        "Sail Seam",
        "zigzag",
        shapes.zigzag(22.5, 35.0, 8),
        direction="left_to_right",
        widths_mm=rungs(18.0, 8.0),
    ),
    # An eight turns both ways and its ends meet, so no word tells one way from the other.
    line_task(
        "two-islands",
        "Two Islands",
        "figure_eight",
        shapes.figure_eight(150.0, 56.0),
        direction="none",
        widths_mm=rungs(18.0, 8.0),
        closed=True,
    ),
)

# The line stays as wide as it is; what narrows is the band of pressure, each side of the
# child's own median, which is only known when the item is planned.
SLOW_TIDE = line_task(
    "slow-tide",
    "Slow Tide",
    "line",
    shapes.line(150.0),
    direction="left_to_right",
    widths_mm=(24.0,),
    usual_mm=24.0,
    criterion={"measure": "pressure_in_band_share", "at_least": 0.8},
    pressure_half_band=0.1,
    needs=["pressure"],
    grade=graded(HALF_BAND, (0.15, 0.1, 0.07), 0.1),
)

# A whole arm's arc: 20, 12 and 8 mm each side.
WIDE_BRIDGE = line_task(
    "wide-bridge",
    "Wide Bridge",
    "half_ellipse",
    shapes.half_ellipse(600.0, 300.0),
    direction="left_to_right",
    widths_mm=(40.0, 24.0, 16.0),
    usual_mm=24.0,
    medium=LARGE_SCREEN,
    about_midline=True,
)
