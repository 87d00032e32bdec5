"""One measure over the sessions of a child: one mark a session, one panel a condition."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import groupby

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from analysis.measure import Measure
from analysis.trend import Slope, trend_slope
from analysis.value import Refused
from server.dates import short_day
from server.figures_style import (
    CARD,
    INK,
    LINE,
    MUTED,
    SMALL_PT,
    TEAL,
    draw_caution,
    empty_figure,
    style,
)
from server.numbers import each_side, is_share, unit_words
from server.sentences_series import series_words
from server.trend_series import Series, SessionPoint

WIDTH_IN, NARROW_IN = 7.6, 4.4
PANEL_IN = 1.75
LEFT_IN, RIGHT_IN, BETWEEN_IN = 0.62, 0.2, 0.45
TOP_IN, TITLE_IN, AXIS_IN, FOOT_IN = 0.42, 0.42, 0.34, 0.62
NARROW_FOOT_IN = 1.2
ROOM_SHARE = 0.12
MOST_DATES = 6

# Marker, face and word for what help a session's trials had.
HELP_MARKS = {
    False: ("o", INK, "no help noted"),
    True: ("^", CARD, "with help"),
}


def trend_figure(series: Sequence[Series], measure: Measure, *, narrow: bool = False) -> Figure:
    """Draw the series of one path for one measure on one scale.

    Parameters
    ----------
    series : sequence of Series
        Of the same path. Those that differ only in width share a panel as neighbouring
        phases; every other condition has a panel of its own.
    measure : Measure
        What the values are.
    narrow : bool
        For a phone: one column of panels.

    Returns
    -------
    matplotlib.figure.Figure
        A line only where a series allows one; never across two widths.
    """
    panels = _panels(series)
    columns = 1 if narrow or len(panels) < 2 else 2
    width_in = NARROW_IN if narrow else WIDTH_IN
    rows = max(1, -(-len(panels) // columns))
    row_in = TITLE_IN + PANEL_IN + AXIS_IN
    height_in = TOP_IN + rows * row_in + (NARROW_FOOT_IN if narrow else FOOT_IN)
    with style():
        figure = empty_figure(width_in, height_in)
        _draw_head(figure, measure)
        wide_in = (width_in - RIGHT_IN - LEFT_IN - (columns - 1) * BETWEEN_IN) / columns
        limits = _limits(series, measure)
        for place, (words, phases) in enumerate(panels):
            row, column = divmod(place, columns)
            left_in = LEFT_IN + column * (wide_in + BETWEEN_IN)
            down_in = TOP_IN + row * row_in + TITLE_IN
            axes = figure.add_axes(
                (
                    left_in / width_in,
                    1.0 - (down_in + PANEL_IN) / height_in,
                    wide_in / width_in,
                    PANEL_IN / height_in,
                )
            )
            _draw_panel(axes, words, phases, measure, limits)
        _draw_foot(figure, series, narrow=narrow)
    return figure


Panel = tuple[str, list[Series]]
Limits = tuple[tuple[float, float], tuple[float, float]]


def _panels(series: Iterable[Series]) -> list[Panel]:
    """Group phases by everything but width; the oldest phase of a panel first."""
    known = sorted((one for one in series if one.points), key=_panel_key)
    grouped = [list(group) for _, group in groupby(known, key=_panel_key)]
    tools = {one.tool for one in known}
    tablets = {one.calibration_id for one in known}
    panels = []
    for group in grouped:
        group.sort(key=lambda one: (one.points[0].day, one.corridor_mm or 0.0))
        words = series_words(group[0], tool=len(tools) > 1)
        if len(tablets) > 1:
            number = sorted(tablets, key=str).index(group[0].calibration_id) + 1
            words = f"{words}, calibration {number}"
        panels.append((words, group))
    return panels


def _panel_key(one: Series) -> tuple[str, ...]:
    parts = (
        one.path_id,
        one.travelled,
        one.hand,
        one.tool,
        one.calibration_id,
        one.midline_offset_mm,
        one.revision,
    )
    return tuple("" if part is None else str(part) for part in parts)


def _shown(value: float, measure: Measure) -> float:
    return 100.0 * value if is_share(measure) else value


def _limits(series: Sequence[Series], measure: Measure) -> Limits:
    """One scale for all panels, so that they can be compared by eye."""
    points = [point for one in series for point in one.points]
    values = [_shown(point.value, measure) for point in points] or [0.0, 1.0]
    days = [point.day.toordinal() for point in points] or [0, 1]
    low, high = min(values), max(values)
    if low >= 0.0:
        low = 0.0
    room = ROOM_SHARE * (high - low or 1.0)
    top = min(high + room, 104.0) if is_share(measure) else high + room
    span = max(days) - min(days) or 7
    return (
        (min(days) - 0.04 * span - 1, max(days) + 0.04 * span + 1),
        (low - (room if low < 0.0 else 0.25 * room), top),
    )


def _draw_head(figure: Figure, measure: Measure) -> None:
    width_in, height_in = figure.get_size_inches()
    unit = "%" if is_share(measure) else unit_words(measure.unit)
    better = {"low": "lower is better", "high": "higher is better"}.get(measure.better)
    if measure.better == "near" and measure.near is not None:
        better = f"nearer to {measure.near:g} is better"
    words = [measure.label + (f", {unit}" if unit else ""), *([better] if better else [])]
    figure.text(
        0.25 / width_in,
        1.0 - 0.16 / height_in,
        "  ·  ".join(words),
        fontsize=10.5,
        color=INK,
        va="top",
    )


def _draw_panel(
    axes: Axes, words: str, phases: list[Series], measure: Measure, limits: Limits
) -> None:
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
    factor = _shown(1.0, measure)
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
                [_shown(point.value, measure) for point in chosen],
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


def _keys(series: Sequence[Series]) -> list[Line2D]:
    points = [point for one in series for point in one.points]
    keys = [
        _key(marker, face, word)
        for helped, (marker, face, word) in HELP_MARKS.items()
        if any(bool(point.helps) == helped for point in points)
    ]
    if any(slope_of(one.points) for one in series):
        keys.append(
            Line2D([], [], color=TEAL, linewidth=1.6, label="median slope and its 95 % interval")
        )
    return keys


def _key(marker: str, face: str, word: str) -> Line2D:
    return Line2D(
        [],
        [],
        linestyle="none",
        marker=marker,
        markersize=6.0,
        markerfacecolor=face,
        markeredgecolor=INK,
        markeredgewidth=1.2,
        label=word,
    )


def _draw_foot(figure: Figure, series: Sequence[Series], *, narrow: bool) -> None:
    width_in, height_in = figure.get_size_inches()
    keys = _keys(series)
    if keys:
        figure.legend(
            handles=keys,
            loc="lower left",
            bbox_to_anchor=(0.22 / width_in, (0.42 if narrow else 0.28) / height_in),
            ncols=1 if narrow else len(keys),
            frameon=False,
            fontsize=SMALL_PT,
            labelcolor=MUTED,
            handletextpad=0.5,
            columnspacing=1.6,
            borderpad=0.0,
            borderaxespad=0.0,
        )
    draw_caution(figure, 0.25)
