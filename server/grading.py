"""The next easier and the next harder rung of a plan's item, placed as the item itself is.

A tablet gets them with its day pack, so that an adult can step up or down without a server.
They are found anew each time from the item's own guide, and never stored.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple, TypeVar

import numpy as np
import orjson

from analysis.trace import FloatArray
from analysis.travel import OPPOSITE
from server.library_fit import ROOMS_MM, TABLET, box_mm
from server.library_steps import HALF_BAND, Step, TaskDict, at_step, steps_of
from server.placing import GuideDict, for_hand, laid_out, lies_within, without_template
from server.placing_items import with_pressure_band

Item = dict[str, Any]
Graded = dict[str, Any]
Kind = TypeVar("Kind")

NAMES = ("easier", "harder")
PRACTICE, OPEN, LEFT = "practice", "open", "left"
BAND = "pressure_band"
# What of a guide differs from rung to rung, or from place to place.
LINE = ("points_mm", "closed", "corridor_mm")
GEOMETRY = ("id", "parts", "targets_mm", *LINE)
# A pack holds some dozens of tasks; a task of 10 000 points takes some 10 MB.
TASKS_KEPT = 64
# Two roundings to whole hundredths lie between a height and the one that is worked out. [mm]
SAME_HEIGHT_MM = 0.02


class Rung(NamedTuple):
    """One step of a task, laid out one way with its corner at (0, 0).

    Attributes
    ----------
    step : Step
        Which one.
    guide : dict
        Its guide. [mm]
    box_mm : ndarray, shape (2, 2)
        Around everything that is shown. [mm]
    """

    step: Step
    guide: GuideDict
    box_mm: FloatArray


class Place(NamedTuple):
    """Where an item stands: its rung among those laid out its way, and its corner. [mm]"""

    way: tuple[Rung, ...]
    at: int
    corner_mm: FloatArray


def steps_beside(task: TaskDict, item: Item) -> dict[str, Graded]:
    """Return the rungs next to an item's own, for a tablet.

    Parameters
    ----------
    task : dict
        The item's task, ``linnet-task/1``, in its revision.
    item : dict
        An item of a ``linnet-plan/1``.

    Returns
    -------
    dict
        `easier` and `harder`, each with `step`, `task` and `guide`; those left out that are
        not there or have no room on the screen that the item was made for. Empty for a
        probe, a closed item, and a guide that is no rung of the task.

    Examples
    --------
    >>> from server.library import placed, plan_item, task_of
    >>> swell = task_of("swell")
    >>> guide = placed(swell, screen_mm=(207, 136))
    >>> item = plan_item(swell, item_id="a1", guide=guide, condition={})
    >>> found = steps_beside(swell, item)
    >>> {name: one["step"]["value"] for name, one in found.items()}
    {'easier': 18.0, 'harder': 8.0}
    """
    if item["task"]["use"] != PRACTICE or item["state"] != OPEN:
        return {}
    found = _of_band(task, item) if task.get(HALF_BAND) is not None else _of_guide(task, item)
    return {name: one for name, one in zip(NAMES, found, strict=True) if one is not None}


def _graded(step: Step, task: Mapping[str, Any], guide: GuideDict) -> Graded:
    named = {"dimension": step.dimension, "value": step.value}
    return {"step": named, "task": task, "guide": guide}


def _beside(rungs: Sequence[Kind], at: int) -> list[Kind | None]:
    """Return the rungs on both sides of one, easier first; None beyond the ends."""
    return [rungs[one] if 0 <= one < len(rungs) else None for one in (at - 1, at + 1)]


# Rungs that show in the guide


def _of_guide(task: TaskDict, item: Item) -> list[Graded | None]:
    own = item["guide"]
    place = _place_of(task, own)
    if place is None:
        return [None, None]
    room_mm = _room_mm(task, own, place.corner_mm)
    return [
        _graded(rung.step, item["task"], _moved(rung.guide, own, place.corner_mm))
        if rung is not None and lies_within(rung.box_mm, place.corner_mm, room_mm)
        else None
        for rung in _beside(place.way, place.at)
    ]


def _place_of(task: TaskDict, own: GuideDict) -> Place | None:
    """Return where a guide stands; None if the task is never shown in this way."""
    for way in _ways(orjson.dumps(task)):
        for at, rung in enumerate(way):
            if _likeness(rung.guide) == _likeness(own):
                corner_mm = np.round(_first_mm(own) - _first_mm(rung.guide), 2)
                if _places(rung.guide, corner_mm) == _places(own):
                    return Place(way, at, corner_mm)
    return None


@lru_cache(maxsize=TASKS_KEPT)
def _ways(task_json: bytes) -> tuple[tuple[Rung, ...], ...]:
    """Return all steps of a task, laid out each way in which it may be asked."""
    task: TaskDict = orjson.loads(task_json)
    directions = [task["direction"]]
    if task["reversible"]:
        directions.append(OPPOSITE[task["direction"]])
    hands = (None,) if for_hand(task, LEFT) is task else (None, LEFT)
    return tuple(
        tuple(_rung(task, step, direction, hand) for step in steps_of(task))
        for direction in directions
        for hand in hands
    )


def _rung(task: TaskDict, step: Step, direction: str, hand: str | None) -> Rung:
    shown = for_hand(without_template(at_step(task, step)), hand)
    return Rung(step, laid_out(shown, direction, np.zeros(2)), box_mm(shown))


def _lines(guide: GuideDict) -> list[GuideDict]:
    return guide.get("parts") or ([guide] if guide.get("points_mm") else [])


def _likeness(guide: GuideDict) -> list[Any]:
    """Return all but the places of a guide: quick to compare."""
    lines = [
        (len(line["points_mm"]), line.get("closed", False), line.get("corridor_mm"))
        for line in _lines(guide)
    ]
    return [*lines, *[(dot["radius"], dot["order"]) for dot in guide.get("targets_mm") or []]]


def _places(guide: GuideDict, corner_mm: FloatArray | None = None) -> list[list[list[float]]]:
    """Return the points of each line, then those of the dots, at a corner. [mm]"""
    dots = [[dot["x"], dot["y"]] for dot in guide.get("targets_mm") or []]
    rows = [line["points_mm"] for line in _lines(guide)] + ([dots] if dots else [])
    return rows if corner_mm is None else [_at(row, corner_mm) for row in rows]


def _first_mm(guide: GuideDict) -> FloatArray:
    return np.array(_places(guide)[0][0], dtype=np.float64)


def _at(points_mm: list[list[float]], corner_mm: FloatArray) -> list[list[float]]:
    moved: list[list[float]] = np.round(np.array(points_mm) + corner_mm, 2).tolist()
    return moved


def _moved(guide: GuideDict, own: GuideDict, corner_mm: FloatArray) -> GuideDict:
    """Return an item's own guide with the lines and dots of another rung, in the same place."""
    kept = {key: value for key, value in own.items() if key not in GEOMETRY}
    moved = {"id": guide["id"]} | kept
    if "parts" in guide:
        moved["parts"] = [
            line | {"points_mm": _at(line["points_mm"], corner_mm)} for line in guide["parts"]
        ]
    elif "points_mm" in guide:
        line = {key: guide[key] for key in LINE if key in guide}
        moved |= line | {"points_mm": _at(guide["points_mm"], corner_mm)}
    if "targets_mm" in guide:
        dots = guide["targets_mm"]
        centres_mm = _at([[dot["x"], dot["y"]] for dot in dots], corner_mm)
        moved["targets_mm"] = [
            dot | {"x": x, "y": y} for dot, (x, y) in zip(dots, centres_mm, strict=True)
        ]
    return moved


