"""Pictures of a trial for adults' pages, as matplotlib figures."""

from typing import Any

from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from analysis.midline import ZONE_MM
from analysis.workings import Workings
from server.figures_guide import ZONE_ALPHA, met
from server.figures_marks import compared, pauses_of, way_matters
from server.figures_picture import draw_picture, picture_view
from server.figures_scale import NARROW_IN, WIDTH_IN, View, half_width_mm
from server.figures_speed import CONTACT_LINES, draw_speed, speed_reason
from server.figures_style import (
    CARD,
    INK,
    MUTED,
    PLUM,
    RUST,
    SMALL_PT,
    draw_caution,
    empty_figure,
    render,
    style,
)
from server.figures_trace import distance_map, distance_norm
from server.figures_trend import trend_figure
from server.numbers import trimmed

__all__ = ["render", "trend_figure", "trial_figure"]

SIDE_IN = 0.25
TOP_IN = 0.1
STRIP_IN = 0.62
KEY_ROW_IN = 0.24
SPEED_IN = 1.45
SPEED_LEFT_IN = 0.55
GAP_IN = 0.36
AXIS_IN = 0.5
NOTE_IN = 0.35
FOOT_IN = 0.42
SCALE_BAR_MM = 20.0
KEY_IN = 2.3
COLOUR_BAR_IN = 2.1
SCALE_IN = 1.7
NOTE_PT = 9.5


