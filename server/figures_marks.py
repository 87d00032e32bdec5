"""Marks on a trial picture: pauses, lifts, crossings of the midline, the way of the pen."""

from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from analysis.conditioning import stroke_slices
from analysis.targets import Touch
from analysis.trace import FloatArray
from analysis.value import Refused
from analysis.workings import Workings
from server.figures_labels import Labels
from server.figures_style import CARD, INK, PLUM, RUST
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


TOUCH_PT2 = 46.0


def lines_of(workings: Workings) -> list[Workings]:
    """Return the workings of every line that was drawn: one, or one for each of two contacts."""
    if workings.trial.mode == "both":
        return [contact.workings for contact in workings.contacts]
    return [workings]


def pauses_of(workings: Workings) -> list[dict[str, Any]]:
    """Return the pauses worth showing: a contact that holds on to a place does nothing else."""
    held = {contact.pointer for contact in workings.contacts if contact.part is None}
    return [one for one in workings.events["pauses"] if one.get("pointer") not in held]


def compared(workings: Workings) -> bool:
    """Whether distances from the line may be shown: a line, and samples dense enough."""
    return any(line.alignment is not None and line.quality.shape_ok for line in lines_of(workings))


def draw_marks(axes: Axes, workings: Workings, labels: Labels, *, pauses: bool = True) -> None:
    """Draw what happened on the line, and name the longest pauses where they are wanted."""
    _draw_lifts(axes, workings)
    _draw_way(axes, workings)
    _draw_crossings(axes, workings, labels)
    if pauses:
        _draw_pauses(axes, workings, labels)


def draw_touches(axes: Axes, workings: Workings, labels: Labels) -> None:
    """Draw every touch of mode ``tap`` where it came down: filled where it met a dot first.

    A hollow one strayed or touched the same dot again.
    """
    try:
        touches = workings.aims.touches
    except Refused:
        return
    for touch in touches:
        inside = touch.first and _inside(workings, touch)
        axes.scatter(
            [touch.xy_mm[0]],
            [touch.xy_mm[1]],
            s=TOUCH_PT2,
            facecolor=INK if inside else CARD,
            edgecolor=INK if inside else RUST,
            linewidth=1.5,
            zorder=7,
            gid="touch" if inside else "touch_astray",
        )
        labels.keep_clear((float(touch.xy_mm[0]), float(touch.xy_mm[1])), 4.0)


def _inside(workings: Workings, touch: Touch) -> bool:
    """Whether a touch lies in the dot that it belongs to."""
    guide = workings.asked_guide
    if guide is None or touch.target is None:
        return False
    dot = guide.targets[touch.target]
    away_mm = float(np.hypot(touch.xy_mm[0] - dot.x_mm, touch.xy_mm[1] - dot.y_mm))
    return away_mm <= dot.radius_mm


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
    if workings.trial.mode == "both":
        return any(way_matters(line) for line in lines_of(workings))
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
