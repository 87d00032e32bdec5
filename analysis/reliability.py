"""How far a value would differ if the same child did the same again, and change beyond that."""

from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from analysis.value import Refused

LEAST_PAIRS = 5
"""Below this the spread of the differences is hardly known: with 5 within about a factor 2."""

NORMAL_95 = 1.96
"""Two-sided 95 % point of the normal distribution, as published."""

ROUNDING_SHARE = 1e-12
"""Differences that spread by less than this share of the values differ by arithmetic only."""

LEAST_ERROR = 1e-100
"""A smaller error is none: a change divided by it would leave the range of a double."""

Model = Literal["one_way", "two_way_random", "two_way_fixed"]


@dataclass(frozen=True)
class MeanSquares:
    """Mean squares of a table of children by repeats.

    Parameters
    ----------
    between, within : float
        Between children; within children. [unit²]
    repeats, error : float
        Between repeats; what remains. [unit²]
    children, times : int
        Rows and columns. [1]
    """

    between: float
    within: float
    repeats: float
    error: float
    children: int
    times: int


def mean_squares(table: ArrayLike) -> MeanSquares:
    """Mean squares for intraclass correlations.

    Parameters
    ----------
    table : array_like, shape (n, k)
        One row a child, one column a repeat, nothing missing. [unit]

    Raises
    ------
    Refused
        ``too_few_trials`` below two rows or two columns.
    """
    values = np.asarray(table, dtype=np.float64)
    if values.ndim != 2 or min(values.shape) < 2:
        raise Refused("too_few_trials")
    n, k = values.shape
    mean, rows, columns = values.mean(), values.mean(axis=1), values.mean(axis=0)
    rest = values - rows[:, None] - columns[None, :] + mean
    within = values - rows[:, None]
    return MeanSquares(
        between=float(k * ((rows - mean) ** 2).sum() / (n - 1)),
        within=float((within**2).sum() / (n * (k - 1))),
        repeats=float(n * ((columns - mean) ** 2).sum() / (k - 1)),
        error=float((rest**2).sum() / ((n - 1) * (k - 1))),
        children=n,
        times=k,
    )


def intraclass_correlation(table: ArrayLike, model: Model, *, average: bool = False) -> float:
    """Intraclass correlation of Shrout & Fleiss.

    Parameters
    ----------
    table : array_like, shape (n, k)
        One row a child, one column a repeat. [unit]
    model : {"one_way", "two_way_random", "two_way_fixed"}
        Their cases 1, 2 and 3.
    average : bool
        Of the mean of all repeats instead of a single one.

    Returns
    -------
    float
        At most 1; below 0 where children differ less than repeats do. [1]

    Raises
    ------
    Refused
        ``too_few_trials`` below two rows or columns, ``zero_variance`` if nothing differs.

    References
    ----------
    Shrout & Fleiss 1979, Psychological Bulletin 86:420-428.
    """
    ms = mean_squares(table)
    n, k = ms.children, ms.times
    noise = ms.within if model == "one_way" else ms.error
    shift = k * (ms.repeats - ms.error) / n if model == "two_way_random" else 0.0
    whole = ms.between + (shift / k if average else (k - 1) * noise + shift)
    if whole <= 0:
        raise Refused("zero_variance")
    return (ms.between - noise) / whole


def standard_error(sd: float, coefficient: float) -> float:
    """Standard error of measurement, ``SD sqrt(1 - ICC)``. [unit]

    Examples
    --------
    >>> round(standard_error(10, 0.9), 5)
    3.16228
    """
    return sd * sqrt(1.0 - coefficient)


def standard_error_of_pairs(pairs: ArrayLike) -> float:
    """Standard error of measurement from repeats on one day.

    Parameters
    ----------
    pairs : array_like, shape (m, 2)
        First and second value, same task and condition. [unit]

    Returns
    -------
    float
        ``SD(second - first) / sqrt 2``, with m - 1; a steady step from the first to the
        second trial is no part of it. [unit]

    Raises
    ------
    Refused
        ``too_few_trials`` below five pairs.
    """
    values = np.asarray(pairs, dtype=np.float64).reshape(-1, 2)
    if len(values) < LEAST_PAIRS:
        raise Refused("too_few_trials")
    steps = values[:, 1] - values[:, 0]
    if np.ptp(steps) <= ROUNDING_SHARE * np.abs(values).max():
        return 0.0
    return float(steps.std(ddof=1)) / sqrt(2.0)


def minimal_detectable_change(error: float) -> float:
    """Least change beyond the noise of both measurements at 95 %: ``1.96 sqrt 2 SEM``. [unit]

    Examples
    --------
    >>> round(minimal_detectable_change(10**0.5), 5)
    8.76539
    """
    return NORMAL_95 * sqrt(2.0) * error


def reliable_change(before: float, after: float, error: float) -> float:
    """Change over the standard error of a difference.

    Parameters
    ----------
    before, after : float
        The two values. [unit]
    error : float
        Standard error of measurement. [unit]

    Returns
    -------
    float
        ``(after - before) / (sqrt 2 SEM)``; beyond ±1.96 it is called reliable. [1]

    Raises
    ------
    Refused
        ``zero_variance`` if the error is 0, or below `LEAST_ERROR`.

    References
    ----------
    Jacobson & Truax 1991, J Consult Clin Psychol 59:12-19; the root of 2 as corrected by
    Christensen & Mendoza 1986.
    """
    if error < LEAST_ERROR:
        raise Refused("zero_variance")
    return (after - before) / (sqrt(2.0) * error)
