"""The upper half of a trial picture: guide, corridor, line and what happened on it."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes

from analysis.trace import FloatArray
from analysis.workings import Workings
from server.figures_guide import dots_mm, draw_asked, name_asked, point
from server.figures_labels import Labels
from server.figures_marks import busy, compared, draw_marks, draw_touches, lines_of
from server.figures_scale import View, half_width_mm, view_of
from server.figures_style import MUTED, RUST
from server.figures_trace import draw_departure, draw_trace
from server.numbers import with_unit

THIN = 0.4


def picture_view(workings: Workings, width_in: float) -> View:
    """Return the view of a trial: its guide with corridor, its dots, and all that was drawn."""
    boxes: list[FloatArray] = []
    guide = workings.asked_guide
    if guide is not None:
        reach_mm = half_width_mm(guide) if guide.parts and guide.has_corridor else 0.0
        for part in guide.parts:
            boxes += [part.points_mm - reach_mm, part.points_mm + reach_mm]
        radius_mm = np.array([[dot.radius_mm] for dot in guide.targets]).reshape(-1, 1)
        boxes += [dots_mm(guide) - radius_mm, dots_mm(guide) + radius_mm]
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
    draw_asked(axes, workings, view, labels)
    labels.avoid(workings.trace.xy_mm)
    if workings.trial.mode == "tap":
        draw_touches(axes, workings, labels)
    else:
        for line in lines_of(workings):
            _draw_line(axes, line)
            held = workings.trial.mode == "both" and line.asked_guide is None
            draw_marks(axes, line, labels, pauses=not held)
    name_asked(workings, labels)
    if report["quality"]["calibrated"]:
        for line in lines_of(workings):
            _name_departure(line, labels)
    if len(workings.trace.xy_mm) == 0:
        middle = ((view.left_mm + view.right_mm) / 2.0, (view.top_mm + view.bottom_mm) / 2.0)
        labels.put("nothing was drawn", middle, colour=MUTED, size_pt=12.0)


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


def _name_departure(workings: Workings, labels: Labels) -> None:
    departures = workings.events["departures"]
    fit = workings.alignment
    if not departures or fit is None or not compared(workings):
        return
    widest = max(departures, key=lambda d: d["max_beyond_mm"])
    stretch = slice(widest["start_index"], widest["end_index"] + 1)
    beyond = np.abs(fit.d_mm[stretch])
    at = widest["start_index"] + int(np.argmax(beyond))
    labels.put(
        f"{with_unit(widest['max_beyond_mm'], 'mm', 1)} past the edge",
        point(workings.trace.xy_mm[at]),
        colour=RUST,
    )
