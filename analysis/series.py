"""Values of many trials and days, as plain arrays: what trends and change are computed from."""

from dataclasses import dataclass, field

import numpy as np

from analysis.trace import FloatArray
from analysis.value import Better


@dataclass(frozen=True)
class CellTrial:
    """One trial of the hand and direction design: ``left``/``right``, direction, block, value."""

    hand: str
    direction: str
    block: int
    value: float


@dataclass(frozen=True)
class GoalLevel:
    """Attained level of one goal, -2..2, and its weight."""

    level: float
    weight: float = 1.0


@dataclass(frozen=True, eq=False)
class Series:
    """Comparable values of one child and one measure.

    Parameters
    ----------
    days, values : ndarray, shape (n,)
        Date of each session [day] and the median of its trials [unit].
    better : {"low", "high", "near", "none"}
        Direction of improvement of the measure.
    near : float or None
        The value to be near to. [unit]
    baseline_count : int or None
        How many of the first sessions are the baseline phase.
    repeats : ndarray, shape (m, 2)
        Pairs of values from one day, same task and condition. [unit]
    met : tuple of bool or None
        Whether each trial under a goal met its criterion, in order; None is left out.
    met_of : int or None
        How many of the last trials the goal looks at.
    goals : tuple of GoalLevel
        Rated goals, if the practice rates them.
    hands : tuple of str
        Hand taken in each free-choice trial.
    cells : tuple of CellTrial
        Trials of the hand and direction design.
    """

    days: FloatArray = field(default_factory=lambda: np.empty(0))
    values: FloatArray = field(default_factory=lambda: np.empty(0))
    better: Better = "none"
    near: float | None = None
    baseline_count: int | None = None
    repeats: FloatArray = field(default_factory=lambda: np.empty((0, 2)))
    met: tuple[bool | None, ...] = ()
    met_of: int | None = None
    goals: tuple[GoalLevel, ...] = ()
    hands: tuple[str, ...] = ()
    cells: tuple[CellTrial, ...] = ()