def trial_figure(workings: Workings, report: dict[str, Any], *, narrow: bool = False) -> Figure:
    """Draw one trial: its line over the guide, and below it the speed along the guide.

    Parameters
    ----------
    workings : Workings
        Everything computed once for the trial.
    report : dict
        The trial's ``linnet-report/1``.
    narrow : bool
        For a phone: half as wide, with words of the same size.

    Returns
    -------
    matplotlib.figure.Figure
        Its size follows the shape of the guide; see `render` for files.
    """
    with style():
        view = picture_view(workings, NARROW_IN if narrow else WIDTH_IN)
        keys = _keys(workings, calibrated=bool(report["quality"]["calibrated"]))
        reason = speed_reason(workings)
        below_in = NOTE_IN if reason else GAP_IN + SPEED_IN + AXIS_IN
        keys_a_row = max(1, int(view.width_in / KEY_IN))
        keys_in = KEY_ROW_IN * -(-len(keys) // keys_a_row)
        height_in = TOP_IN + view.height_in + STRIP_IN + keys_in + below_in + FOOT_IN
        figure = empty_figure(view.width_in + 2.0 * SIDE_IN, height_in)
        place = _Placer(figure)
        draw_picture(
            place.axes(SIDE_IN, view.width_in, TOP_IN, view.height_in), workings, report, view
        )
        strip_in = TOP_IN + view.height_in
        _draw_strip(place, workings, report, view, strip_in)
        _draw_keys(figure, place, keys, strip_in + STRIP_IN, keys_a_row)
        _draw_below(figure, place, workings, report, strip_in + STRIP_IN + keys_in, reason)
        draw_caution(figure, SIDE_IN)
    return figure


class _Placer:
    """Places axes on a figure by inches from the left and from the top."""

    def __init__(self, figure: Figure) -> None:
        self._figure = figure
        self._width_in, self._height_in = (float(v) for v in figure.get_size_inches())

    def x(self, left_in: float) -> float:
        return left_in / self._width_in

    def y(self, down_in: float) -> float:
        return 1.0 - down_in / self._height_in

    def axes(self, left_in: float, width_in: float, down_in: float, height_in: float) -> Axes:
        return self._figure.add_axes(
            (
                self.x(left_in),
                self.y(down_in + height_in),
                width_in / self._width_in,
                height_in / self._height_in,
            )
        )


def _draw_strip(
    place: _Placer, workings: Workings, report: dict[str, Any], view: View, down_in: float
) -> None:
    calibrated = bool(report["quality"]["calibrated"])
    _draw_scale_bar(place.axes(SIDE_IN, SCALE_IN, down_in, STRIP_IN), view, calibrated)
    if not compared(workings):
        return
    left_in = SIDE_IN + view.width_in - COLOUR_BAR_IN
    _draw_colour_bar(place.axes(left_in, COLOUR_BAR_IN, down_in + 0.22, 0.11), workings, calibrated)


def _draw_scale_bar(axes: Axes, view: View, calibrated: bool) -> None:
    axes.set(xlim=(0.0, SCALE_IN * view.mm_per_in), ylim=(0.0, 1.0))
    axes.set_axis_off()
    if not calibrated:
        axes.text(
            0.0,
            0.5,
            "no true scale: the screen\nwas not calibrated",
            fontsize=SMALL_PT,
            color=MUTED,
            va="center",
        )
        return
    x0 = 0.6
    axes.plot(
        [x0, x0 + SCALE_BAR_MM],
        [0.56, 0.56],
        color=INK,
        linewidth=1.6,
        solid_capstyle="butt",
        gid="scale_bar",
    )
    for x in (x0, x0 + SCALE_BAR_MM):
        axes.plot([x, x], [0.48, 0.64], color=INK, linewidth=1.6, solid_capstyle="butt")
    axes.text(x0, 0.40, f"{trimmed(SCALE_BAR_MM)} mm", fontsize=SMALL_PT, color=MUTED, va="top")


def _draw_colour_bar(axes: Axes, workings: Workings, calibrated: bool) -> None:
    half_mm = half_width_mm(workings.guide)
    bar = axes.figure.colorbar(
        ScalarMappable(distance_norm(half_mm), distance_map()), cax=axes, orientation="horizontal"
    )
    bar.outline.set_visible(False)
    # Else hairlines show between the steps.
    if bar.solids is not None:
        bar.solids.set_edgecolor("face")
    edge = workings.guide is not None and workings.guide.has_corridor
    word = "edge" if edge else ""
    shown = ["0", f"{word} {trimmed(half_mm)}".strip(), f"{trimmed(2 * half_mm)} +"]
    if not calibrated:
        shown = ["on the line", word, "twice as far"]
    bar.set_ticks([0.0, half_mm, 2.0 * half_mm], labels=shown)
    axes.tick_params(length=0, pad=2, labelsize=8.0)
    axes.get_xticklabels()[0].set_horizontalalignment("left")
    axes.get_xticklabels()[-1].set_horizontalalignment("right")
    if edge:
        axes.axvline(half_mm, color=CARD, linewidth=1.4)
    title = "distance from the line, mm" if calibrated else "distance from the line"
    axes.set_title(title, loc="left", fontsize=SMALL_PT, color=MUTED, pad=4)
    axes.set_gid("colour_bar")


def _keys(workings: Workings, *, calibrated: bool) -> list[Line2D | Patch]:
    """Return a sample of every mark that this picture really shows."""
    events = workings.events
    # Touches are marked themselves; what lies between them is no line.
    tapped = workings.trial.mode == "tap"
    crossings = [] if tapped else events["crossings"]
    keys: list[Line2D | Patch] = _dot_keys(workings) + _contact_keys(workings)
    if any(pause["start_ms"] is not None for pause in pauses_of(workings)):
        keys.append(_mark("o", "none", INK, "pause: the larger, the longer"))
    if any(not crossing["lifted"] for crossing in crossings):
        keys.append(_mark(">", PLUM, PLUM, "midline crossed, pen down"))
    if any(crossing["lifted"] for crossing in crossings):
        keys.append(_mark(">", CARD, PLUM, "midline crossed after a lift"))
    if events["departures"] and compared(workings):
        keys.append(
            Line2D(
                [],
                [],
                color=RUST,
                linewidth=6.0,
                label="outside the path",
                solid_capstyle="butt",
            )
        )
    if events["lifts"] and not tapped:
        keys.append(_mark("|", INK, INK, "pen lifted and put down"))
    if workings.midline_x_mm is not None and len(workings.trace.xy_mm):
        reach = f", {trimmed(ZONE_MM)} mm each side" if calibrated else ""
        keys.append(Patch(facecolor=PLUM, alpha=2 * ZONE_ALPHA, label=f"at the midline{reach}"))
    if way_matters(workings):
        keys.append(_mark("<", INK, CARD, "way the pen went"))
    return keys


def _dot_keys(workings: Workings) -> list[Line2D | Patch]:
    keys: list[Line2D | Patch] = []
    if workings.trial.mode == "tap" and len(workings.trace.xy_mm):
        keys.append(_mark("o", INK, INK, "touched in the dot"))
        keys.append(_mark("o", CARD, RUST, "touched elsewhere, or again"))
    found = met(workings)
    if found is not None and not found.all():
        keys.append(Patch(facecolor=CARD, edgecolor=RUST, linestyle="--", label="dot not met"))
    return keys


def _contact_keys(workings: Workings) -> list[Line2D | Patch]:
    """Return samples of the two curves of the speed panel, in mode ``both``."""
    words = ("first contact", "second contact")
    return [
        Line2D(
            [],
            [],
            color=INK,
            linewidth=1.3,
            linestyle=CONTACT_LINES[one.pointer],
            label=words[one.pointer],
        )
        for one in workings.contacts
    ]


def _mark(marker: str, face: str, edge: str, label: str) -> Line2D:
    return Line2D(
        [],
        [],
        linestyle="none",
        marker=marker,
        markersize=7.5,
        markerfacecolor=face,
        markeredgecolor=edge,
        markeredgewidth=1.3,
        label=label,
    )


def _draw_keys(
    figure: Figure, place: _Placer, keys: list[Line2D | Patch], down_in: float, keys_a_row: int
) -> None:
    if not keys:
        return
    figure.legend(
        handles=keys,
        loc="upper left",
        bbox_to_anchor=(place.x(SIDE_IN - 0.05), place.y(down_in)),
        ncols=keys_a_row,
        frameon=False,
        fontsize=SMALL_PT,
        labelcolor=MUTED,
        handletextpad=0.5,
        columnspacing=1.6,
        borderpad=0.0,
        borderaxespad=0.0,
    )


def _draw_below(
    figure: Figure,
    place: _Placer,
    workings: Workings,
    report: dict[str, Any],
    down_in: float,
    reason: str | None,
) -> None:
    if reason is not None:
        figure.text(
            place.x(SIDE_IN),
            place.y(down_in + 0.12),
            reason,
            fontsize=NOTE_PT,
            color=MUTED,
            va="top",
        )
        return
    left_in = SIDE_IN + SPEED_LEFT_IN
    width_in = float(figure.get_size_inches()[0]) - left_in - SIDE_IN
    draw_speed(place.axes(left_in, width_in, down_in + GAP_IN, SPEED_IN), workings, report)
