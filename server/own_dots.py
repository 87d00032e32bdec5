"""Dots of a practice's own, to tap or to join in their order."""

from typing import NamedTuple

import numpy as np

from analysis.flattening import settled
from analysis.guide import Guide, Part
from analysis.trace import FloatArray
from analysis.travel import direction_of
from server.faults import BadDocument, Fault
from server.guides import ORDER_TAKEN
from server.library_dots import diameters
from server.library_fit import TABLET, fits
from server.library_steps import DIAMETER, TaskDict, graded
from server.own_lines import HUNDREDTHS, Drawn
from server.placing import listed

TARGETS = "/targets_mm"
LADDER_MM = diameters(20.0, 8.0)
OVERLAP = "Two dots lie over each other."
TOO_LARGE = "The dots do not fit on a tablet."


class Dot(NamedTuple):
    """A dot as it was sent. [mm]"""

    x: float
    y: float
    radius: float
    order: int


def dots_of(dots: list[Dot]) -> Drawn:
    """Return the dots of a task in their order, at the origin and in whole hundredths.

    Parameters
    ----------
    dots : list of Dot
        Two or more.

    Returns
    -------
    Drawn
        With a ladder of diameters if all dots are of one size, else without one.

    Raises
    ------
    BadDocument
        If two have the same place in the order, or touch, or if they do not fit.
    """
    _check_order(dots)
    rows = sorted(dots, key=lambda dot: dot.order)
    centres_mm = np.array([[dot.x, dot.y] for dot in rows])
    radii_mm = np.array([dot.radius for dot in rows])
    _check_apart(centres_mm, radii_mm)
    places_mm = settled(centres_mm)
    task: TaskDict = {
        "medium": TABLET,
        "shape": "dots",
        "size_mm": [round(float(side), 2) for side in places_mm.max(axis=0)],
        "targets_mm": [
            {"x": x, "y": y, "radius": dot.radius, "order": order}
            for order, ((x, y), dot) in enumerate(zip(listed(places_mm), rows, strict=True))
        ],
    }
    if not fits(task | {"grade": {"down": {}, "up": {}}}):
        raise BadDocument([Fault(TARGETS, TOO_LARGE)])
    ends = Guide([Part(places_mm[[0, -1]])])
    return Drawn(TARGETS, direction_of(ends), task | {"grade": _grade(task, centres_mm)})


def _check_order(dots: list[Dot]) -> None:
    taken: set[int] = set()
    for at, dot in enumerate(dots):
        if dot.order in taken:
            raise BadDocument([Fault(f"{TARGETS}/{at}/order", ORDER_TAKEN)])
        if round(dot.radius, 2) != dot.radius:
            raise BadDocument([Fault(f"{TARGETS}/{at}/radius", HUNDREDTHS)])
        taken.add(dot.order)


def _apart_mm(centres_mm: FloatArray) -> FloatArray:
    """Distance of every dot from every other. [mm]"""
    apart_mm: FloatArray = np.linalg.norm(centres_mm[:, None] - centres_mm[None], axis=2)
    return apart_mm


def _check_apart(centres_mm: FloatArray, radii_mm: FloatArray) -> None:
    gaps_mm = _apart_mm(centres_mm) - radii_mm[:, None] - radii_mm[None]
    if (gaps_mm[np.triu_indices(len(gaps_mm), 1)] < 0.0).any():
        raise BadDocument([Fault(TARGETS, OVERLAP)])


def _grade(task: TaskDict, centres_mm: FloatArray) -> TaskDict:
    """Return the steps beside the usual size: those that fit and leave the dots apart."""
    sizes_mm = {2.0 * float(dot["radius"]) for dot in task["targets_mm"]}
    if len(sizes_mm) > 1:
        return {"down": {}, "up": {}}
    (usual_mm,) = sizes_mm
    apart_mm = _apart_mm(centres_mm)[np.triu_indices(len(centres_mm), 1)].min()
    ladder = [
        size_mm
        for size_mm in sorted({*LADDER_MM, usual_mm}, reverse=True)
        if size_mm == usual_mm or (size_mm <= apart_mm and fits(_sized(task, size_mm)))
    ]
    return graded(DIAMETER, ladder, usual_mm)


def _sized(task: TaskDict, size_mm: float) -> TaskDict:
    dots = [dot | {"radius": 0.5 * size_mm} for dot in task["targets_mm"]]
    return task | {"targets_mm": dots, "grade": {"down": {}, "up": {}}}
