"""How often a criterion was met, and how far rated goals were attained."""

from collections.abc import Sequence
from math import sqrt

from analysis.proportions import wilson_interval
from analysis.series import GoalLevel
from analysis.value import Estimate, Refused

GOAL_CORRELATION = 0.3
"""Assumed correlation between goals, as published; it was never measured for a practice."""

EXPECTED_T = 50.0
SPREAD_T = 10.0


def criterion_met_share(met: Sequence[bool | None], last: int | None) -> Estimate:
    """Share of the last trials that met a criterion, with its Wilson interval.

    Parameters
    ----------
    met : sequence of bool or None
        In order; None (spoilt, or not measurable for technical reasons) is left out.
    last : int or None
        How many of the last trials are looked at; None if there is no goal.

    Returns
    -------
    Estimate
        Within 0..1. [1]

    Raises
    ------
    Refused
        ``too_few_trials`` without a goal or with fewer trials than it looks at.

    References
    ----------
    Wilson 1927; Newcombe 1998, Statistics in Medicine 17:857-872.
    """
    counted = [one for one in met if one is not None]
    if last is None or len(counted) < last:
        raise Refused("too_few_trials")
    successes = sum(counted[-last:])
    return Estimate(successes / last, *wilson_interval(successes, last))


def goal_attainment_t(goals: Sequence[GoalLevel], correlation: float = GOAL_CORRELATION) -> float:
    """T score of goals that were rated on levels -2..2.

    Parameters
    ----------
    goals : sequence of GoalLevel
        Levels and weights.
    correlation : float
        Assumed between any two goals. [1]

    Returns
    -------
    float
        ``50 + 10 sum(w x) / sqrt((1 - rho) sum w² + rho (sum w)²)``. [1]

    Raises
    ------
    Refused
        ``too_few_trials`` without goals, or if one was rescored after the fact: its level was
        then fitted to the result.

    References
    ----------
    Kiresuk & Sherman 1968, Community Mental Health Journal 4:443-453.

    Examples
    --------
    >>> goal_attainment_t([GoalLevel(1)])
    60.0
    """
    if not goals or any(goal.rescored for goal in goals):
        raise Refused("too_few_trials")
    # Only ratios of weights matter; dividing first keeps the squares of any weight in range.
    largest = max(goal.weight for goal in goals)
    weights = [goal.weight / largest for goal in goals]
    total = sum(w * goal.level for w, goal in zip(weights, goals, strict=True))
    squares = (1 - correlation) * sum(w * w for w in weights)
    return EXPECTED_T + SPREAD_T * total / sqrt(squares + correlation * sum(weights) ** 2)
