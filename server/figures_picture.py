"""The upper half of a trial picture: guide, corridor, line and what happened on it."""

from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patches import Circle, PathPatch, Rectangle
from matplotlib.path import Path

from analysis.guide import Guide
from analysis.trace import FloatArray
from analysis.workings import Workings
from server.figures_labels import Labels
from server.figures_scale import View, corridor_area, half_width_mm, view_of
from server.figures_style import (
    CARD,
    CORRIDOR,
    CORRIDOR_EDGE,
    GUIDE,
    INK,
    MUTED,
    PLUM,
    RUST,
    TEAL,
)
from server.figures_trace import draw_departure, draw_trace, stroke_slices, thinned
from server.numbers import with_unit

PAUSE_PT2_PER_S = 190.0
PAUSE_PT2_RANGE = (34.0, 1500.0)
USUAL_TARGET_MM = 5.0
TICK_MM = 2.2
# More words than this hide the line they speak of.
MOST_PAUSE_WORDS = 3
BUSY_LENGTHS = 3.0
THIN = 0.4
WAY_SHARES = (0.2, 0.55, 0.85)
WAY_FROM_POINTS = 12


def picture_view(workings: Workings) -> View:
    """Return the view of a trial: its guide with corridor, and all that was drawn."""
    boxes: list[FloatArray] = []
    guide = workings.asked_guide
    if guide is not None:
        reach_mm = half_width_mm(guide) if guide.has_corridor else 0.0
        for points_mm in [part.points_mm for part in guide.parts] or [_dots(guide)]:
            boxes += [points_mm - reach_mm, points_mm + reach_mm]
    if len(workings.trace.xy_mm):
        boxes.append(workings.trace.xy_mm)
    if not boxes:
        return view_of(np.zeros(2), np.array([150.0, 80.0]))
    everything_mm = np.vstack(boxes)
    return view_of(everything_mm.min(axis=0), everything_mm.max(axis=0))


def draw_picture(axes: Axes, workings: Workings, report: dict[str, Any], view: View) -> None:
    """Draw the trial into axes in mm, y down, whose box has the view's proportions."""
    axes.set(xlim=(view.left_mm, view.right_mm), ylim=(view.bottom_mm, view.top_mm))
    axes.set_axis_off()
    labels = Labels(axes)
    guide = workings.asked_guide
    if guide is not None:
        _draw_guide(axes, guide, labels)
        _draw_midline(axes, guide, report, view, labels)
        _draw_targets(axes, guide, labels)
    labels.avoid(workings.trace.xy_mm)
    _draw_line(axes, workings)
    _draw_lifts(axes, workings)
    _draw_way(axes, workings)
    _draw_crossings(axes, workings, labels)
    _draw_pauses(axes, workings, labels)
    if guide is not None:
        _name_targets(workings, report, guide, labels)
    _name_departure(workings, report, labels)
    if len(workings.trace.xy_mm) == 0:
        middle = ((view.left_mm + view.right_mm) / 2.0, (view.top_mm + view.bottom_mm) / 2.0)
        labels.put("nothing was drawn", middle, colour=MUTED, size_pt=12.0)


def pause_area_pt2(length_s: float) -> float:
    """Area of the circle that stands for a pause: it grows with the length. [pt2]"""
    return float(np.clip(PAUSE_PT2_PER_S * length_s, *PAUSE_PT2_RANGE))


def _dots(guide: Guide) -> FloatArray:
    return np.array([[dot.x_mm, dot.y_mm] for dot in guide.targets])


def _outline(area: shapely.Geometry) -> Path:
    rings: list[Path] = []
    for polygon in shapely.get_parts(area):
        for ring in (polygon.exterior, *polygon.interiors):
            rings.append(Path(shapely.get_coordinates(ring.simplify(0.02)), closed=True))
    return Path.make_compound_path(*rings)


def _draw_guide(axes: Axes, guide: Guide, labels: Labels) -> None:
    area = corridor_area(guide)
    if not area.is_empty:
        band = PathPatch(
            _outline(area), facecolor=CORRIDOR, edgecolor=CORRIDOR_EDGE, linewidth=0.8, zorder=1
        )
        band.set_gid("corridor")
        axes.add_patch(band)
        labels.avoid(shapely.get_coordinates(shapely.segmentize(area.boundary, 2.0)), 0.15)
    for part in guide.parts:
        outline_mm = part.outline_mm
        axes.plot(
            *outline_mm.T, color=GUIDE, linewidth=1.1, linestyle=(0, (4, 3)), zorder=2, gid="guide"
        )
        labels.avoid(
            shapely.get_coordinates(shapely.segmentize(shapely.LineString(outline_mm), 1.5)), 0.3
        )
    for dot in guide.targets:
        axes.add_patch(
            Circle(
                (dot.x_mm, dot.y_mm),
                dot.radius_mm,
                facecolor=CORRIDOR,
                edgecolor=CORRIDOR_EDGE,
                linewidth=0.8,
                zorder=1,
                gid="dot_target",
            )
        )


