"""How much room a task needs, and how much a tablet, a sheet or a large screen has."""

from collections.abc import Iterator, Sequence

import numpy as np

from analysis.trace import FloatArray
from server.library_steps import Step, TaskDict, at_step

TABLET, PAPER, LARGE_SCREEN = "tablet", "paper", "large_screen"

LARGEST_MM = (190.0, 115.0)
"""Largest path of a tablet task, without its corridor. [mm]"""
# A tablet of 10 to 11 inches; A4 with a margin of 10 mm, upright or turned; 32 inches, 16:9.
ROOMS_MM: dict[str, tuple[tuple[float, float], ...]] = {
    TABLET: ((207.0, 136.0),),
    PAPER: ((190.0, 277.0), (277.0, 190.0)),
    LARGE_SCREEN: ((708.0, 398.0),),
}


def box_mm(task: TaskDict, step: Step | None = None) -> FloatArray:
    """Return the box around everything that a task shows at a step.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1``.
    step : Step or None
        One of its steps; None is the usual one.

    Returns
    -------
    ndarray, shape (2, 2)
        Upper left and lower right corner in the task's own coordinates: corridors, both
        ends, dots and the template of a cut. [mm]
    """
    shown = at_step(task, step)
    rows = np.array([*_ends(shown), *_dots(shown), *_lines(shown)], dtype=np.float64)
    centre_mm, reach_mm = rows[:, :2], rows[:, 2:]
    return np.stack([(centre_mm - reach_mm).min(axis=0), (centre_mm + reach_mm).max(axis=0)])


def _lines(task: TaskDict) -> Iterator[list[float]]:
    lines = list(task.get("parts") or [])
    if task.get("template") is not None:
        lines.append(task["template"])
    for line in lines:
        width_mm = line.get("corridor_mm") or 0.0
        reaches_mm = np.broadcast_to(0.5 * np.array(width_mm), len(line["points_mm"]))
        for (x, y), reach_mm in zip(line["points_mm"], reaches_mm, strict=True):
            yield [x, y, float(reach_mm)]


def _dots(task: TaskDict) -> Iterator[list[float]]:
    for dot in task.get("targets_mm") or []:
        yield [dot["x"], dot["y"], dot["radius"]]


def _ends(task: TaskDict) -> Iterator[list[float]]:
    # Asked the other way, the first becomes the last: both get the larger of the two.
    radius_mm = max(task.get("start_radius_mm") or 0.0, task.get("stop_radius_mm") or 0.0)
    for part in task.get("parts") or []:
        yield [*part["points_mm"][0], radius_mm]
        yield [*part["points_mm"][0 if part["closed"] else -1], radius_mm]


def fits(task: TaskDict, step: Step | None = None) -> bool:
    """Whether a task has room where it belongs: on a tablet, a sheet or a large screen.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1``.
    step : Step or None
        One of its steps; None is the usual one.

    Returns
    -------
    bool
        True if everything shown has room in one of the places of the task's medium.
    """
    low_mm, high_mm = box_mm(task, step)
    return any(has_room(high_mm - low_mm, room_mm) for room_mm in ROOMS_MM[task["medium"]])


def has_room(size_mm: FloatArray, room_mm: Sequence[float]) -> bool:
    """Whether a size lies within a room, side by side; a thousandth of a mm is no matter."""
    return bool((size_mm <= np.array(room_mm) + 1e-3).all())
