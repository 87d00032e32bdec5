"""Two trials of one path in one picture: told apart by the kind of line and by a letter."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from analysis.conditioning import stroke_slices
from analysis.guide import Guide
from analysis.trace import FloatArray, Trace
from analysis.workings import Workings
from server.figures_guide import dots_mm, draw_asked, name_asked, point
from server.figures_labels import Labels
from server.figures_scale import NARROW_IN, WIDTH_IN, View, half_width_mm, view_of
from server.figures_style import (
    CARD,
    INK,
    MUTED,
    SMALL_PT,
    TEAL,
    draw_caution,
    empty_figure,
    style,
)
from server.figures_trace import thinned
from server.numbers import trimmed

SIDE_IN, TOP_IN, BAR_IN, KEY_ROW_IN, FOOT_IN = 0.25, 0.1, 0.42, 0.26, 0.42
SCALE_BAR_MM = 20.0
CASING_PT = 1.6
# Where along its line a trial may get its letter.
LETTER_AT = (0.3, 0.5, 0.7)
LETTER_PT = 9.5


class Look(NamedTuple):
    """How one of two trials is drawn; the touches of dots get marks instead of lines."""

    letter: str
    colour: str
    dashes: Any
    mark: str
    face: str
    mark_pt2: float


LINE_PT = 2.2
LOOKS = (
    Look("A", INK, "-", "o", INK, 18.0),
    Look("B", TEAL, (0, (3.2, 1.5)), "^", "none", 90.0),
)


def beside_figure(
    both: Sequence[Workings], words: Sequence[str], *, calibrated: bool, narrow: bool = False
) -> Figure:
    """Draw two trials of one path over each other, at one scale.

    Parameters
    ----------
    both : sequence of Workings
        Two trials with the same guide id. The second is shifted as a whole where its guide
        lay elsewhere on the tablet.
    words : sequence of str
        What the key says of each.
    calibrated : bool
        Whether both have a true scale.
    narrow : bool
        For a phone: half as wide, with words of the same size.

    Returns
    -------
    matplotlib.figure.Figure
        See `server.figures.render` for files.
    """
    with style():
        lines_mm = [both[0].trace.xy_mm, both[1].trace.xy_mm + shift_mm(*both)]
        view = _view(both[0].asked_guide, lines_mm, NARROW_IN if narrow else WIDTH_IN)
        # A narrow key has its conditions on a line of their own.
        shown = [said.replace(": ", ":\n", 1) for said in words] if narrow else words
        keys_in = sum(KEY_ROW_IN * (1 + said.count("\n")) for said in shown)
        height_in = TOP_IN + view.height_in + BAR_IN + keys_in + FOOT_IN
        figure = empty_figure(view.width_in + 2.0 * SIDE_IN, height_in)
        width_in = view.width_in + 2.0 * SIDE_IN
        axes = figure.add_axes(
            (
                SIDE_IN / width_in,
                (height_in - TOP_IN - view.height_in) / height_in,
                view.width_in / width_in,
                view.height_in / height_in,
            )
        )
        _draw(axes, both, lines_mm, view)
        _draw_bar(axes, view, calibrated=calibrated)
        _draw_keys(figure, shown, tapped=both[0].trial.mode == "tap", down_in=FOOT_IN + keys_in)
        draw_caution(figure, SIDE_IN)
    return figure


def shift_mm(one: Workings, other: Workings) -> FloatArray:
    """Return by how much the other trial is moved so that the guides lie on each other. [mm]"""
    if one.asked_guide is None or other.asked_guide is None:
        return np.zeros(2)
    # From the corner of the box: it is the same whichever way the guide is asked.
    shift: FloatArray = _corner_mm(one.asked_guide) - _corner_mm(other.asked_guide)
    return shift


def _guide_mm(guide: Guide) -> FloatArray:
    return np.vstack([*(part.points_mm for part in guide.parts), dots_mm(guide)])


def _corner_mm(guide: Guide) -> FloatArray:
    corner: FloatArray = _guide_mm(guide).min(axis=0)
    return corner


def _view(guide: Guide | None, lines_mm: Sequence[FloatArray], width_in: float) -> View:
    boxes = [line for line in lines_mm if len(line)]
    if guide is not None:
        reach_mm = half_width_mm(guide)
        boxes += [_guide_mm(guide) - reach_mm, _guide_mm(guide) + reach_mm]
    if not boxes:
        return view_of(np.zeros(2), np.array([150.0, 80.0]), width_in)
    everything_mm = np.vstack(boxes)
    return view_of(everything_mm.min(axis=0), everything_mm.max(axis=0), width_in)


def _undrawn(workings: Workings) -> Workings:
    """Return the trial as it was before anything was drawn: what was asked, and nothing met."""
    blank = Trace(xy_mm=np.zeros((0, 2)), t_s=None, stroke=np.zeros(0, dtype=np.int64))
    return Workings(replace(workings.trial, trace=blank))


def _draw(axes: Axes, both: Sequence[Workings], lines_mm: Sequence[FloatArray], view: View) -> None:
    axes.set(xlim=(view.left_mm, view.right_mm), ylim=(view.bottom_mm, view.top_mm))
    axes.set_axis_off()
    labels = Labels(axes)
    asked = _undrawn(both[0])
    draw_asked(axes, asked, view, labels)
    for line in lines_mm:
        labels.avoid(line)
    # The second lies under the first, so that both can be seen where they agree.
    for look, workings, line in reversed(list(zip(LOOKS, both, lines_mm, strict=True))):
        if workings.trial.mode == "tap":
            _draw_touches(axes, workings, line, look)
        else:
            _draw_line(axes, workings, line, look)
    if both[0].trial.mode != "tap":
        _draw_letters(axes, lines_mm, labels)
    name_asked(asked, labels)


def _draw_letters(axes: Axes, lines_mm: Sequence[FloatArray], labels: Labels) -> None:
    """Write each letter on its own line, as far from the other letter as may be."""
    taken_mm: FloatArray | None = None
    for look, line in zip(LOOKS, lines_mm, strict=True):
        if not len(line):
            continue
        places_mm = line[[int(share * (len(line) - 1)) for share in LETTER_AT]]
        at_mm = places_mm[0]
        if taken_mm is not None:
            at_mm = places_mm[np.argmax(np.hypot(*(places_mm - taken_mm).T))]
        taken_mm = at_mm
        axes.text(
            at_mm[0],
            at_mm[1],
            look.letter,
            fontsize=LETTER_PT,
            fontweight="bold",
            color=look.colour,
            ha="center",
            va="center",
            zorder=8,
            bbox={"boxstyle": "circle,pad=0.22", "facecolor": CARD, "edgecolor": look.colour},
        )
        labels.keep_clear(point(at_mm), 9.0)


def _draw_line(axes: Axes, workings: Workings, xy_mm: FloatArray, look: Look) -> None:
    for piece in stroke_slices(workings.trace.stroke):
        run = xy_mm[piece]
        run = run[thinned(run)]
        axes.plot(*run.T, color=CARD, linewidth=LINE_PT + CASING_PT, zorder=5.5)
        axes.plot(
            *run.T,
            color=look.colour,
            linewidth=LINE_PT,
            linestyle=look.dashes,
            dash_capstyle="butt",
            zorder=6,
            gid=f"line_{look.letter}",
        )


def _draw_touches(axes: Axes, workings: Workings, xy_mm: FloatArray, look: Look) -> None:
    first = [piece.start for piece in stroke_slices(workings.trace.stroke)]
    axes.scatter(
        xy_mm[first, 0],
        xy_mm[first, 1],
        s=look.mark_pt2,
        marker=look.mark,
        facecolor=look.face,
        edgecolor=look.colour,
        linewidth=1.5,
        zorder=7,
        gid=f"line_{look.letter}",
    )


def _draw_bar(axes: Axes, view: View, *, calibrated: bool) -> None:
    """Draw the scale under the picture; without calibration say that there is none."""
    below_mm = view.bottom_mm + 0.2 * view.mm_per_in
    if not calibrated:
        axes.text(
            view.left_mm,
            below_mm,
            "no true scale: a screen was not calibrated",
            fontsize=SMALL_PT,
            color=MUTED,
            va="center",
            clip_on=False,
        )
        return
    ends_mm = [view.left_mm + 0.6, view.left_mm + 0.6 + SCALE_BAR_MM]
    bar: dict[str, Any] = {
        "color": INK,
        "linewidth": 1.6,
        "solid_capstyle": "butt",
        "clip_on": False,
    }
    axes.plot(ends_mm, [below_mm] * 2, gid="scale_bar", **bar)
    axes.text(
        ends_mm[1] + 2.0,
        below_mm,
        f"{trimmed(SCALE_BAR_MM)} mm",
        fontsize=SMALL_PT,
        color=MUTED,
        va="center",
        clip_on=False,
    )


def _draw_keys(figure: Figure, words: Sequence[str], *, tapped: bool, down_in: float) -> None:
    width_in, height_in = (float(v) for v in figure.get_size_inches())
    keys = []
    for look, said in zip(LOOKS, words, strict=True):
        drawn: dict[str, Any] = {"linestyle": look.dashes, "linewidth": LINE_PT}
        if tapped:
            drawn = {"linestyle": "none", "marker": look.mark, "markersize": 7.5}
            drawn |= {"markerfacecolor": look.face, "markeredgecolor": look.colour}
        keys.append(Line2D([], [], color=look.colour, label=f"{look.letter}  {said}", **drawn))
    figure.legend(
        handles=keys,
        loc="upper left",
        bbox_to_anchor=((SIDE_IN - 0.05) / width_in, down_in / height_in),
        frameon=False,
        fontsize=SMALL_PT,
        labelcolor=INK,
        handlelength=3.4,
        borderpad=0.0,
        borderaxespad=0.0,
    )
