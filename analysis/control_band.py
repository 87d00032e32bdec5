"""The band in which baseline sessions lie, and later sessions that leave it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.reliability import ROUNDING_SHARE
from analysis.value import Refused

LEAST_BASELINE = 3
"""A standard deviation of two sessions is one difference."""

WIDTH_SD = 2.0
"""Half of the band in standard deviations: what the method is named for."""

RUN = 2
"""Sessions in a row outside on one side that make a signal."""


@dataclass(frozen=True)
class Band:
    """Mean of the baseline and the band around it. [unit]"""

    mean: float
    low: float
    high: float


def two_sd_band(baseline: ArrayLike) -> Band:
    """Baseline mean ± 2 SD.

    Parameters
    ----------
    baseline : array_like, shape (a,)
        Values of the baseline sessions. [unit]

    Returns
    -------
    Band
        With the SD over a - 1.

    Raises
    ------
    Refused
        ``too_few_sessions`` below three, ``zero_variance`` if all are equal.

    References
    ----------
    Two-standard-deviation band of single-case designs, Gottman & Leiblum 1974 (from memory).

    Examples
    --------
    >>> band = two_sd_band([10, 12, 11, 9, 13])
    >>> band.mean, round(band.low, 3), round(band.high, 3)
    (11.0, 7.838, 14.162)
    """
    values = np.asarray(baseline, dtype=np.float64)
    if len(values) < LEAST_BASELINE:
        raise Refused("too_few_sessions")
    if np.ptp(values) <= ROUNDING_SHARE * np.abs(values).max():
        raise Refused("zero_variance")
    mean, reach = float(values.mean()), WIDTH_SD * float(values.std(ddof=1))
    return Band(mean, mean - reach, mean + reach)


def signal_count(band: Band, later: ArrayLike) -> int:
    """Sessions that complete a run of two or more outside the band on one side.

    Parameters
    ----------
    band : Band
        Of the baseline.
    later : array_like, shape (b,)
        Values after the baseline, in order. [unit]

    Returns
    -------
    int
        0 without a signal; a run of r sessions counts r - 1. [1]

    Raises
    ------
    Refused
        ``too_few_sessions`` below two later ones.

    Examples
    --------
    >>> signal_count(Band(11, 8, 14), [15, 16, 17, 9, 15, 7, 7])
    3
    """
    values = np.asarray(later, dtype=np.float64)
    if len(values) < RUN:
        raise Refused("too_few_sessions")
    side = np.sign(values - band.mean) * ((values < band.low) | (values > band.high))
    return int(np.count_nonzero((side[1:] != 0) & (side[1:] == side[:-1])))
