"""One measure over the sessions of a child: one mark a session, one panel a condition."""

from collections.abc import Iterable, Sequence
from itertools import groupby

from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from analysis.measure import Measure
from server.figures_panel import (
    HATCH,
    HATCHED,
    HELP_MARKS,
    Limits,
    draw_panel,
    shown,
    slope_of,
)
from server.figures_style import (
    INK,
    MUTED,
    SMALL_PT,
    TEAL,
    draw_caution,
    empty_figure,
    style,
)
from server.numbers import is_share, near_words, unit_words
from server.sentences_series import series_words
from server.trend_bands import BASELINE, NO_BASELINES, REPEATS, Baselines, band_of
from server.trend_series import Series

WIDTH_IN, NARROW_IN = 7.6, 4.4
PANEL_IN = 1.75
LEFT_IN, RIGHT_IN, BETWEEN_IN = 0.62, 0.2, 0.45
TOP_IN, TITLE_IN, AXIS_IN, FOOT_IN = 0.42, 0.42, 0.34, 0.86
NARROW_TOP_IN, NARROW_FOOT_IN = 0.55, 1.5
ROOM_SHARE = 0.12
WIDE_KEYS = 2


BAND_WORDS = {
    REPEATS: "first session ± spread of repeat trials",
    BASELINE: "baseline sessions: mean ± 2 SD",
}


def trend_figure(
    series: Sequence[Series],
    measure: Measure,
    *,
    narrow: bool = False,
    until: Baselines = NO_BASELINES,
) -> Figure:
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
    until : Baselines
        Last day of the baseline phase of each series for which a goal names one.

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
    foot_in = NARROW_FOOT_IN if narrow else FOOT_IN
    top_in = NARROW_TOP_IN if narrow else TOP_IN
    height_in = top_in + rows * row_in + foot_in
    with style():
        figure = empty_figure(width_in, height_in)
        _draw_head(figure, measure)
        wide_in = (width_in - RIGHT_IN - LEFT_IN - (columns - 1) * BETWEEN_IN) / columns
        limits = _limits(series, measure, until)
        for place, (words, phases) in enumerate(panels):
            row, column = divmod(place, columns)
            left_in = LEFT_IN + column * (wide_in + BETWEEN_IN)
            down_in = top_in + row * row_in + TITLE_IN
            axes = figure.add_axes(
                (
                    left_in / width_in,
                    1.0 - (down_in + PANEL_IN) / height_in,
                    wide_in / width_in,
                    PANEL_IN / height_in,
                )
            )
            draw_panel(axes, words, phases, measure, limits, until)
        _draw_foot(figure, series, until, narrow=narrow)
    return figure


Panel = tuple[str, list[Series]]


def _panels(series: Iterable[Series]) -> list[Panel]:
    """Group phases by everything but width; the oldest phase of a panel first."""
    known = sorted((one for one in series if one.points), key=_panel_key)
    grouped = [list(group) for _, group in groupby(known, key=_panel_key)]
    tools = {one.tool for one in known}
    tablets = {one.calibration_id for one in known}
    panels = []
    for group in grouped:
        words = series_words(group[0], tool=len(tools) > 1)
        if len(tablets) > 1:
            number = sorted(tablets, key=str).index(group[0].calibration_id) + 1
            words = f"{words}, calibration {number}"
        panels += [(words, phases) for phases in _phases(group)]
    return panels


def _phases(group: list[Series]) -> list[list[Series]]:
    """Put widths that follow each other side by side, and those that overlap apart."""
    chains: list[list[Series]] = []
    for one in sorted(group, key=lambda one: (one.points[0].day, -(one.corridor_mm or 0.0))):
        free = [chain for chain in chains if chain[-1].points[-1].day < one.points[0].day]
        if free:
            free[0].append(one)
        else:
            chains.append([one])
    return chains


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


def _limits(series: Sequence[Series], measure: Measure, until: Baselines) -> Limits:
    """One scale for all panels, so that they can be compared by eye."""
    points = [point for one in series for point in one.points]
    values = [shown(point.value, measure) for point in points] or [0.0, 1.0]
    bands = [band for one in series if (band := band_of(one, until.get(one))) is not None]
    ends = [shown(end, measure) for band in bands for end in (band.low, band.high)]
    # A measure that is never below 0 has no band there, nor has a share above all of it.
    values += [max(end, 0.0) if min(values) >= 0.0 else end for end in ends]
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
        better = f"nearer to {near_words(measure.near)} is better"
    words = [measure.label + (f", {unit}" if unit else ""), *([better] if better else [])]
    # On a phone the two do not fit on one line.
    apart = "\n" if width_in < WIDTH_IN else "  ·  "
    figure.text(
        0.25 / width_in,
        1.0 - 0.14 / height_in,
        apart.join(words),
        fontsize=10.5,
        color=INK,
        va="top",
    )


def _keys(series: Sequence[Series], until: Baselines) -> list[Artist]:
    points = [point for one in series for point in one.points]
    keys: list[Artist] = [
        _key(marker, face, word)
        for helped, (marker, face, word) in HELP_MARKS.items()
        if any(bool(point.helps) == helped for point in points)
    ]
    if any(slope_of(one.points) for one in series):
        keys.append(
            Line2D([], [], color=TEAL, linewidth=1.6, label="median slope and its 95 % interval")
        )
    kinds = {band.kind for one in series if (band := band_of(one, until.get(one))) is not None}
    keys += [
        Patch(facecolor="none", edgecolor=HATCH, hatch=HATCHED, linewidth=0.0, label=words)
        for kind, words in BAND_WORDS.items()
        if kind in kinds
    ]
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


def _draw_foot(figure: Figure, series: Sequence[Series], until: Baselines, *, narrow: bool) -> None:
    width_in, height_in = figure.get_size_inches()
    keys = _keys(series, until)
    if keys:
        figure.legend(
            handles=keys,
            loc="lower left",
            bbox_to_anchor=(0.22 / width_in, (0.42 if narrow else 0.28) / height_in),
            ncols=1 if narrow else min(len(keys), WIDE_KEYS),
            frameon=False,
            fontsize=SMALL_PT,
            labelcolor=MUTED,
            handletextpad=0.5,
            columnspacing=1.6,
            borderpad=0.0,
            borderaxespad=0.0,
        )
    draw_caution(figure, 0.25)
