"""One panel of a trend: sessions of one condition, a mark each, and their slope."""

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from analysis.measure import Measure
from analysis.trend import Slope, trend_slope
from analysis.value import Refused
from server.dates import short_day
from server.figures_style import CARD, INK, LINE, MUTED, SMALL_PT, TEAL
from server.numbers import each_side, is_share
from server.trend_bands import NO_BASELINES, Baselines, band_of
from server.trend_series import Series, SessionPoint

MOST_DATES = 6
# How far the hatched band goes beyond its first and its last session. [days]
BAND_DAYS = 2.0
HATCHED, HATCH = "////", "#9A907C"
Limits = tuple[tuple[float, float], tuple[float, float]]
# Marker, face and word for what help a session's trials had.
HELP_MARKS = {
    False: ("o", INK, "no help noted"),
    True: ("^", CARD, "with help"),
}


def shown(value: float, measure: Measure) -> float:
    """Return a value as it is drawn: shares of 0 to 1 as percent."""
    return 100.0 * value if is_share(measure) else value


def draw_panel(
    axes: Axes,
    words: str,
    phases: list[Series],
    measure: Measure,
    limits: Limits,
    until: Baselines = NO_BASELINES,
) -> None:
    """Draw the phases of one condition; `limits` of days and values are those of all panels.

    `until` is the last day of the baseline phase of each series for which a goal names one.
    """
    axes.set(xlim=limits[0], ylim=limits[1])
    axes.set_title(words, loc="left", fontsize=SMALL_PT, color=MUTED, pad=16)
    axes.tick_params(length=0, pad=3)
    axes.spines["left"].set_visible(False)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=4, steps=[1, 2, 2.5, 5, 10]))
    axes.grid(axis="y", color=LINE, linewidth=0.5, alpha=0.6)
    axes.set_axisbelow(True)
    dates = _dates(limits[0])
    axes.set_xticks([day.toordinal() for day in dates], [short_day(day) for day in dates])
    for order, phase in enumerate(phases):
        _draw_phase(axes, phase, first=order == 0)
        _draw_band(axes, phase, measure, until)
        _draw_slope(axes, phase, measure)
        _draw_points(axes, phase.points, measure)


def _draw_phase(axes: Axes, phase: Series, *, first: bool) -> None:
    at = axes.get_xlim()[0] if first else phase.points[0].day.toordinal() - 0.5
    if not first:
        axes.axvline(at, color=MUTED, linewidth=0.9, gid="phase")
    if phase.corridor_mm is not None:
        axes.annotate(
            each_side(phase.corridor_mm / 2.0),
            (at, 1.0),
            xycoords=axes.get_xaxis_transform(),
            xytext=(0 if first else 3, 3),
            textcoords="offset points",
            fontsize=8.0,
            color=MUTED,
            va="bottom",
        )


def _draw_band(axes: Axes, phase: Series, measure: Measure, until: Baselines) -> None:
    """Hatch the band of a phase over its own sessions: it says nothing of another width."""
    band = band_of(phase, until.get(phase))
    if band is None:
        return
    days = [phase.points[0].day.toordinal(), phase.points[-1].day.toordinal()]
    ends = [
        max(days[0] - BAND_DAYS, axes.get_xlim()[0]),
        min(days[1] + BAND_DAYS, axes.get_xlim()[1]),
    ]
    low, middle, high = (shown(value, measure) for value in (band.low, band.middle, band.high))
    axes.fill_between(
        ends,
        low,
        high,
        facecolor="none",
        edgecolor=HATCH,
        hatch=HATCHED,
        linewidth=0.0,
        zorder=1,
        gid="baseline",
    )
    axes.plot(ends, [middle, middle], color=MUTED, linewidth=0.7, zorder=1.5, gid="middle")


def slope_of(points: Sequence[SessionPoint]) -> Slope | None:
    """Return the Theil-Sen line of a series, or None where there are too few sessions."""
    try:
        return trend_slope(
            [point.day.toordinal() for point in points], [point.value for point in points]
        )
    except Refused:
        return None


def _draw_slope(axes: Axes, phase: Series, measure: Measure) -> None:
    slope = slope_of(phase.points)
    if slope is None:
        return
    first, last = phase.points[0].day.toordinal(), phase.points[-1].day.toordinal()
    days = np.linspace(first, last, 40)
    line = slope.intercept + slope.per_week / 7.0 * days
    # Both bounds turn about the middle of the sessions, where the line is best known.
    middle = float(np.median([point.day.toordinal() for point in phase.points]))
    at_middle = slope.intercept + slope.per_week / 7.0 * middle
    bounds = [
        at_middle + per_week / 7.0 * (days - middle)
        for per_week in (slope.low_per_week, slope.high_per_week)
    ]
    factor = shown(1.0, measure)
    axes.fill_between(
        days,
        factor * np.minimum(*bounds),
        factor * np.maximum(*bounds),
        color=TEAL,
        alpha=0.13,
        linewidth=0,
        zorder=2,
        gid="band",
    )
    axes.plot(days, factor * line, color=TEAL, linewidth=1.6, zorder=3, gid="slope")


def _draw_points(axes: Axes, points: Sequence[SessionPoint], measure: Measure) -> None:
    for helped, (marker, face, _) in HELP_MARKS.items():
        chosen = [point for point in points if bool(point.helps) == helped]
        if chosen:
            axes.plot(
                [point.day.toordinal() for point in chosen],
                [shown(point.value, measure) for point in chosen],
                linestyle="none",
                marker=marker,
                markersize=6.0,
                markerfacecolor=face,
                markeredgecolor=INK,
                markeredgewidth=1.2,
                zorder=5,
                gid="sessions",
            )


def _dates(limits: tuple[float, float]) -> list[date]:
    first, last = int(np.ceil(limits[0])), int(np.floor(limits[1]))
    step = next(
        (days for days in (7, 14, 28, 56, 84, 182, 364) if (last - first) / days <= MOST_DATES - 1),
        728,
    )
    start = date.fromordinal(max(1, first))
    start += timedelta(days=-start.weekday() % 7)
    count = max(1, (last - start.toordinal()) // step + 1)
    return [start + timedelta(days=step * k) for k in range(count)]
