"""From a task in local coordinates to a guide on a screen, or to a template on paper."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.flattening import settled
from analysis.guide import Guide, Part, Target
from analysis.identity import guide_id
from analysis.trace import FloatArray
from analysis.travel import OPPOSITE
from server.library_fit import box_mm, has_room
from server.library_steps import Step, TaskDict, at_step

GuideDict = dict[str, Any]


class DoesNotFit(ValueError):
    """Raised when a guide is larger than the screen it is to be shown on."""


def listed(points_mm: FloatArray) -> list[list[float]]:
    """Return points as documents carry them, in whole hundredths. [mm]."""
    return [[round(float(x), 2), round(float(y), 2)] for x, y in points_mm]


def _is_turned(task: TaskDict, direction: str) -> bool:
    """Whether a task is asked the other way; it is refused if it cannot be."""
    allowed = {task["direction"], OPPOSITE[task["direction"]] if task["reversible"] else None}
    if direction not in allowed:
        raise ValueError(f"{task['name']} cannot be asked {direction!r}")
    return bool(direction != task["direction"])


def _asked_parts(task: TaskDict, direction: str) -> list[Part]:
    turned = _is_turned(task, direction)
    parts = [
        Part(
            np.array(part["points_mm"]),
            part["closed"],
            None if part["corridor_mm"] is None else np.array(part["corridor_mm"]),
        )
        for part in task.get("parts") or []
    ]
    if not turned:
        return parts
    if task["mode"] == "both":
        # Each hand keeps its own part: the first one is at the left whichever way it runs.
        return [part.reversed() for part in parts]
    return [part.reversed() for part in reversed(parts)]


def _asked_dots(task: TaskDict, direction: str, corner_mm: FloatArray) -> list[dict[str, Any]]:
    dots = sorted(task.get("targets_mm") or [], key=lambda dot: dot["order"])
    if _is_turned(task, direction):
        dots.reverse()
    centres_mm = listed(np.array([[dot["x"], dot["y"]] for dot in dots]).reshape(-1, 2) + corner_mm)
    return [
        {"x": x, "y": y, "radius": dot["radius"], "order": order}
        for order, ((x, y), dot) in enumerate(zip(centres_mm, dots, strict=True))
    ]


def _corner_mm(
    task: TaskDict, screen_mm: Sequence[float], midline_x_mm: float | None
) -> FloatArray:
    """Where the task's upper left corner comes to lie, in whole hundredths. [mm]"""
    low_mm, high_mm = box_mm(task)
    if not has_room(high_mm - low_mm, screen_mm):
        width_mm, height_mm = (math.ceil(round(float(side), 3)) for side in high_mm - low_mm)
        raise DoesNotFit(f"the guide needs {width_mm} by {height_mm} mm of screen")
    middle_mm = [0.5 * float(room) for room in screen_mm]
    if task.get("about_midline") and midline_x_mm is not None:
        middle_mm[0] = float(midline_x_mm)
    beside_mm = np.array([middle_mm]) - 0.5 * np.array(task["size_mm"])
    corner_mm: FloatArray = settled(beside_mm, origin_mm=(0.0, 0.0))[0]
    if not lies_within((low_mm, high_mm), corner_mm, screen_mm):
        raise DoesNotFit("the guide does not fit about this midline")
    return corner_mm


def lies_within(
    box: Sequence[FloatArray] | FloatArray, corner_mm: FloatArray, screen_mm: Sequence[float]
) -> bool:
    """Whether a box lies on a screen, its task's upper left corner at a place of it. [mm]"""
    low_mm, high_mm = box
    over_mm = np.maximum(-(corner_mm + low_mm), corner_mm + high_mm - np.array(screen_mm))
    # Half a hundredth of rounding is no matter.
    return bool((over_mm <= 0.01).all())


def _width(part: Part) -> float | list[float] | None:
    if part.corridor_mm is None:
        return None
    widths_mm: list[float] = part.corridor_mm.tolist()
    return widths_mm[0] if len(set(widths_mm)) == 1 else widths_mm


def _line(part: Part, corner_mm: FloatArray) -> dict[str, Any]:
    line: dict[str, Any] = {"points_mm": listed(part.points_mm + corner_mm), "closed": part.closed}
    width = _width(part)
    return line if width is None else line | {"corridor_mm": width}


