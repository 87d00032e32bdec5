"""The course of one number over sessions. Source: MEASURES 10."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import theilslopes

from analysis.value import Refused

LEAST_SESSIONS = 5
"""Fewer sessions than this have no slope."""


@dataclass(frozen=True)
class Slope:
    """A Theil-Sen line with its interval.

    Parameters
    ----------
    per_week, low_per_week, high_per_week : float
        Median of pairwise slopes and its 95 % interval by Sen's rank method. [unit/week]
    intercept : float
        Value of the line at day 0. [unit]
    """

    per_week: float
    low_per_week: float
    high_per_week: float
    intercept: float


def trend_slope(days: ArrayLike, values: ArrayLike, *, confidence: float = 0.95) -> Slope:
    """Theil-Sen slope over dates (Theil 1950, Sen 1968).

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

    Examples
    --------
    >>> trend_slope(range(0, 70, 7), [1 + 2 * k for k in range(10)]).per_week
    2.0
    """
    x = np.asarray(days, dtype=np.float64)
    y = np.asarray(values, dtype=np.float64)
    if len(x) < LEAST_SESSIONS or np.ptp(x) == 0:
        raise Refused("too_few_sessions")
    found = theilslopes(y, x, alpha=confidence)
    return Slope(
        per_week=7 * float(found.slope),
        low_per_week=7 * float(found.low_slope),
        high_per_week=7 * float(found.high_slope),
        intercept=float(found.intercept),
    )
