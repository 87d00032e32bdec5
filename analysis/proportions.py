"""A share of trials with the interval in which the true share may lie."""

from scipy.special import ndtri

CONFIDENCE = 0.95
"""Level of every interval of a share. [1]"""


def wilson_interval(
    successes: int, trials: int, confidence: float = CONFIDENCE
) -> tuple[float, float]:
    """Score interval of a share.

    Parameters
    ----------
    successes : int
        How many of the trials succeeded, 0..trials. [1]
    trials : int
        At least one. [1]
    confidence : float
        Level of the interval, within 0..1. [1]

    Returns
    -------
    low, high : float
        ``(p + z²/2n ± z sqrt(p(1-p)/n + z²/4n²)) / (1 + z²/n)`` with p = successes / trials,
        n = trials and z the normal quantile; never outside 0..1. [1]

    Raises
    ------
    ValueError
        If the counts or the level are impossible.

    References
    ----------
    Wilson E B 1927, J Am Stat Assoc 22:209-212 (from memory).

    Examples
    --------
    >>> [round(end, 4) for end in wilson_interval(8, 10)]
    [0.4902, 0.9433]
    """
    if trials < 1 or not 0 <= successes <= trials:
        raise ValueError("successes must lie within 0..trials, and trials must be at least 1")
    if not 0 < confidence < 1:
        raise ValueError("confidence must lie between 0 and 1")
    z = float(ndtri((1.0 + confidence) / 2.0))
    share, spread = successes / trials, z * z / trials
    middle = share + spread / 2.0
    reach = z * (share * (1.0 - share) / trials + spread / (4.0 * trials)) ** 0.5
    low, high = (middle - reach) / (1.0 + spread), (middle + reach) / (1.0 + spread)
    # All or none: one end is exact, and arithmetic noise must not carry it outside.
    return 0.0 if successes == 0 else max(0.0, low), 1.0 if successes == trials else min(1.0, high)
