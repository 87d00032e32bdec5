"""The band a series is read against: its baseline sessions, or the spread of repeat trials."""

from collections.abc import Mapping
from datetime import date
from types import MappingProxyType
from typing import Any, NamedTuple

from analysis.control_band import LEAST_BASELINE, two_sd_band
from analysis.reliability import (
    LEAST_ERROR,
    LEAST_PAIRS,
    minimal_detectable_change,
    standard_error_of_pairs,
)
from analysis.value import Refused
from server.trend_series import Series
from server.trend_statistics import values_of

BASELINE, REPEATS = "baseline", "repeats"
# Widths are whole hundredths of a millimetre.
SAME_WIDTH_MM = 0.005

Baselines = Mapping[Series, date]
"""Last day of the baseline phase of each series for which a goal names one."""
NO_BASELINES: Baselines = MappingProxyType({})


class SeriesBand(NamedTuple):
    """A band around a series.

    Attributes
    ----------
    kind : {"baseline", "repeats"}
        Mean of the baseline sessions ± 2 SD, or the first session ± the least change beyond
        the noise of two trials.
    middle, low, high : float
        Where it lies. [unit of the measure]
    """

    kind: str
    middle: float
    low: float
    high: float


def is_about(conditions: Mapping[str, Any], task_name: str | None, series: Series) -> bool:
    """Return whether the conditions of a goal are those of a series.

    Parameters
    ----------
    conditions : mapping
        Of the goal; what is not there may be anything.
    task_name : str or None
        Name of the goal's task; None if it may be any.
    series : Series
        Of one child and one measure. It knows its task by name, and of its positions only in
        which sessions they were. Where it has no direction, as between dots, none is compared.

    Returns
    -------
    bool
        Whether trials of the series may be trials of the goal.
    """
    if task_name is not None and task_name != series.task_name:
        return False
    there = {"guide_id": series.guide_id, "hand": series.hand, "tool": series.tool}
    if series.travelled is not None:
        there["direction"] = series.travelled
    if any(conditions[name] != there[name] for name in there.keys() & conditions.keys()):
        return False
    position, width_mm = conditions.get("position"), conditions.get("corridor_mm")
    if position is not None and not any(position in one.positions for one in series.points):
        return False
    if width_mm is None or series.corridor_mm is None:
        return width_mm is None
    return bool(abs(series.corridor_mm - width_mm) < SAME_WIDTH_MM)


def least_change(series: Series) -> float | None:
    """Return the least change beyond the noise of two trials at 95 %. [unit of the measure]

    None with fewer than five pairs of repeat trials, or if no pair differs.
    """
    try:
        error = standard_error_of_pairs(values_of(series).repeats)
    except Refused:
        return None
    return None if error < LEAST_ERROR else minimal_detectable_change(error)


def baseline_count(series: Series, until: date | None) -> int:
    """Return how many of the first sessions belong to the baseline phase. [1]"""
    return 0 if until is None else sum(point.day <= until for point in series.points)


def band_of(series: Series, until: date | None = None) -> SeriesBand | None:
    """Return the band of a series.

    Parameters
    ----------
    series : Series
        Of one child and one measure.
    until : date or None
        Last day of the baseline phase, if a goal names one.

    Returns
    -------
    SeriesBand or None
        That of the baseline where it has three sessions or more that differ, else that of
        repeat trials where there are five pairs or more, else None.
    """
    values = values_of(series, baseline_count(series, until))
    try:
        band = two_sd_band(values.values[values.baseline])
        return SeriesBand(BASELINE, band.mean, band.low, band.high)
    except Refused:
        reach = least_change(series)
    if reach is None or not series.points:
        return None
    first = series.points[0].value
    return SeriesBand(REPEATS, first, first - reach, first + reach)


__all__ = [
    "BASELINE",
    "LEAST_BASELINE",
    "LEAST_PAIRS",
    "NO_BASELINES",
    "REPEATS",
    "Baselines",
    "SeriesBand",
    "band_of",
    "baseline_count",
    "is_about",
    "least_change",
]
