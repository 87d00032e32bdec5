"""The upper half of a trial picture: guide, corridor, line and what happened on it."""

from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patches import Circle, PathPatch, Rectangle
from matplotlib.path import Path

from analysis.guide import Guide
from analysis.midline import ZONE_MM
from analysis.trace import FloatArray
from analysis.workings import Workings
from server.figures_labels import Labels
from server.figures_marks import busy, compared, draw_marks
from server.figures_scale import View, corridor_area, half_width_mm, view_of
from server.figures_style import (
    CORRIDOR,
    CORRIDOR_EDGE,
    GUIDE,
    INK,
    MUTED,
    PLUM,
    RUST,
    TEAL,
)
from server.figures_trace import draw_departure, draw_trace
from server.numbers import with_unit

USUAL_TARGET_MM = 5.0
ZONE_ALPHA = 0.06
THIN = 0.4


def picture_view(workings: Workings, width_in: float) -> View:
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
        return view_of(np.zeros(2), np.array([150.0, 80.0]), width_in)
    everything_mm = np.vstack(boxes)
    return view_of(everything_mm.min(axis=0), everything_mm.max(axis=0), width_in)


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
    draw_marks(axes, workings, labels)
    if guide is not None:
        _name_targets(workings, report, guide, labels)
    _name_departure(workings, report, labels)
    if len(workings.trace.xy_mm) == 0:
        middle = ((view.left_mm + view.right_mm) / 2.0, (view.top_mm + view.bottom_mm) / 2.0)
        labels.put("nothing was drawn", middle, colour=MUTED, size_pt=12.0)


def _dots(guide: Guide) -> FloatArray:
    return np.array([[dot.x_mm, dot.y_mm] for dot in guide.targets])


def _outline(area: shapely.Geometry) -> Path:
    polygons = shapely.get_parts(area)
    rings = [ring for polygon in polygons for ring in (polygon.exterior, *polygon.interiors)]
    outlines = [Path(shapely.get_coordinates(ring.simplify(0.02)), closed=True) for ring in rings]
    return Path.make_compound_path(*outlines)


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
    top_mm, bottom_mm = view.top_mm + 1.0, view.bottom_mm - 1.0
    axes.plot(
        [x_mm, x_mm],
        [top_mm, bottom_mm],
        color=PLUM,
        linewidth=1.2,
        linestyle=(0, (6, 4)),
        zorder=3,
        gid="midline",
    )
    axes.axvspan(
        x_mm - ZONE_MM,
        x_mm + ZONE_MM,
        facecolor=PLUM,
        alpha=ZONE_ALPHA,
        linewidth=0,
        zorder=0,
        gid="zone",
    )
    labels.avoid(np.column_stack([np.full(60, x_mm), np.linspace(top_mm, bottom_mm, 60)]), 0.5)
    assumed = "midline_assumed" in report["quality"]["flags"]
    word = "midline (assumed)" if assumed else "midline"
    axes.annotate(
        word,
        (x_mm, top_mm),
        xytext=(5, -1),
        textcoords="offset points",
        color=PLUM,
        fontsize=9.5,
        va="top",
        zorder=20,
    )
    labels.keep_clear((x_mm + 12.0, top_mm + 2.5), 22.0)


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
    distance_mm = np.abs(fit.d_mm) if fit is not None and compared(workings) else None
    half_mm = half_width_mm(workings.guide)
    thin = THIN if busy(workings) else 1.0
    draw_trace(axes, trace.xy_mm, trace.stroke, distance_mm, half_mm, thin=thin)
    if distance_mm is None:
        return
    for departure in workings.events["departures"]:
        stretch = slice(departure["start_index"], departure["end_index"] + 1)
        draw_departure(axes, trace.xy_mm[stretch], distance_mm[stretch], half_mm, thin=thin)


def _name_targets(workings: Workings, report: dict[str, Any], guide: Guide, labels: Labels) -> None:
    if not guide.parts or guide.targets:
        return
    start_mm, stop_mm = _target_radii(guide)
    first, last = _point(guide.first_point_mm), _point(guide.last_point_mm)
    if guide.closed:
        labels.put("start and stop", first, colour=TEAL, clear_mm=stop_mm)
    else:
        labels.put("start", first, colour=TEAL, clear_mm=start_mm, clear_pt=-6.0)
        labels.put("stop", last, colour=TEAL, clear_mm=stop_mm, clear_pt=-6.0)
    if "traced_other_way" in report["quality"]["flags"] and not busy(workings):
        words = "drawn the other way round" if guide.closed else "drawn from here"
        labels.put(words, _point(workings.trace.xy_mm[0]), colour=INK, clear_pt=6.0)


def _point(xy_mm: FloatArray) -> tuple[float, float]:
    return float(xy_mm[0]), float(xy_mm[1])


def _name_departure(workings: Workings, report: dict[str, Any], labels: Labels) -> None:
    departures = workings.events["departures"]
    fit = workings.alignment
    if not departures or not report["quality"]["calibrated"]:
        return
    if fit is None or not compared(workings):
        return
    widest = max(departures, key=lambda d: d["max_beyond_mm"])
    stretch = slice(widest["start_index"], widest["end_index"] + 1)
    beyond = np.abs(fit.d_mm[stretch])
    at = widest["start_index"] + int(np.argmax(beyond))
    labels.put(
        f"{with_unit(widest['max_beyond_mm'], 'mm', 1)} past the edge",
        _point(workings.trace.xy_mm[at]),
        colour=RUST,
    )