def _room_mm(task: TaskDict, own: GuideDict, corner_mm: FloatArray) -> tuple[float, float]:
    """Return the screen that a guide was made for: it was placed in the middle of it. [mm]"""
    width_mm, height_mm = (2.0 * corner_mm + np.array(task["size_mm"])).tolist()
    if not task.get("about_midline") or own.get("midline_x_mm") is None:
        return width_mm, height_mm
    # About the midline only the height tells. Of a screen that is none of the usual ones the
    # width is not known: the tablet looks whether a guide fits before it shows it.
    for room_mm in ROOMS_MM[task.get("medium") or TABLET]:
        if abs(room_mm[1] - height_mm) <= SAME_HEIGHT_MM:
            return room_mm
    return math.inf, height_mm


# Rungs of pressure: the guide is the same


def _of_band(task: TaskDict, item: Item) -> list[Graded | None]:
    found = list(_bands_like(task, item["task"].get("pressure_band")))
    # A band that ends where the pen's range ends may be that of two rungs.
    if len(found) != 1:
        return [None, None]
    at, median = found[0]
    return [
        None
        if step is None
        else _graded(
            step,
            item["task"] | {BAND: with_pressure_band(task, median, step=step)[BAND]},
            item["guide"],
        )
        for step in _beside(steps_of(task), at)
    ]


def _bands_like(task: TaskDict, band: list[float] | None) -> Iterator[tuple[int, float]]:
    """Yield the rungs and medians that give a band."""
    low, high = band or (0.0, 1.0)
    for at, step in enumerate(steps_of(task)):
        median = round(low + step.value if low > 0.0 else high - step.value, 4)
        if 0.0 < median < 1.0 and with_pressure_band(task, median, step=step)[BAND] == band:
            yield at, median
