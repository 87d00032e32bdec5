"""Values of many trials and days, as plain arrays: what trends and change are computed from."""

from dataclasses import dataclass, field

import numpy as np

from analysis.trace import FloatArray
from analysis.value import Better

LARGEST = 1e100
"""Sums of squares of larger numbers leave the range of a double."""

LATEST_DAY = 1e7
"""Whole days up to here are exact, and no calendar goes farther."""


@dataclass(frozen=True)
class CellTrial:
    """One trial of the hand and direction design.

    Parameters
    ----------
    hand : str or None
        ``left``, ``right``, or None where it is not known; other words are kept apart.
    direction : str or None
        ``left_to_right`` or ``right_to_left``; others are left out.
    block : int
        Trials of one block were made close together, in random order.
    value : float
        Of the measure. [unit]
    """

    hand: str | None
    direction: str | None
    block: int
    value: float


@dataclass(frozen=True)
class GoalLevel:
    """How far one goal was attained.

    Parameters
    ----------
    level : float
        -2 much less than expected, 0 as expected, 2 much more. [1]
    weight : float
        Above 0. [1]
    rescored : bool
        Whether its levels were written or changed after the result was known.
    """

    level: float
    weight: float = 1.0
    rescored: bool = False

    def __post_init__(self) -> None:
        if not -2 <= self.level <= 2:
            raise ValueError("the level of a goal must lie within -2..2")
        if not 0 < self.weight <= LARGEST:
            raise ValueError("the weight of a goal must be above 0")


@dataclass(frozen=True)
class Reliability:
    """Spread and reliability of a measure, known from elsewhere.

    Parameters
    ----------
    sd : float
        Standard deviation over children. [unit]
    coefficient : float
        Intraclass correlation or retest reliability, -1..1. [1]
    same_condition : bool
        Whether both come from the guide and the device of the series.
    """

    sd: float
    coefficient: float
    same_condition: bool

    def __post_init__(self) -> None:
        if not (0 <= self.sd <= LARGEST and -1 <= self.coefficient <= 1):
            raise ValueError("sd must be 0 or more, and the coefficient within -1..1")


@dataclass(frozen=True, eq=False)
class Series:
    """Comparable values of one child and one measure.

    Parameters
    ----------
    days, values : ndarray, shape (n,)
        Date of each session in whole days, in order, and the median of its trials. [day], [unit]
    better : {"low", "high", "near", "none"}
        Direction of improvement of the measure.
    near : float or None
        The value to be near to. [unit]
    baseline_count : int or None
        How many of the first sessions are the baseline phase; None if there is none.
    repeats : ndarray, shape (m, 2)
        Pairs of values from one day, same task and condition, each trial in one pair. [unit]
    reliability : Reliability or None
        Used instead of the repeats where it is given.
    met : tuple of bool or None
        Whether each trial under a goal met its criterion, in order; None is left out.
    met_of : int or None
        How many of the last trials the goal looks at.
    goals : tuple of GoalLevel
        Rated goals, if the practice rates them.
    hands : tuple of str or None
        Hand taken in each free-choice trial, None where it is not known.
    cells : tuple of CellTrial
        Trials of the hand and direction design.

    Raises
    ------
    ValueError
        If shapes differ, a number is not finite or beyond `LARGEST`, days are not whole or not
        in order, or a count is impossible.
    """

    days: FloatArray = field(default_factory=lambda: np.empty(0))
    values: FloatArray = field(default_factory=lambda: np.empty(0))
    better: Better = "none"
    near: float | None = None
    baseline_count: int | None = None
    repeats: FloatArray = field(default_factory=lambda: np.empty((0, 2)))
    reliability: Reliability | None = None
    met: tuple[bool | None, ...] = ()
    met_of: int | None = None
    goals: tuple[GoalLevel, ...] = ()
    hands: tuple[str | None, ...] = ()
    cells: tuple[CellTrial, ...] = ()

    def __post_init__(self) -> None:
        for name in ("days", "values", "repeats"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        if self.days.ndim != 1 or self.days.shape != self.values.shape:
            raise ValueError("days and values must be two lists of the same length")
        if self.repeats.ndim != 2 or self.repeats.shape[1] != 2:
            raise ValueError("repeats must be pairs")
        self._check_numbers()
        if self.baseline_count is not None and not 0 <= self.baseline_count <= len(self.days):
            raise ValueError("baseline_count must lie within 0 and the number of sessions")
        if self.met_of is not None and self.met_of < 1:
            raise ValueError("met_of must be at least 1")

    def _check_numbers(self) -> None:
        near = [] if self.near is None else [self.near]
        cells = [trial.value for trial in self.cells]
        for numbers in (self.values, self.repeats, np.array(near), np.array(cells)):
            if not np.all(np.abs(numbers) <= LARGEST):
                raise ValueError(f"every value must be finite and within ±{LARGEST:g}")
        if not np.all((np.abs(self.days) <= LATEST_DAY) & (self.days == np.round(self.days))):
            raise ValueError("days must be whole")
        if np.any(np.diff(self.days) < 0):
            raise ValueError("days must be in order")
        if self.better == "near" and self.near is None:
            raise ValueError("a measure to be near to a value needs that value")

    def __len__(self) -> int:
        return len(self.days)

    @property
    def oriented(self) -> FloatArray:
        """The values turned so that more is better; shape (n,). [unit]

        Times -1 where lower is better; less the distance to `near` where near is better; as
        they are where neither is.
        """
        if self.better == "low":
            return -self.values
        if self.better == "near" and self.near is not None:
            return -np.abs(self.values - self.near)
        return self.values

    @property
    def baseline(self) -> slice:
        """Which sessions are the baseline phase: none without one."""
        return slice(0, self.baseline_count or 0)

    @property
    def later(self) -> slice:
        """Which sessions follow the baseline phase: none without one."""
        return slice(len(self) if self.baseline_count is None else self.baseline_count, len(self))
