"""What a series of sessions says in numbers: every measure of a series, or why there is none."""

from dataclasses import fields
from typing import Any

import numpy as np

from analysis.registry import measure, measure_series
from analysis.report import measure_row
from analysis.series import Series as Values
from analysis.trend import trend_slope
from analysis.value import Refused, Value
from server.trend_series import Series

# What a series holds for its statistics only.
BEHIND = frozenset({"repeats", "cells", "hands"})


def values_of(series: Series, baseline_count: int | None = None) -> Values:
    """Return the plain numbers of a series.

    Parameters
    ----------
    series : Series
        Of one child and one measure.
    baseline_count : int or None
        How many of the first sessions are the baseline phase, where a goal names one. [1]

    Returns
    -------
    analysis.series.Series
        No rated goals: this release keeps none. No baseline phase but the one that is given:
        none is guessed. A block of the hand and direction design is a session.
    """
    entry = measure(series.measure_id)
    return Values(
        days=np.array([point.day.toordinal() for point in series.points]),
        values=np.array([point.value for point in series.points]),
        better=entry.better,
        near=entry.near,
        baseline_count=baseline_count,
        repeats=np.array(series.repeats).reshape(-1, 2),
        hands=series.hands,
        cells=series.cells,
    )


def unit_of(statistic_id: str, unit: str) -> str:
    """Return the UCUM unit of a measure of a series, given that of what the series is of.

    Examples
    --------
    >>> unit_of("trend_slope", "mm"), unit_of("trend_test", "mm")
    ('mm/wk', '1')
    """
    return measure(statistic_id).unit.replace("{unit}", unit)


def statistics_of(series: Series) -> dict[str, Value]:
    """Compute every measure of a series, by measure id."""
    return measure_series(values_of(series))


def statistics(series: Series) -> dict[str, dict[str, Any]]:
    """Return every measure of a series in plain types.

    Parameters
    ----------
    series : Series
        Of one child and one measure.

    Returns
    -------
    dict of str to dict
        By measure id: ``value`` and ``unit``, with ``low`` and ``high`` where it has an
        interval and ``reason`` where it has no value.
    """
    unit = measure(series.measure_id).unit
    return {
        name: measure_row(name, value) | {"unit": unit_of(name, unit)}
        for name, value in statistics_of(series).items()
    }


def as_dict(series: Series) -> dict[str, Any]:
    """Return a series in plain types, with its slope per week and every measure of a series."""
    points = [point._asdict() | {"day": point.day.isoformat()} for point in series.points]
    # Not `asdict`, which copies every trial that stands behind the statistics.
    told = {one.name: getattr(series, one.name) for one in fields(series)}
    told = {name: value for name, value in told.items() if name not in BEHIND}
    return told | {"points": points, "slope": _slope(series), "statistics": statistics(series)}


def _slope(series: Series) -> dict[str, Any]:
    first = series.points[0].day
    days = [(point.day - first).days for point in series.points]
    try:
        slope = trend_slope(days, [point.value for point in series.points])
    except Refused as refused:
        return {"per_week": None, "reason": refused.code}
    return {
        "per_week": slope.per_week,
        "low_per_week": slope.low_per_week,
        "high_per_week": slope.high_per_week,
    }
