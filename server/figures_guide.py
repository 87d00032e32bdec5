"""What was asked, on a trial picture: guide, corridor, dots, midline, start and stop."""

from collections.abc import Sequence

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patches import Circle, PathPatch, Rectangle
from matplotlib.path import Path

from analysis.guide import Guide, Part, Target
from analysis.midline import ZONE_MM
from analysis.trace import BoolArray, FloatArray
from analysis.value import Refused
from analysis.workings import Workings
from server.figures_labels import Labels
from server.figures_marks import busy, lines_of
from server.figures_scale import View, corridor_area
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

USUAL_TARGET_MM = 5.0
ZONE_ALPHA = 0.06
RING = np.linspace(0.0, 6.2, 24)


def draw_asked(axes: Axes, workings: Workings, view: View, labels: Labels) -> None:
    """Draw what the child was asked to follow or to touch."""
    guide = workings.asked_guide
    if guide is None:
        return
    _draw_corridor(axes, guide, labels)
    if workings.trial.mode != "tap":
        _draw_paths(axes, guide, labels)
    _draw_dots(axes, workings, labels)
    _draw_midline(axes, workings, view, labels)
    if not _has_dots(workings):
        for part in guide.parts:
            _draw_ends(axes, guide, part, labels)


def name_asked(workings: Workings, labels: Labels) -> None:
    """Write beside the guide where it starts and stops, and in which order its dots come."""
    guide = workings.asked_guide
    if guide is None:
        return
    if _has_dots(workings):
        _name_dots(workings, guide.targets, labels)
        return
    for target in guide.targets:
        held_mm = (target.x_mm, target.y_mm - target.radius_mm)
        labels.put("held here", held_mm, colour=TEAL)
    for part in guide.parts:
        _name_ends(guide, part, labels)
    for line in lines_of(workings):
        _name_other_way(line, labels)


def _has_dots(workings: Workings) -> bool:
    """Whether dots are what was asked for, not a place to hold on to."""
    guide = workings.asked_guide
    return workings.trial.mode in {"tap", "join"} and guide is not None and bool(guide.targets)


def met(workings: Workings) -> BoolArray | None:
    """Return which dots were met; None if there are none or nothing was drawn."""
    if not _has_dots(workings):
        return None
    try:
        return workings.aims.contacted
    except Refused:
        return None


def dots_mm(guide: Guide) -> FloatArray:
    """Return the centres of the dots, shape (n, 2). [mm]"""
    return np.array([[dot.x_mm, dot.y_mm] for dot in guide.targets]).reshape(-1, 2)


def _outline(area: shapely.Geometry) -> Path:
    polygons = shapely.get_parts(area)
    rings = [ring for polygon in polygons for ring in (polygon.exterior, *polygon.interiors)]
    outlines = [Path(shapely.get_coordinates(ring.simplify(0.02)), closed=True) for ring in rings]
    return Path.make_compound_path(*outlines)


def _draw_corridor(axes: Axes, guide: Guide, labels: Labels) -> None:
    area = corridor_area(guide)
    if not area.is_empty:
        band = PathPatch(
            _outline(area), facecolor=CORRIDOR, edgecolor=CORRIDOR_EDGE, linewidth=0.8, zorder=1
        )
        band.set_gid("corridor")
        axes.add_patch(band)
        labels.avoid(shapely.get_coordinates(shapely.segmentize(area.boundary, 2.0)), 0.15)


def _draw_paths(axes: Axes, guide: Guide, labels: Labels) -> None:
    for part in guide.parts:
        outline_mm = part.outline_mm
        axes.plot(
            *outline_mm.T, color=GUIDE, linewidth=1.1, linestyle=(0, (4, 3)), zorder=2, gid="guide"
        )
        labels.avoid(
            shapely.get_coordinates(shapely.segmentize(shapely.LineString(outline_mm), 1.5)), 0.3
        )


def _draw_dots(axes: Axes, workings: Workings, labels: Labels) -> None:
    guide = workings.asked_guide
    found = met(workings)
    for at, dot in enumerate(() if guide is None else guide.targets):
        missed = found is not None and not found[at]
        axes.add_patch(
            Circle(
                (dot.x_mm, dot.y_mm),
                dot.radius_mm,
                facecolor=CARD if missed else CORRIDOR,
                edgecolor=RUST if missed else CORRIDOR_EDGE,
                linewidth=1.6 if missed else 0.8,
                linestyle=(0, (3, 2)) if missed else "-",
                zorder=1,
                gid="dot_missed" if missed else "dot_target",
            )
        )
        ring = [dot.x_mm, dot.y_mm] + dot.radius_mm * np.column_stack([np.cos(RING), np.sin(RING)])
        labels.avoid(ring, 0.3)


def _draw_midline(axes: Axes, workings: Workings, view: View, labels: Labels) -> None:
    x_mm = workings.midline_x_mm
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
    assumed = "midline_assumed" in workings.flags
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


def _draw_ends(axes: Axes, guide: Guide, part: Part, labels: Labels) -> None:
    start_mm, stop_mm = _target_radii(guide)
    first, last = part.outline_mm[0], part.outline_mm[-1]
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
        ring = centre + radius_mm * np.column_stack([np.cos(RING), np.sin(RING)])
        labels.avoid(ring, 1.0)


def _name_ends(guide: Guide, part: Part, labels: Labels) -> None:
    start_mm, stop_mm = _target_radii(guide)
    first, last = point(part.outline_mm[0]), point(part.outline_mm[-1])
    if part.closed:
        labels.put("start and stop", first, colour=TEAL, clear_mm=stop_mm)
        return
    labels.put("start", first, colour=TEAL, clear_mm=start_mm, clear_pt=-6.0)
    labels.put("stop", last, colour=TEAL, clear_mm=stop_mm, clear_pt=-6.0)


def _name_other_way(line: Workings, labels: Labels) -> None:
    if "traced_other_way" not in line.flags or busy(line):
        return
    closed = line.asked_guide is not None and line.asked_guide.closed
    words = "drawn the other way round" if closed else "drawn from here"
    labels.put(words, point(line.trace.xy_mm[0]), colour=INK, clear_pt=6.0)


def _name_dots(workings: Workings, targets: Sequence[Target], labels: Labels) -> None:
    found = met(workings)
    for at, dot in enumerate(targets):
        missed = found is not None and not found[at]
        labels.put(
            f"{at + 1} not met" if missed else f"{at + 1}",
            (dot.x_mm, dot.y_mm),
            colour=RUST if missed else MUTED,
            clear_mm=dot.radius_mm,
            clear_pt=-8.0,
        )


def point(xy_mm: FloatArray) -> tuple[float, float]:
    """Return a place as two plain numbers. [mm]"""
    return float(xy_mm[0]), float(xy_mm[1])