def _draw_midline(
    axes: Axes, guide: Guide, report: dict[str, Any], view: View, labels: Labels
) -> None:
    x_mm = guide.midline_x_mm
    if x_mm is None or not view.left_mm < x_mm < view.right_mm:
        return
    ends_mm = [view.top_mm + 1.0, view.bottom_mm - 1.0]
    axes.plot(
        [x_mm, x_mm],
        ends_mm,
        color=PLUM,
        linewidth=1.2,
        linestyle=(0, (6, 4)),
        zorder=3,
        gid="midline",
    )
    labels.avoid(np.column_stack([np.full(60, x_mm), np.linspace(*ends_mm, 60)]), 0.5)
    assumed = "midline_assumed" in report["quality"]["flags"]
    word = "midline (assumed)" if assumed else "midline"
    axes.annotate(
        word,
        (x_mm, ends_mm[0]),
        xytext=(5, -1),
        textcoords="offset points",
        color=PLUM,
        fontsize=9.5,
        va="top",
        zorder=20,
    )
    labels.keep_clear((x_mm + 12.0, ends_mm[0] + 2.5), 22.0)


def _target_radii(guide: Guide) -> tuple[float, float]:
    return (
        guide.start_radius_mm or USUAL_TARGET_MM,
        guide.stop_radius_mm or USUAL_TARGET_MM,
    )


def _draw_targets(axes: Axes, guide: Guide, labels: Labels) -> None:
    if not guide.parts or guide.targets:
        return
    start_mm, stop_mm = _target_radii(guide)
    first, last = guide.first_point_mm, guide.last_point_mm
    axes.add_patch(
        Circle(
            (first[0], first[1]),
            start_mm,
            fill=False,
            edgecolor=TEAL,
            linewidth=2.0,
            zorder=4,
            gid="start",
        )
    )
    axes.add_patch(
        Rectangle(
            (last[0] - stop_mm, last[1] - stop_mm),
            2 * stop_mm,
            2 * stop_mm,
            fill=False,
            edgecolor=TEAL,
            linewidth=2.0,
            joinstyle="round",
            zorder=4,
            gid="stop",
        )
    )
    for centre, radius_mm in ((first, start_mm), (last, stop_mm)):
        ring = centre + radius_mm * np.column_stack(
            [np.cos(np.linspace(0, 6.2, 24)), np.sin(np.linspace(0, 6.2, 24))]
        )
        labels.avoid(ring, 1.0)


def _draw_line(axes: Axes, workings: Workings) -> None:
    trace, fit = workings.trace, workings.alignment
    distance_mm = None if fit is None else np.abs(fit.d_mm)
    half_mm = half_width_mm(workings.guide)
    thin = THIN if busy(workings) else 1.0
    draw_trace(axes, trace.xy_mm, trace.stroke, distance_mm, half_mm, thin=thin)
    if distance_mm is None:
        return
    for departure in workings.events["departures"]:
        stretch = slice(departure["start_index"], departure["end_index"] + 1)
        draw_departure(axes, trace.xy_mm[stretch], distance_mm[stretch], half_mm, thin=thin)


def _draw_lifts(axes: Axes, workings: Workings) -> None:
    """Mark both ends of every gap with a short tick across the way of the pen."""
    xy_mm = workings.trace.xy_mm
    pieces = stroke_slices(workings.trace.stroke)
    ticks: list[FloatArray] = []
    for before, after in zip(pieces[:-1], pieces[1:], strict=True):
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
    pauses = [p for p in workings.events["pauses"] if p["start_ms"] is not None]
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


def _name_targets(workings: Workings, report: dict[str, Any], guide: Guide, labels: Labels) -> None:
    if not guide.parts or guide.targets:
        return
    start_mm, stop_mm = _target_radii(guide)
    if guide.closed:
        labels.put("start and stop", guide.first_point_mm, colour=TEAL, clear_mm=stop_mm)
    else:
        labels.put("start", guide.first_point_mm, colour=TEAL, clear_mm=start_mm, clear_pt=-6.0)
        labels.put("stop", guide.last_point_mm, colour=TEAL, clear_mm=stop_mm, clear_pt=-6.0)
    if "traced_other_way" in report["quality"]["flags"] and len(workings.trace.xy_mm):
        words = "drawn the other way round" if guide.closed else "drawn from here"
        labels.put(words, workings.trace.xy_mm[0], colour=INK, clear_pt=6.0)


def _name_departure(workings: Workings, report: dict[str, Any], labels: Labels) -> None:
    departures = workings.events["departures"]
    if not departures or not report["quality"]["calibrated"] or workings.alignment is None:
        return
    widest = max(departures, key=lambda d: d["max_beyond_mm"])
    stretch = slice(widest["start_index"], widest["end_index"] + 1)
    beyond = np.abs(workings.alignment.d_mm[stretch])
    at = widest["start_index"] + int(np.argmax(beyond))
    labels.put(
        f"{with_unit(widest['max_beyond_mm'], 'mm', 1)} past the edge",
        workings.trace.xy_mm[at],
        colour=RUST,
    )
