"""The child's line on a picture: coloured by its distance, departures outlined."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import Colormap, Normalize

from analysis.conditioning import stroke_slices
from analysis.trace import FloatArray, IntArray
from server.figures_style import DISTANCE_MAP, INK, RUST

# Finer than a printed line can show; keeps the file of a long trial small.
CLOSEST_MM = 0.2
COLOUR_STEPS = 32
LINE_PT = 2.6
DEPARTURE_PT = 4.2
OUTLINE_PT = 6.6
DOT_PT2 = 14.0


def distance_map() -> Colormap:
    """Colours of the distance from the line, in a fixed number of steps."""
    return mpl.colormaps[DISTANCE_MAP].resampled(COLOUR_STEPS)


def distance_norm(half_width_mm: float) -> Normalize:
    """Fixed scale of the colours: 0 to twice the half-width. [mm]"""
    return Normalize(0.0, 2.0 * half_width_mm, clip=True)


def thinned(xy_mm: FloatArray, closest_mm: float = CLOSEST_MM) -> IntArray:
    """Return indices of samples at least `closest_mm` of line apart, ends kept. [1]"""
    if len(xy_mm) < 3:
        return np.arange(len(xy_mm))
    run_mm = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy_mm, axis=0).T))])
    step = np.floor(run_mm / closest_mm)
    keep = np.concatenate([[True], np.diff(step) > 0])
    keep[-1] = True
    return np.flatnonzero(keep)


def draw_trace(
    axes: Axes,
    xy_mm: FloatArray,
    stroke: IntArray,
    distance_mm: FloatArray | None,
    half_width_mm: float,
    *,
    thin: float = 1.0,
) -> None:
    """Draw every stroke; `distance_mm` is None where there is no line to be near to.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        In mm.
    xy_mm : array, shape (n, 2)
        Samples. [mm]
    stroke : array, shape (n,)
        Stroke of each sample. [1]
    distance_mm : array, shape (n,), or None
        Distance from the line. [mm]
    half_width_mm : float
        Sets the colour scale. [mm]
    thin : float
        Factor on the width of the line, below 1 when it would hide itself. [1]
    """
    lines: list[FloatArray] = []
    values: list[float] = []
    for piece in stroke_slices(stroke):
        keep = thinned(xy_mm[piece], CLOSEST_MM / thin) + piece.start
        if len(keep) == 1 or np.ptp(xy_mm[piece], axis=0).max() == 0.0:
            colour = INK if distance_mm is None else _colour(distance_mm[keep[0]], half_width_mm)
            x_mm, y_mm = xy_mm[keep[0]]
            axes.scatter([x_mm], [y_mm], s=DOT_PT2, color=colour, zorder=6, gid="dot")
            continue
        for run, value in _runs(xy_mm, distance_mm, keep, half_width_mm):
            lines.append(run)
            values.append(value)
    if not lines:
        return
    look: dict[str, Any] = {"colors": INK}
    if distance_mm is not None:
        look = {"cmap": distance_map(), "norm": distance_norm(half_width_mm)}
    drawn = LineCollection(
        lines, linewidths=LINE_PT * thin, capstyle="round", joinstyle="round", zorder=6, **look
    )
    if distance_mm is not None:
        drawn.set_array(np.array(values))
    drawn.set_gid("trace")
    axes.add_collection(drawn, autolim=False)


def draw_departure(
    axes: Axes,
    xy_mm: FloatArray,
    distance_mm: FloatArray,
    half_width_mm: float,
    *,
    thin: float = 1.0,
) -> None:
    """Draw one stretch outside the corridor again: thicker, with a rust outline."""
    keep = thinned(xy_mm, CLOSEST_MM / thin)
    axes.plot(*xy_mm[keep].T, color=RUST, linewidth=OUTLINE_PT * thin, zorder=5, gid="departure")
    runs = list(_runs(xy_mm, distance_mm, keep, half_width_mm))
    inner = LineCollection(
        [run for run, _ in runs],
        linewidths=DEPARTURE_PT * thin,
        capstyle="round",
        joinstyle="round",
        zorder=6.5,
        cmap=distance_map(),
        norm=distance_norm(half_width_mm),
    )
    inner.set_array(np.array([value for _, value in runs]))
    axes.add_collection(inner, autolim=False)


def _colour(distance_mm: float, half_width_mm: float) -> tuple[float, float, float, float]:
    red, green, blue, alpha = distance_map()(distance_norm(half_width_mm)(float(distance_mm)))
    return (red, green, blue, alpha)


def _runs(
    xy_mm: FloatArray, distance_mm: FloatArray | None, keep: IntArray, half_width_mm: float
) -> Iterator[tuple[FloatArray, float]]:
    """Split a stroke where its colour changes; neighbours share a point."""
    points_mm = xy_mm[keep]
    if distance_mm is None or len(keep) < 2:
        yield points_mm, 0.0
        return
    near_mm = (distance_mm[keep][:-1] + distance_mm[keep][1:]) / 2.0
    step_mm = 2.0 * half_width_mm / COLOUR_STEPS
    band = np.clip(np.floor(near_mm / step_mm), 0, COLOUR_STEPS - 1)
    cuts = [0, *(np.flatnonzero(np.diff(band)) + 1).tolist(), len(band)]
    for first, last in pairwise(cuts):
        yield points_mm[first : last + 1], float((band[first] + 0.5) * step_mm)
