"""How far the sessions after a baseline lie beyond those of the baseline."""

import numpy as np
from numpy.typing import ArrayLike

from analysis.trace import FloatArray
from analysis.trend import kendall_s
from analysis.value import Refused

LEAST_IN_PHASE = 3
"""A phase of fewer sessions says nothing of where its values lie."""


def _phases(baseline: ArrayLike, later: ArrayLike) -> tuple[FloatArray, FloatArray]:
    phases = np.asarray(baseline, dtype=np.float64), np.asarray(later, dtype=np.float64)
    if min(map(len, phases)) < LEAST_IN_PHASE:
        raise Refused("too_few_sessions")
    return phases


def nonoverlap_all_pairs(baseline: ArrayLike, later: ArrayLike) -> float:
    """Share of pairs of a baseline and a later session in which the later one is better.

    Parameters
    ----------
    baseline, later : array_like, shape (a,) and (b,)
        Values turned so that more is better. [unit]

    Returns
    -------
    float
        NAP = (pairs better + half of the ties) / (a b), within 0..1. [1]

    Raises
    ------
    Refused
        ``too_few_sessions`` below three in a phase.

    References
    ----------
    Parker & Vannest 2009, Behavior Therapy 40:357-367.

    Examples
    --------
    >>> round(nonoverlap_all_pairs([1, 2, 3], [3, 4, 5, 6]), 4)
    0.9583
    """
    return (nonoverlap_tau(baseline, later) + 1.0) / 2.0


def nonoverlap_tau(baseline: ArrayLike, later: ArrayLike) -> float:
    """Share of pairs that are better less the share that are worse: 2 NAP - 1. [1]

    Parameters and errors are those of `nonoverlap_all_pairs`.
    """
    first, second = _phases(baseline, later)
    return _s_between(first, second) / (len(first) * len(second))


def tau_u(baseline_days: ArrayLike, baseline: ArrayLike, later: ArrayLike) -> float:
    """Tau less the trend that the baseline had of its own.

    Parameters
    ----------
    baseline_days : array_like, shape (a,)
        Dates of the baseline. [day]
    baseline, later : array_like, shape (a,) and (b,)
        Values turned so that more is better. [unit]

    Returns
    -------
    float
        (S between phases - S within the baseline) / (a b). May leave -1..1. [1]

    Raises
    ------
    Refused
        ``too_few_sessions`` below three in a phase.

    References
    ----------
    Parker, Vannest, Davis & Sauber 2011, Behavior Therapy 42:284-299.
    """
    first, second = _phases(baseline, later)
    s = _s_between(first, second) - kendall_s(baseline_days, first)
    return s / (len(first) * len(second))


def _s_between(first: FloatArray, second: FloatArray) -> int:
    return int(np.sign(second[None, :] - first[:, None]).sum())
