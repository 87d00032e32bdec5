"""Tapping as aimed movement: spread along the way, effective difficulty, throughput.

References
----------
ISO 9241-411 (from memory); Soukoreff & MacKenzie 2004, Int. J. Hum.-Comput. Stud. 61:751
(from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.guide import Target
from analysis.targets import SAME_PLACE_MM, Touch, centres_mm
from analysis.trace import FloatArray
from analysis.value import Refused

WIDTH_FACTOR = 4.133
"""Effective width in standard deviations: sqrt(2 pi e), as the standard rounds it. [1]"""
LEAST_MOVEMENTS, LEAST_OF_CONDITION = 5, 8
"""Movements that a spread needs, and those of one condition that a throughput needs."""
LEAST_SPREAD_MM = 1e-9
"""A spread below this is arithmetic noise. [mm]"""


@dataclass(frozen=True)
class Movement:
    """From one contact to the first contact of another target.

    Parameters
    ----------
    condition : tuple of (int, float)
        Distance of the two centres, to 1 mm, and the radius aimed at. [mm]
    error_mm : float
        Past the centre along the line from the centre before; negative if short of it. [mm]
    moved_mm : float
        Distance between the two contacts along that line. [mm]
    time_s : float or None
        From touch-down to touch-down. [s]
    """

    condition: tuple[int, float]
    error_mm: float
    moved_mm: float
    time_s: float | None


def movements(touches: Sequence[Touch], targets: Sequence[Target]) -> list[Movement]:
    """Return the movements of a trial, in order.

    Parameters
    ----------
    touches : sequence of Touch
        In the order in which they were made.
    targets : sequence of Target
        That they belong to.

    Returns
    -------
    list of Movement
        One for every first contact of a target whose contact before belongs to a target in
        another place; what follows a stray contact is no movement between two targets.
    """
    centre_mm = centres_mm(targets)
    found: list[Movement] = []
    for before, after in pairwise(touches):
        if before.target is None or after.target is None or not after.first:
            continue
        way_mm = centre_mm[after.target] - centre_mm[before.target]
        distance_mm = float(np.hypot(*way_mm))
        if distance_mm <= SAME_PLACE_MM:
            continue
        axis = way_mm / distance_mm
        timed = before.t_s is not None and after.t_s is not None
        found.append(
            Movement(
                condition=(round(distance_mm), round(targets[after.target].radius_mm, 2)),
                error_mm=float((after.xy_mm - centre_mm[after.target]) @ axis),
                moved_mm=float((after.xy_mm - before.xy_mm) @ axis),
                time_s=(after.t_s or 0.0) - (before.t_s or 0.0) if timed else None,
            )
        )
    return found


def effective_width_mm(error_mm: FloatArray) -> float:
    """Width that the contacts really used: 4.133 standard deviations (n - 1). [mm]

    Parameters
    ----------
    error_mm : ndarray, shape (n,)
        Errors along the way, at least two. [mm]

    Returns
    -------
    float
        Effective width. [mm]

    Raises
    ------
    Refused
        ``zero_variance`` if all errors are equal.

    Examples
    --------
    >>> round(effective_width_mm(np.array([-2.0, -1.0, 0.0, 1.0, 2.0])), 5)
    6.53485
    """
    spread_mm = float(np.std(error_mm, ddof=1))
    if spread_mm <= LEAST_SPREAD_MM:
        raise Refused("zero_variance")
    return WIDTH_FACTOR * spread_mm


def effective_index_bit(error_mm: FloatArray, moved_mm: FloatArray) -> float:
    """Effective index of difficulty, log2(Ae/We + 1). [bit]

    Parameters
    ----------
    error_mm, moved_mm : ndarray, shape (n,)
        Errors and distances moved along the way, at least two. [mm]

    Returns
    -------
    float
        Ae is the mean distance moved, 0 if it is negative. [bit]

    Raises
    ------
    Refused
        ``zero_variance`` if all errors are equal.
    """
    moved = max(0.0, float(np.mean(moved_mm)))
    return float(np.log2(moved / effective_width_mm(error_mm) + 1.0))


def _columns(made: Sequence[Movement]) -> tuple[FloatArray, FloatArray]:
    return np.array([one.error_mm for one in made]), np.array([one.moved_mm for one in made])


def _enough(made: Sequence[Movement]) -> None:
    if len(made) < LEAST_MOVEMENTS:
        raise Refused("too_few_trials")


def width_of(made: Sequence[Movement]) -> float:
    """Effective width over all movements; ``too_few_trials`` below five. [mm]"""
    _enough(made)
    return effective_width_mm(_columns(made)[0])


def index_of(made: Sequence[Movement]) -> float:
    """Effective index of difficulty over all movements; ``too_few_trials`` below five. [bit]"""
    _enough(made)
    return effective_index_bit(*_columns(made))


def throughput_bit_s(made: Sequence[Movement]) -> float:
    """Mean throughput of the conditions that have eight movements or more.

    Parameters
    ----------
    made : sequence of Movement
        With times.

    Returns
    -------
    float
        Mean over conditions of effective index over mean movement time. [bit/s]

    Raises
    ------
    Refused
        ``too_few_trials`` if no condition has eight movements, ``zero_variance`` if in one of
        them all errors or all times are equal to nothing.
    """
    groups: dict[tuple[int, float], list[Movement]] = {}
    for one in made:
        groups.setdefault(one.condition, []).append(one)
    rates = [_rate(group) for group in groups.values() if len(group) >= LEAST_OF_CONDITION]
    if not rates:
        raise Refused("too_few_trials")
    return float(np.mean(rates))


def _rate(group: Sequence[Movement]) -> float:
    mean_s = float(np.mean([one.time_s or 0.0 for one in group]))
    if mean_s <= 0:
        raise Refused("zero_variance")
    return effective_index_bit(*_columns(group)) / mean_s
