"""Marks on a trial picture: pauses, lifts, crossings of the midline, the way of the pen."""

from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes

from analysis.conditioning import stroke_slices
from analysis.trace import FloatArray
from analysis.workings import Workings
from server.figures_labels import Labels
from server.figures_style import CARD, INK, PLUM
from server.figures_trace import thinned
from server.numbers import with_unit

PAUSE_PT2_PER_S = 190.0
PAUSE_PT2_RANGE = (34.0, 1500.0)
TICK_MM = 2.2
# More words than this hide the line they speak of.
MOST_PAUSE_WORDS = 3
# Drawn lengths of the guide beyond which the usual width of line would hide everything.
BUSY_LENGTHS = 3.0
WAY_SHARES = (0.2, 0.55, 0.85)
WAY_FROM_POINTS = 12


def compared(workings: Workings) -> bool:
    """Whether distances from the line may be shown: a line, and samples dense enough."""
    return workings.alignment is not None and workings.quality.shape_ok


def draw_marks(axes: Axes, workings: Workings, labels: Labels) -> None:
    """Draw what happened on the line, and name the longest pauses."""
    _draw_lifts(axes, workings)
    _draw_way(axes, workings)
    _draw_crossings(axes, workings, labels)
    _draw_pauses(axes, workings, labels)


def pause_area_pt2(length_s: float) -> float:
    """Area of the circle that stands for a pause: it grows with the length. [pt2]"""
    return float(np.clip(PAUSE_PT2_PER_S * length_s, *PAUSE_PT2_RANGE))


def _draw_lifts(axes: Axes, workings: Workings) -> None:
    """Mark both ends of every gap with a short tick across the way of the pen."""
    xy_mm = workings.trace.xy_mm
    pieces = stroke_slices(workings.trace.stroke)
    ticks: list[FloatArray] = []
    for before, after in pairwise(pieces):
        ticks.append(_tick(xy_mm[before], end=True))
        ticks.append(_tick(xy_mm[after], end=False))
    for tick in ticks:
        axes.plot(*tick.T, color=INK, linewidth=1.3, zorder=7, gid="lift")


def way_matters(workings: Workings) -> bool:
    """Whether a reader needs arrows to know which way the pen went."""
    fit, guide = workings.alignment, workings.asked_guide
    if fit is None or guide is None or busy(workings):
        return False
    return fit.other_way or guide.closed or len(guide.parts) > 1


def busy(workings: Workings) -> bool:
    """Whether so much was drawn that the usual width of line would hide everything."""
    xy_mm, guide = workings.trace.xy_mm, workings.guide
    if guide is None or len(xy_mm) < 2:
        return False
    drawn_mm = np.hypot(*np.diff(xy_mm, axis=0).T).sum()
    return bool(drawn_mm > BUSY_LENGTHS * guide.length_mm)


def _draw_way(axes: Axes, workings: Workings) -> None:
    if not way_matters(workings):
        return
    for piece in stroke_slices(workings.trace.stroke):
        run = workings.trace.xy_mm[piece]
        run = run[thinned(run, 1.5)]
        for share in WAY_SHARES if len(run) > WAY_FROM_POINTS else ():
            at = int(share * len(run))
            dx, dy = run[at + 1] - run[at - 1]
            turn_deg = float(np.degrees(np.arctan2(-dy, dx)))
            axes.plot(
                *run[at],
                marker=(3, 0, turn_deg - 90.0),
                markersize=10.0,
                color=INK,
                markeredgecolor=CARD,
                markeredgewidth=0.9,
                zorder=7.5,
                gid="way",
            )


def _tick(xy_mm: FloatArray, *, end: bool) -> FloatArray:
    run = xy_mm[thinned(xy_mm, 1.0)]
    if end:
        run = run[::-1]
    way = run[min(1, len(run) - 1)] - run[0]
    size = float(np.hypot(*way))
    across = np.array([0.0, 1.0]) if size == 0 else np.array([way[1], -way[0]]) / size
    return np.array([run[0] - TICK_MM * across, run[0] + TICK_MM * across])


def _draw_crossings(axes: Axes, workings: Workings, labels: Labels) -> None:
    for crossing in workings.crossings:
        marker = ">" if crossing.towards == "right" else "<"
        at_mm = _passage_mm(workings, crossing.index)
        axes.scatter(
            *at_mm,
            s=44,
            marker=marker,
            facecolor=CARD if crossing.lifted else PLUM,
            edgecolor=PLUM,
            linewidth=1.1,
            zorder=9,
            gid="crossing",
        )
        labels.keep_clear(at_mm, 5.0)


def _passage_mm(workings: Workings, index: int) -> tuple[float, float]:
    """Where the pen last met the midline before it was found on the other side."""
    x_mm = workings.midline_x_mm
    xy_mm = workings.trace.xy_mm[: index + 1]
    if x_mm is None:
        raise ValueError("a crossing needs a midline")
    side = xy_mm[:, 0] >= x_mm
    before = np.flatnonzero(side != side[-1])
    if len(before) == 0:
        return float(xy_mm[-1, 0]), float(xy_mm[-1, 1])
    (x0, y0), (x1, y1) = xy_mm[before[-1] : before[-1] + 2]
    share = 0.5 if x1 == x0 else (x_mm - x0) / (x1 - x0)
    return x_mm, float(y0 + share * (y1 - y0))


def _draw_pauses(axes: Axes, workings: Workings, labels: Labels) -> None:
    pauses = workings.events["pauses"]
    lengths_s = [(p["end_ms"] - p["start_ms"]) / 1000.0 for p in pauses]
    for pause, length_s in zip(pauses, lengths_s, strict=True):
        area = pause_area_pt2(length_s)
        axes.scatter(
            [pause["x_mm"]],
            [pause["y_mm"]],
            s=area,
            facecolor="none",
            edgecolor=INK,
            linewidth=1.6,
            zorder=8,
            gid="pause",
        )
        labels.keep_clear((pause["x_mm"], pause["y_mm"]), np.sqrt(area) / 2.0)
    longest = sorted(range(len(pauses)), key=lambda i: (-lengths_s[i], i))[:MOST_PAUSE_WORDS]
    for i in sorted(longest):
        labels.put(
            f"pause {with_unit(lengths_s[i], 's', 1)}",
            (pauses[i]["x_mm"], pauses[i]["y_mm"]),
            clear_pt=np.sqrt(pause_area_pt2(lengths_s[i])) / 2.0 - 4.0,
        )
