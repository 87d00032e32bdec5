"""The library's dots: to tap, to punch, to join in order."""

from typing import Any

from numpy.typing import ArrayLike

from analysis.flattening import settled
from server.library_fit import TABLET
from server.library_lines import SOURCE
from server.library_steps import DIAMETER, TaskDict, graded
from server.placing import listed


def diameters(widest_mm: float, finest_mm: float) -> tuple[float, ...]:
    """Return the diameters offered from widest to finest: the width ladder's, and both ends."""
    inner = (width for width in (18.0, 12.0, 8.0) if finest_mm < width < widest_mm)
    return (widest_mm, *inner, finest_mm)


def dot_task(
    task_id: str,
    name: str,
    mode: str,
    centres_mm: ArrayLike,
    *,
    direction: str,
    ladder_mm: tuple[float, ...],
    usual_mm: float = 12.0,
    **more: Any,
) -> TaskDict:
    """Return a task of dots.

    Parameters
    ----------
    task_id, name, mode : str
        Id, name; ``tap`` or ``join``.
    centres_mm : array_like, shape (n, 2)
        Centres in the asked order. [mm]
    direction : str
        From the first towards the last.
    ladder_mm : tuple of float
        Diameters offered, largest first. [mm]
    usual_mm : float
        The one among them that is taken if nobody chooses. [mm]
    **more
        Further fields, or other values.

    Returns
    -------
    dict
        A ``linnet-task/1``.
    """
    places_mm = settled(centres_mm)
    bound = (
        {"measure": "hit_share", "at_least": 0.8}
        if mode == "tap"
        else {"measure": "completion", "at_least": 1.0}
    )
    return {
        "format": "linnet-task/1",
        "task_id": task_id,
        "revision": 1,
        "name": name,
        "mode": mode,
        "use": "practice",
        "medium": TABLET,
        "shape": "dots",
        "size_mm": [round(float(side), 2) for side in places_mm.max(axis=0)],
        "direction": direction,
        "reversible": True,
        "targets_mm": [
            {"x": x, "y": y, "radius": 0.5 * usual_mm, "order": order}
            for order, (x, y) in enumerate(listed(places_mm))
        ],
        "criterion": bound,
        "grade": graded(DIAMETER, ladder_mm, usual_mm),
        "cautions": [],
        "source": SOURCE,
    } | more


def rows_of_dots(columns: int, rows: int, *, step_mm: float, row_mm: float) -> list[list[float]]:
    """Return the centres of dots in rows, each row from left to right. [mm]"""
    return [[step_mm * column, row_mm * row] for row in range(rows) for column in range(columns)]


def _posts(count: int, *, apart_mm: float, down_mm: float) -> list[list[float]]:
    return [[apart_mm * (k % 2), down_mm * k] for k in range(count)]


def _beacons(pairs: int, *, apart_mm: float, down_mm: float) -> list[list[float]]:
    """Pairs of a start and a stop: the next start is below the last stop, no long way back."""
    ways = [[0.0, apart_mm], [apart_mm, 0.0]]
    return [[x, down_mm * pair] for pair in range(pairs) for x in ways[pair % 2]]


PORTHOLES = dot_task(
    "portholes",
    "Portholes",
    "tap",
    rows_of_dots(5, 2, step_mm=38.0, row_mm=40.0),
    direction="left_to_right",
    ladder_mm=diameters(20.0, 8.0),
)

MOORING_POSTS = dot_task(
    "mooring-posts",
    "Mooring Posts",
    "join",
    _posts(6, apart_mm=60.0, down_mm=21.0),
    direction="downward",
    ladder_mm=diameters(18.0, 8.0),
    about_midline=True,
)

NIGHT_BEACONS = dot_task(
    "night-beacons",
    "Night Beacons",
    "join",
    _beacons(4, apart_mm=120.0, down_mm=30.0),
    direction="downward",
    ladder_mm=diameters(20.0, 10.0),
    about_midline=True,
    pairs=True,
)
