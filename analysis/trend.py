"""The course of one number over sessions: Theil-Sen slope and Mann-Kendall test."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import comb, prod, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from analysis.trace import FloatArray, IntArray
from analysis.value import Refused

LEAST_SESSIONS = 5
"""Fewer sessions than this have no slope."""

LEAST_TESTED = 4
"""With three sessions even a steady rise has p = 1/3."""

EXACT_BELOW = 10
"""Fewer sessions are enumerated: the normal approximation is off by 0.025 at 4, 0.011 at 9."""

CONFIDENCE = 0.95
DAYS_PER_WEEK = 7


@dataclass(frozen=True)
class Slope:
    """A Theil-Sen line with its interval.

    Parameters
    ----------
    per_week, low_per_week, high_per_week : float
        Median of pairwise slopes and its interval by Sen's rank method. [unit/week]
    intercept : float
        Value of the line at day 0. [unit]
    """

    per_week: float
    low_per_week: float
    high_per_week: float
    intercept: float


@dataclass(frozen=True)
class TrendTest:
    """A Mann-Kendall test.

    Parameters
    ----------
    s : int
        Pairs of sessions that rise less pairs that fall. [1]
    variance : float
        Of `s` if there is no trend, ties counted. [1]
    z : float
        ``(s - sign(s)) / sqrt(variance)``. [1]
    p : float
        Two-sided. [1]
    exact : bool
        Whether `p` was enumerated; else it is the normal approximation by `z`.
    """

    s: int
    variance: float
    z: float
    p: float
    exact: bool


def _arrays(days: ArrayLike, values: ArrayLike) -> tuple[FloatArray, FloatArray]:
    return np.asarray(days, dtype=np.float64), np.asarray(values, dtype=np.float64)


def trend_slope(days: ArrayLike, values: ArrayLike, *, confidence: float = CONFIDENCE) -> Slope:
    """Theil-Sen slope over dates.

    Parameters
    ----------
    days : array_like, shape (n,)
        Dates, not session numbers. [day]
    values : array_like, shape (n,)
        One value per session. [unit]
    confidence : float
        Level of the interval. [1]

    Returns
    -------
    Slope
        Per week.

    Raises
    ------
    Refused
        ``too_few_sessions`` below five or if all are on one day.

    References
    ----------
    Theil 1950; Sen 1968, J Am Stat Assoc 63:1379-1389, eq. 2.6 for the interval.

    Examples
    --------
    >>> trend_slope(range(0, 70, 7), [1 + 2 * k for k in range(10)]).per_week
    2.0
    """
    x, y = _arrays(days, values)
    if len(x) < LEAST_SESSIONS or np.ptp(x) == 0:
        raise Refused("too_few_sessions")
    slopes = pairwise_slopes(x, y)
    count = len(slopes)
    reach = float(ndtri((1 + confidence) / 2)) * sqrt(s_variance(_ties(x), _ties(y)))
    low = max(round((count - reach) / 2) - 1, 0)
    high = min(round((count + reach) / 2), count - 1)
    slope = float(np.median(slopes))
    return Slope(
        per_week=DAYS_PER_WEEK * slope,
        low_per_week=DAYS_PER_WEEK * float(slopes[low]),
        high_per_week=DAYS_PER_WEEK * float(slopes[high]),
        intercept=float(np.median(y) - slope * np.median(x)),
    )


def pairwise_slopes(days: ArrayLike, values: ArrayLike) -> FloatArray:
    """Slopes between all pairs of sessions on different days, in order. [unit/day]

    Examples
    --------
    >>> pairwise_slopes([0, 1, 1, 3], [0, 2, 4, 3])
    array([-0.5,  0.5,  1. ,  2. ,  4. ])
    """
    x, y = _arrays(days, values)
    before, after = np.nonzero(x[:, None] < x[None, :])
    return np.sort((y[after] - y[before]) / (x[after] - x[before]))


def kendall_s(days: ArrayLike, values: ArrayLike) -> int:
    """Pairs of sessions that rise less pairs that fall; a pair of one day counts 0.

    Examples
    --------
    >>> kendall_s([0, 1, 2, 3], [10, 15, 14, 20])
    4
    """
    x, y = _arrays(days, values)
    rises = np.sign(x[None, :] - x[:, None]) * np.sign(y[None, :] - y[:, None])
    return int(np.triu(rises).sum())


def _ties(numbers: FloatArray) -> tuple[int, ...]:
    """How often each number occurs, from the least to the largest."""
    counts: IntArray = np.unique(numbers, return_counts=True)[1]
    return tuple(int(count) for count in counts)


def s_variance(day_ties: tuple[int, ...], value_ties: tuple[int, ...]) -> float:
    """Variance of Kendall's S without a trend.

    Parameters
    ----------
    day_ties, value_ties : tuple of int
        How many sessions share each day, and each value.

    Returns
    -------
    float
        ``[n(n-1)(2n+5) - sum t(t-1)(2t+5)] / 18`` with ties of one kind only; with both, the
        two terms that Kendall adds. [1]

    References
    ----------
    Kendall 1975, Rank Correlation Methods (from memory).

    Examples
    --------
    >>> s_variance((1,) * 10, (1,) * 10)
    125.0
    """
    count = sum(day_ties)

    def total(ties: tuple[int, ...], power: int) -> int:
        return sum(prod(range(tie - power + 1, tie + 1)) for tie in ties)

    def loss(ties: tuple[int, ...]) -> int:
        return sum(tie * (tie - 1) * (2 * tie + 5) for tie in ties)

    variance = (loss((count,)) - loss(day_ties) - loss(value_ties)) / 18
    if count > 2:
        both = total(day_ties, 3) * total(value_ties, 3)
        variance += both / (9 * count * (count - 1) * (count - 2))
        pairs = total(day_ties, 2) * total(value_ties, 2)
        variance += pairs / (2 * count * (count - 1))
    return max(0.0, variance)


def trend_test(days: ArrayLike, values: ArrayLike) -> TrendTest:
    """Mann-Kendall test of whether values rise or fall with the date.

    Parameters
    ----------
    days : array_like, shape (n,)
        Dates. [day]
    values : array_like, shape (n,)
        One value per session. [unit]

    Returns
    -------
    TrendTest
        `p` counts all orders of the same values for fewer than ten sessions, ties included.

    Raises
    ------
    Refused
        ``too_few_sessions`` below four or if all are on one day; ``zero_variance`` if all
        values are equal.

    References
    ----------
    Mann 1945, Econometrica 13:245-259; Kendall 1975; Gilbert 1987.

    Examples
    --------
    >>> trend_test([0, 1, 2, 3], [10, 15, 14, 20]).p
    0.3333333333333333
    """
    x, y = _arrays(days, values)
    if len(x) < LEAST_TESTED or np.ptp(x) == 0:
        raise Refused("too_few_sessions")
    if np.ptp(y) == 0:
        raise Refused("zero_variance")
    s, day_ties, value_ties = kendall_s(x, y), _ties(x), _ties(y)
    variance = s_variance(day_ties, value_ties)
    z = (s - (s > 0) + (s < 0)) / sqrt(variance)
    if len(x) >= EXACT_BELOW:
        return TrendTest(s, variance, z, 2 * float(ndtr(-abs(z))), exact=False)
    counts = s_counts(day_ties, value_ties)
    far = sum(ways for other, ways in counts.items() if abs(other) >= abs(s))
    return TrendTest(s, variance, z, far / sum(counts.values()), exact=True)


def _takings(size: int, free: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """All ways of taking a number of places out of groups with so many free ones."""
    if len(free) == 1:
        if size <= free[0]:
            yield (size,)
        return
    for taken in range(min(size, free[0]) + 1):
        for rest in _takings(size - taken, free[1:]):
            yield (taken, *rest)


@lru_cache(maxsize=256)
def s_counts(day_ties: tuple[int, ...], value_ties: tuple[int, ...]) -> dict[int, int]:
    """How many orders of the values give each S.

    Parameters
    ----------
    day_ties, value_ties : tuple of int
        How many sessions share each day and each value, from the least to the largest.

    Returns
    -------
    dict of int to int
        By S. Values are laid down from the least to the largest: every one laid earlier is
        smaller, so that only how many lie on each day matters.

    Examples
    --------
    >>> s_counts((1, 1, 1), (1, 1, 1)) == {3: 1, 1: 2, -1: 2, -3: 1}
    True
    """
    states: dict[tuple[int, ...], Counter[int]] = {(0,) * len(day_ties): Counter({0: 1})}
    for size in value_ties:
        following: defaultdict[tuple[int, ...], Counter[int]] = defaultdict(Counter)
        for filled, counts in states.items():
            free = tuple(tie - used for tie, used in zip(day_ties, filled, strict=True))
            before = [sum(filled[:place]) for place in range(len(filled))]
            after = [sum(filled[place + 1 :]) for place in range(len(filled))]
            for taken in _takings(size, free):
                ways = prod(map(comb, free, taken))
                gain = sum(t * (b - a) for t, b, a in zip(taken, before, after, strict=True))
                target = following[tuple(map(sum, zip(filled, taken, strict=True)))]
                for s, count in counts.items():
                    target[s + gain] += ways * count
        states = dict(following)
    (counts,) = states.values()
    return dict(counts)
