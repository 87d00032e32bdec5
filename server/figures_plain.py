"""One line as the child saw it: the path and the line, without a number or a word."""

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path

from analysis.conditioning import stroke_slices
from analysis.guide import Guide
from analysis.trace import FloatArray
from analysis.workings import Workings
from server.figures_picture import picture_view
from server.figures_scale import View, corridor_area
from server.figures_style import empty_figure, style
from server.figures_trace import thinned

# The colours of the child's own page, so that the child knows the line again.
CHANNEL, CHANNEL_EDGE, CHILD_LINE = "#CFE3E6", "#3F7A81", "#223A5E"
WIDTH_IN = 6.0
PATH_PT, LINE_PT, DOT_PT2 = 1.4, 3.2, 40.0


def plain_figure(workings: Workings) -> Figure:
    """Draw the path and what was drawn on it, and nothing else.

    Parameters
    ----------
    workings : Workings
        Of one trial.

    Returns
    -------
    matplotlib.figure.Figure
        Without axes, numbers, words or colours that mean anything.
    """
    with style():
        view = picture_view(workings, WIDTH_IN)
        figure = empty_figure(view.width_in, view.height_in)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        _draw(axes, workings, view)
    return figure


def _draw(axes: Axes, workings: Workings, view: View) -> None:
    axes.set(xlim=(view.left_mm, view.right_mm), ylim=(view.bottom_mm, view.top_mm))
    axes.set_axis_off()
    guide = workings.asked_guide
    if guide is not None:
        _draw_guide(axes, guide, lined=workings.trial.mode != "tap")
    if workings.trial.mode == "tap":
        _draw_touches(axes, workings)
    else:
        _draw_line(axes, workings)


def _draw_guide(axes: Axes, guide: Guide, *, lined: bool) -> None:
    area = corridor_area(guide)
    rings = [
        ring
        for polygon in shapely.get_parts(area)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    if rings:
        outlines = [Path(shapely.get_coordinates(ring), closed=True) for ring in rings]
        band = PathPatch(
            Path.make_compound_path(*outlines),
            facecolor=CHANNEL,
            edgecolor=CHANNEL_EDGE,
            linewidth=PATH_PT,
            gid="channel",
        )
        axes.add_patch(band)
    for part in guide.parts if lined and not rings else ():
        axes.plot(*part.outline_mm.T, color=CHANNEL_EDGE, linewidth=PATH_PT, gid="path")
    for dot in guide.targets:
        axes.add_patch(
            Circle(
                (dot.x_mm, dot.y_mm),
                dot.radius_mm,
                facecolor=CHANNEL,
                edgecolor=CHANNEL_EDGE,
                linewidth=PATH_PT,
                gid="dot",
            )
        )


def _strokes(workings: Workings) -> list[FloatArray]:
    """Return every stroke of every pen or finger, shape (n, 2) each. [mm]"""
    lines = [one.workings for one in workings.contacts] or [workings]
    return [line.trace.xy_mm[piece] for line in lines for piece in stroke_slices(line.trace.stroke)]


def _draw_line(axes: Axes, workings: Workings) -> None:
    strokes = _strokes(workings)
    lines = [xy_mm[thinned(xy_mm)] for xy_mm in strokes if len(xy_mm) > 1]
    axes.add_collection(
        LineCollection(
            lines,
            colors=CHILD_LINE,
            linewidths=LINE_PT,
            capstyle="round",
            joinstyle="round",
            zorder=3,
            gid="line",
        ),
        autolim=False,
    )
    # A touch without a way is a dot, which a line would not show.
    _draw_dots(axes, [xy_mm[0] for xy_mm in strokes if len(xy_mm) == 1])


def _draw_touches(axes: Axes, workings: Workings) -> None:
    _draw_dots(axes, [xy_mm[0] for xy_mm in _strokes(workings) if len(xy_mm)])


def _draw_dots(axes: Axes, places_mm: list[FloatArray]) -> None:
    if places_mm:
        x_mm, y_mm = np.array(places_mm).T
        axes.scatter(x_mm, y_mm, s=DOT_PT2, color=CHILD_LINE, zorder=3, gid="touch")
