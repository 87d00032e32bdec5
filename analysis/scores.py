"""The three readings of 0 to 100. They are never added up."""

from math import copysign

from analysis.value import Value

TENTH_PCT = 0.1
# Nearer to all or to nothing than this is arithmetic noise.
NOISE_PCT = 1e-9


def reads_as(share_pct: float) -> int:
    """Return a reading of 0 to 100 in whole percent, claiming neither all nor nothing by rounding.

    Examples
    --------
    >>> [reads_as(one) for one in (91.46, 99.96, 0.04, 100.0)]
    [91, 99, 1, 100]
    """
    whole = round(share_pct)
    if whole >= 100 and share_pct < 100.0 - NOISE_PCT:
        return 99
    return 1 if whole <= 0 and share_pct > NOISE_PCT else whole


def _percent(value: Value | None) -> float | None:
    """Return a share in tenths of a percent that read as the share itself does."""
    if value is None or value.number is None:
        return None
    exact_pct = 100.0 * value.number
    tenths_pct = round(exact_pct, 1)
    if reads_as(tenths_pct) != reads_as(exact_pct):
        # 91.46 would become 91.5, which reads as 92.
        tenths_pct = round(tenths_pct + copysign(TENTH_PCT, exact_pct - tenths_pct), 1)
    return tenths_pct


def scores(values: dict[str, Value]) -> dict[str, float | None]:
    """Return on path, covered and moving.

    Parameters
    ----------
    values : dict of str to Value
        Of `analysis.registry.measure_all`.

    Returns
    -------
    dict
        ``on_path_pct`` = 100 × in_corridor_share, ``covered_pct`` = 100 × completion,
        ``moving_pct`` = 100 × moving_time / duration; None where the measure is. In tenths,
        the nearest that read in whole percent as the share does.
    """
    moving, duration = values.get("moving_time"), values.get("duration")
    share: Value | None = None
    if moving and duration and moving.number is not None and duration.number:
        share = Value(moving.number / duration.number)
    return {
        "on_path_pct": _percent(values.get("in_corridor_share")),
        "covered_pct": _percent(values.get("completion")),
        "moving_pct": _percent(share),
    }
