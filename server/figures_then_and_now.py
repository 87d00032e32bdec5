"""Then and now of several series on one scale: a row for each, two lines of marks in it."""

import textwrap
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.ticker import MaxNLocator

from analysis.measure import Measure
from server.figures_panel import HELP_MARKS, shown
from server.figures_style import (
    CORRIDOR,
    GUIDE,
    INK,
    LINE,
    MUTED,
    SMALL_PT,
    TEAL,
    draw_caution,
    empty_figure,
    style,
)
from server.numbers import is_share, unit_words
from server.sentences_then_and_now import VERDICTS
from server.then_and_now import Compared, Period

WIDTH_IN, NARROW_IN = 7.6, 4.4
SIDE_IN, LEFT_IN, RIGHT_IN = 0.25, 0.75, 0.25
HEAD_IN, TITLE_IN, ROW_IN, AXIS_IN, FOOT_IN = 0.45, 0.34, 0.72, 0.55, 0.65
NARROW_TITLE_IN, NARROW_FOOT_IN = 0.5, 1.25
# A letter of a name is about this wide.
LETTER_IN = 0.072
ROOM_SHARE = 0.06
THEN_AT, NOW_AT = 0.72, 0.28
TRIAL_PT2 = 18.0
TALLEST_SHARE = 104.0

Limits = tuple[float, float]


def then_and_now_figure(
    rows: Sequence[tuple[str, Compared]], measure: Measure, *, narrow: bool = False
) -> Figure:
    """Draw then and now of series of one measure.

    Parameters
    ----------
    rows : sequence of (str, Compared)
        What each series is called, and its two periods.
    measure : Measure
        What the values are.
    narrow : bool
        For a phone.

    Returns
    -------
    matplotlib.figure.Figure
        All rows share one axis, so that they can be compared by eye. The hatched band is
        the value of then with the spread of repeat trials on either side.
    """
    width_in = NARROW_IN if narrow else WIDTH_IN
    foot_in = NARROW_FOOT_IN if narrow else FOOT_IN
    title_in = NARROW_TITLE_IN if narrow else TITLE_IN
    row_in = title_in + ROW_IN
    height_in = HEAD_IN + len(rows) * row_in + AXIS_IN + foot_in
    with style():
        figure = empty_figure(width_in, height_in)
        _draw_head(figure, measure)
        if not rows:
            _draw_name(figure, "Nothing to compare yet.", HEAD_IN + title_in)
        limits = _limits([one for _, one in rows], measure)
        for place, (words, one) in enumerate(rows):
            down_in = HEAD_IN + place * row_in + title_in
            axes = figure.add_axes(
                (
                    LEFT_IN / width_in,
                    1.0 - (down_in + ROW_IN) / height_in,
                    (width_in - LEFT_IN - RIGHT_IN) / width_in,
                    ROW_IN / height_in,
                )
            )
            _draw_name(figure, f"{words}: {VERDICTS[one.is_beyond]}", down_in)
            _draw_row(axes, one, measure, limits)
            _finish_axis(axes, measure, is_last=place == len(rows) - 1)
        if rows:
            _draw_keys(figure, [one for _, one in rows], narrow=narrow)
        draw_caution(figure, SIDE_IN)
    return figure


def _limits(rows: Sequence[Compared], measure: Measure) -> Limits:
    found: list[float] = []
    for one in rows:
        points = [*one.then.points, *one.between, *one.now.points]
        found += [shown(point.value, measure) for point in points]
        found += [shown(value, measure) for value in (*one.then.trials, *one.now.trials)]
        if one.spread is not None:
            middle, reach = one.then.value, one.spread
            found += [shown(middle - reach, measure), shown(middle + reach, measure)]
    if not found:
        return 0.0, 1.0
    low, high = min(found), max(found)
    values = [point.value for one in rows for point in (*one.then.points, *one.now.points)]
    if min(values) >= 0.0:
        # No such value lies below nought, though the band of its spread may.
        low = max(low, 0.0)
    room = ROOM_SHARE * (high - low or 1.0)
    top = min(high + room, TALLEST_SHARE) if is_share(measure) else high + room
    return low - room, top


def _draw_name(figure: Figure, words: str, down_in: float) -> None:
    width_in, height_in = figure.get_size_inches()
    lines = textwrap.wrap(words, int((width_in - SIDE_IN) / LETTER_IN))
    figure.text(
        SIDE_IN / width_in,
        1.0 - (down_in - 0.06) / height_in,
        "\n".join(lines),
        fontsize=SMALL_PT,
        color=INK,
        va="bottom",
        linespacing=1.2,
        gid="name",
    )


