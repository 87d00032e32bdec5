"""The three readings of 0 to 100. They are never added up."""

from analysis.value import Value


def _percent(value: Value | None) -> float | None:
    # Not rounded: 99.96 must not become 100 before it is written.
    return None if value is None or value.number is None else 100.0 * value.number


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
        ``moving_pct`` = 100 × moving_time / duration; None where the measure is.
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
