"""From a task in local coordinates to a guide on a screen and an item of a plan."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.flattening import settled
from analysis.guide import Guide, Part
from analysis.identity import guide_id
from analysis.trace import FloatArray
from analysis.travel import OPPOSITE

TaskDict = dict[str, Any]
GuideDict = dict[str, Any]


class DoesNotFit(ValueError):
    """Raised when a guide is larger than the screen it is to be shown on."""


def listed(points_mm: FloatArray) -> list[list[float]]:
    """Return points as documents carry them, in whole hundredths. [mm]."""
    return [[round(float(x), 2), round(float(y), 2)] for x, y in points_mm]


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
    >>> from server.library import task_of
    >>> guide = placed(task_of("quay-edge"), corridor_mm=8, screen_mm=(207, 136))
    >>> guide["points_mm"], guide["corridor_mm"]
    ([[13.5, 68.0], [193.5, 68.0]], 8.0)
    """
    parts = _asked_parts(task, corridor_mm, direction or task["direction"])
    corner_mm = _corner_mm(task["size_mm"], screen_mm)
    lines = [
        {
            "points_mm": listed(part.points_mm + corner_mm),
            "closed": part.closed,
            "corridor_mm": _width(part),
        }
        for part in parts
    ]
    guide: GuideDict = {"id": guide_id(Guide(parts)), "shape": task["shape"]}
    guide |= lines[0] if len(lines) == 1 else {"parts": lines}
    guide |= {"start_radius_mm": task["start_radius_mm"], "stop_radius_mm": task["stop_radius_mm"]}
    if midline_x_mm is not None:
        guide |= {"midline_x_mm": round(float(midline_x_mm), 2), "midline_source": "entered"}
    return guide


def plan_item(
    task: TaskDict,
    *,
    item_id: str,
    guide: GuideDict,
    condition: dict[str, Any],
    repetitions: int = 1,
    state: str = "open",
) -> dict[str, Any]:
    """Item of a ``linnet-plan/1``: one task asked a number of times.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1``.
    item_id : str
        Unique in its plan; never used again.
    guide : dict
        What `placed` returned for this task.
    condition : dict
        Hand, direction, position and tool.
    repetitions : int
        How many attempts are asked. [1]
    state : str
        ``open`` or ``closed``.

    Returns
    -------
    dict
        The item, shown as a corridor, without a go signal.
    """
    carried = ("task_id", "revision", "mode", "name", "use", "criterion", "pressure_band")
    return {
        "item_id": item_id,
        "state": state,
        "repetitions": repetitions,
        "task": {key: task[key] for key in carried if key in task},
        "guide": guide,
        "condition": condition,
        "show": {"guide": "corridor", "cue": False, "feedback": "still", "quiet": False},
    }