def _draw_row(axes: Axes, one: Compared, measure: Measure, limits: Limits) -> None:
    axes.set(xlim=limits, ylim=(0.0, 1.0))
    axes.set_yticks([THEN_AT, NOW_AT], ["then", "now"])
    axes.tick_params(length=0, pad=4)
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x", color=LINE, linewidth=0.5, alpha=0.6)
    axes.set_axisbelow(True)
    if one.spread is not None:
        _draw_band(axes, one.then.value, one.spread, measure)
    _draw_period(axes, one.then, THEN_AT, measure)
    _draw_period(axes, one.now, NOW_AT, measure)


def _draw_band(axes: Axes, middle: float, reach: float, measure: Measure) -> None:
    axes.add_patch(
        Rectangle(
            (shown(middle - reach, measure), 0.02),
            shown(2.0 * reach, measure),
            0.96,
            facecolor=CORRIDOR,
            edgecolor=GUIDE,
            hatch="////",
            linewidth=0.8,
            alpha=0.75,
            zorder=1,
            gid="spread",
        )
    )


def _draw_period(axes: Axes, period: Period, height: float, measure: Measure) -> None:
    if period.trials:
        axes.scatter(
            [shown(value, measure) for value in period.trials],
            [height] * len(period.trials),
            s=TRIAL_PT2,
            color=MUTED,
            alpha=0.7,
            linewidths=0,
            zorder=4,
            gid="trials",
        )
    middle = shown(period.value, measure)
    axes.plot(
        [middle, middle],
        [height - 0.17, height + 0.17],
        color=TEAL,
        linewidth=2.4,
        solid_capstyle="butt",
        zorder=5,
        gid="middle",
    )
    for helped, (marker, face, _) in HELP_MARKS.items():
        chosen = [point for point in period.points if bool(point.helps) == helped]
        if chosen:
            axes.plot(
                [shown(point.value, measure) for point in chosen],
                [height] * len(chosen),
                linestyle="none",
                marker=marker,
                markersize=7.0,
                markerfacecolor=face,
                markeredgecolor=INK,
                markeredgewidth=1.2,
                zorder=6,
                gid="sessions",
            )


def _finish_axis(axes: Axes, measure: Measure, *, is_last: bool) -> None:
    axes.xaxis.set_major_locator(MaxNLocator(nbins=6, steps=[1, 2, 2.5, 5, 10]))
    if not is_last:
        axes.tick_params(labelbottom=False)
        return
    unit = "%" if is_share(measure) else unit_words(measure.unit)
    axes.set_xlabel(measure.label + (f", {unit}" if unit else ""), labelpad=4)


def _draw_head(figure: Figure, measure: Measure) -> None:
    width_in, height_in = figure.get_size_inches()
    figure.text(
        SIDE_IN / width_in,
        1.0 - 0.14 / height_in,
        f"{measure.label}: then and now",
        fontsize=10.5,
        color=INK,
        va="top",
    )


def _draw_keys(figure: Figure, rows: Sequence[Compared], *, narrow: bool) -> None:
    width_in, height_in = figure.get_size_inches()
    points = [point for one in rows for point in (*one.then.points, *one.now.points)]
    keys: list[Line2D | Patch] = [
        _key(marker, face, f"session, {word}")
        for helped, (marker, face, word) in HELP_MARKS.items()
        if any(bool(point.helps) == helped for point in points)
    ]
    if any(one.then.trials for one in rows):
        keys.append(_key(".", MUTED, "single trial", MUTED))
    keys.append(Line2D([], [], color=TEAL, linewidth=2.4, label="median"))
    if any(one.spread is not None for one in rows):
        keys.append(
            Patch(
                facecolor=CORRIDOR, edgecolor=GUIDE, hatch="////", label="then ± spread of repeats"
            )
        )
    figure.legend(
        handles=keys,
        loc="lower left",
        bbox_to_anchor=(0.22 / width_in, (0.42 if narrow else 0.3) / height_in),
        ncols=2 if narrow else len(keys),
        frameon=False,
        fontsize=8.0,
        labelcolor=MUTED,
        handletextpad=0.5,
        columnspacing=1.2,
        borderpad=0.0,
        borderaxespad=0.0,
    )


def _key(marker: str, face: str, word: str, edge: str = INK) -> Line2D:
    return Line2D(
        [],
        [],
        linestyle="none",
        marker=marker,
        markersize=6.0,
        markerfacecolor=face,
        markeredgecolor=edge,
        markeredgewidth=1.2,
        label=word,
    )