def for_hand(task: TaskDict, hand: str | None) -> TaskDict:
    """Task as a drawing hand needs it: a disc to hold lies on the side of the other hand.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1``; one with a disc beside a line has the disc at the left.
    hand : str or None
        The hand that draws; only ``left`` changes anything.

    Returns
    -------
    dict
        The task, its disc and its line having changed sides. The line itself is not
        mirrored: it starts where it started and turns as it turned, with the same id.

    Examples
    --------
    >>> from server.library import task_of
    >>> turned = for_hand(task_of("capstan"), "left")
    >>> turned["targets_mm"][0]["x"], turned["size_mm"]
    (126.0, [126.0, 60.0])
    """
    parts, dots = task.get("parts") or [], task.get("targets_mm") or []
    if hand != "left" or task["mode"] != "both" or not parts or len(dots) != 1:
        return task
    width_mm = task["size_mm"][0]
    xs_mm = [x for part in parts for x, _ in part["points_mm"]]
    across_mm = np.array([width_mm - min(xs_mm) - max(xs_mm), 0.0])
    return task | {
        "parts": [
            part | {"points_mm": listed(np.array(part["points_mm"]) + across_mm)} for part in parts
        ],
        "targets_mm": [dot | {"x": round(width_mm - dot["x"], 2)} for dot in dots],
    }


def laid_out(task: TaskDict, direction: str, corner_mm: FloatArray) -> GuideDict:
    """Guide of a task as it is, the task's own upper left corner at a place of a screen.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1`` at the step that is wanted.
    direction : str
        The task's own direction or, if it is reversible, the opposite one.
    corner_mm : ndarray, shape (2,)
        In whole hundredths. [mm]

    Returns
    -------
    dict
        Guide without a midline.
    """
    parts, dots = _asked_parts(task, direction), _asked_dots(task, direction, corner_mm)
    targets = tuple(Target(dot["x"], dot["y"], dot["radius"], dot["order"]) for dot in dots)
    guide: GuideDict = {"id": guide_id(Guide(parts, targets=targets)), "shape": task["shape"]}
    lines = [_line(part, corner_mm) for part in parts]
    if lines:
        guide |= lines[0] if len(lines) == 1 else {"parts": lines}
    if dots:
        guide["targets_mm"] = dots
    for key in ("pairs", "start_radius_mm", "stop_radius_mm"):
        if task.get(key) is not None:
            guide[key] = task[key]
    return guide


def placed(
    task: TaskDict,
    *,
    corridor_mm: float | None = None,
    step: Step | None = None,
    screen_mm: Sequence[float],
    direction: str | None = None,
    midline_x_mm: float | None = None,
    hand: str | None = None,
) -> GuideDict:
    """Guide of a plan item: the task's path and dots in the middle of a screen.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1`` with parts, dots or both.
    corridor_mm : float or None
        **Full** width for this item; None takes that of the step. [mm]
    step : Step or None
        One of the task's steps; None takes its usual one.
    screen_mm : sequence of two floats
        Width and height of the tablet's task area, or of a sheet. [mm]
    direction : str or None
        The task's own direction or, if it is reversible, the opposite one; None is its own.
    midline_x_mm : float or None
        Where the middle of the child's body is; None when nobody said. A task that belongs
        about the midline is placed about it. [mm]
    hand : str or None
        The hand that draws, for `for_hand`; None when it is not asked for.

    Returns
    -------
    dict
        Guide in absolute mm from the screen's upper left corner, points and dots in the
        asked order.

    Raises
    ------
    DoesNotFit
        If the guide, its corridor and its ends are larger than the screen.
    ValueError
        If the task cannot be asked in this direction, or has no such step.

    Examples
    --------
    >>> from server.library import task_of
    >>> guide = placed(task_of("quay-edge"), corridor_mm=8, screen_mm=(207, 136))
    >>> guide["points_mm"], guide["corridor_mm"]
    ([[13.5, 68.0], [193.5, 68.0]], 8.0)
    """
    shown = at_step(task, step)
    if corridor_mm is not None:
        width_mm = float(corridor_mm)
        parts_then = [part | {"corridor_mm": width_mm} for part in shown.get("parts") or []]
        shown = shown | {"parts": parts_then}
    shown = for_hand(without_template(shown), hand)
    corner_mm = _corner_mm(shown, screen_mm, midline_x_mm)
    guide = laid_out(shown, direction or task["direction"], corner_mm)
    if midline_x_mm is not None:
        guide |= {"midline_x_mm": round(float(midline_x_mm), 2), "midline_source": "entered"}
    return guide


def without_template(task: TaskDict) -> TaskDict:
    """Return a task as a screen shows it: what falls out of the paper is not drawn there."""
    return {key: value for key, value in task.items() if key != "template"}


def template_of(task: TaskDict, step: Step | None = None) -> dict[str, Any]:
    """Template of a ``linnet-cut/1``: what is cut, true to size, with the step's band.

    Parameters
    ----------
    task : dict
        A ``linnet-task/1`` of mode ``cut``.
    step : Step or None
        One of its steps; None is the usual one.

    Returns
    -------
    dict
        `points_mm`, `closed` and, if there is a band, its full width `corridor_mm`.

    Raises
    ------
    ValueError
        If nothing is cut in this task, or it has no such step.

    Examples
    --------
    >>> from server.library import task_of
    >>> template_of(task_of("crate-card"))["corridor_mm"]
    12.7
    """
    shown = at_step(task, step)
    if shown.get("template") is None:
        raise ValueError(f"{task['name']} has no template")
    template: dict[str, Any] = shown["template"]
    return template
