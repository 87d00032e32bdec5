"""One trial as its page draws it again in time: what was asked, every sample, what happened."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import shapely

from analysis.conditioning import stroke_slices
from analysis.guide import Guide
from analysis.trace import FloatArray, IntArray
from analysis.workings import Workings
from server.figures_marks import compared
from server.figures_picture import picture_view
from server.figures_scale import WIDTH_IN, corridor_area
from server.figures_speed import speed_reason
from server.sentences import PRESSURE_NOTE, reason_sentence

NO_CLOCK = "The tablet's clock went back or stood still, so the line cannot be drawn again in time."
NO_TIME = "No times were recorded, so the line cannot be drawn again in time."
NOTHING = "Nothing was drawn, so there is nothing to draw again."
NO_SCALE = "The screen was not calibrated, so speed has no scale in mm/s."
PRESSED = "pressure_mean"
# Finer than any screen shows.
SMOOTH_MM = 0.02
USUAL_TARGET_MM = 5.0


def replay_of(workings: Workings, report: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the replay of a trial draws, in plain types.

    Parameters
    ----------
    workings : Workings
        Of the trial, as amended.
    report : mapping
        Its ``linnet-report/1``.

    Returns
    -------
    dict
        `reason` is a sentence where there is no replay, else None. `samples` holds columns of
        equal length, ordered as they were measured: strokes one after the other, times rising
        within each. Distances and speeds are null where they are not known, and columns of
        them where none is. [mm], [ms], [mm/s]
    """
    view = picture_view(workings, WIDTH_IN)
    calibrated = bool(report["quality"]["calibrated"])
    return {
        "trial_id": report["trial_id"],
        "reason": _reason(workings),
        "calibrated": calibrated,
        "view_mm": [
            round(v, 2) for v in (view.left_mm, view.top_mm, view.right_mm, view.bottom_mm)
        ],
        "asked": _asked(workings.asked_guide, workings.trial.mode),
        "midline_x_mm": workings.midline_x_mm,
        "events": report["events"],
        "samples": _samples(workings, calibrated=calibrated),
        "speed_reason": speed_reason(workings) or (None if calibrated else NO_SCALE),
        "pressure_reason": _pressure_reason(workings, report),
        "pressure_note": PRESSURE_NOTE,
    }


def _reason(workings: Workings) -> str | None:
    if len(workings.trace) == 0:
        return NOTHING
    if workings.trace.t_s is None:
        return NO_TIME
    return None if workings.quality.monotone else NO_CLOCK


def _pressure_reason(workings: Workings, report: Mapping[str, Any]) -> str | None:
    value = report["measures"].get(PRESSED)
    if value is not None and value["value"] is None:
        return reason_sentence(value["reason"])
    if workings.trace.pressure is None or workings.pressing is None:
        return reason_sentence("no_pressure_sensor")
    return None


def _asked(guide: Guide | None, mode: str) -> dict[str, Any]:
    if guide is None:
        return {"lines_mm": [], "corridor_mm": [], "dots": [], "ends": []}
    dotted = mode in {"tap", "join"} and bool(guide.targets)
    start_mm = guide.start_radius_mm or USUAL_TARGET_MM
    stop_mm = guide.stop_radius_mm or USUAL_TARGET_MM
    ends = [
        {"kind": kind, "x_mm": float(at[0]), "y_mm": float(at[1]), "radius_mm": radius_mm}
        for part in (() if dotted else guide.parts)
        for kind, at, radius_mm in (
            ("start", part.outline_mm[0], start_mm),
            ("stop", part.outline_mm[-1], stop_mm),
        )
    ]
    return {
        "lines_mm": [] if mode == "tap" else [_places(one.outline_mm) for one in guide.parts],
        "corridor_mm": _rings(guide),
        "dots": [
            {"x_mm": dot.x_mm, "y_mm": dot.y_mm, "radius_mm": dot.radius_mm}
            for dot in guide.targets
        ],
        "ends": ends,
    }


def _rings(guide: Guide) -> list[list[list[float]]]:
    """Return the outlines of the corridor; holes are those that an even-odd rule leaves."""
    if not guide.parts or not guide.has_corridor:
        return []
    polygons = shapely.get_parts(corridor_area(guide))
    rings = [ring for one in polygons for ring in (one.exterior, *one.interiors)]
    return [_places(shapely.get_coordinates(ring.simplify(SMOOTH_MM))) for ring in rings]


def _places(xy_mm: FloatArray) -> list[list[float]]:
    found: list[list[float]] = np.round(xy_mm, 2).tolist()
    return found


def _samples(workings: Workings, *, calibrated: bool) -> dict[str, Any]:
    trace = workings.trace
    distance_mm, speed_mm_s = np.full(len(trace), np.nan), np.full(len(trace), np.nan)
    for own, line in _lines(workings):
        if line.alignment is not None and compared(line):
            distance_mm[own] = np.abs(line.alignment.d_mm)
        if speed_reason(workings) is None:
            speed_mm_s[own] = _speed(line)
    return {
        "t_ms": None if trace.t_s is None else np.round(1000.0 * trace.t_s, 1).tolist(),
        "x_mm": np.round(trace.xy_mm[:, 0], 3).tolist(),
        "y_mm": np.round(trace.xy_mm[:, 1], 3).tolist(),
        "stroke": trace.stroke.tolist(),
        "pointer": None if trace.pointer is None else trace.pointer.tolist(),
        "pressure": _column(trace.pressure, 3),
        "distance_mm": _column(distance_mm, 2) if calibrated else None,
        "speed_mm_s": _column(speed_mm_s, 1) if calibrated else None,
    }


def _lines(workings: Workings) -> Iterator[tuple[IntArray, Workings]]:
    """Yield each line that was drawn with the places of its samples among those of the trial."""
    pointer = workings.trace.pointer
    if workings.trial.mode != "both" or pointer is None:
        yield np.arange(len(workings.trace)), workings
        return
    for contact in workings.contacts:
        yield np.flatnonzero(pointer == contact.pointer), contact.workings


def _speed(line: Workings) -> FloatArray:
    """Return the filtered speed at each sample; NaN in what was lost. [mm/s]"""
    t_s = line.trace.t_s
    found = np.full(len(line.trace), np.nan)
    if line.kinematics is None or t_s is None:
        return found
    strokes = stroke_slices(line.trace.stroke)
    for piece in line.kinematics.pieces:
        part = strokes[piece.stroke]
        inside = (t_s[part] >= piece.t_s[0]) & (t_s[part] <= piece.t_s[-1])
        found[part][inside] = np.interp(t_s[part][inside], piece.t_s, piece.speed_mm_s)
    return found


def _column(values: FloatArray | None, decimals: int) -> list[float | None] | None:
    """Return numbers with null for what is not known; None if nothing is."""
    if values is None or not np.isfinite(values).any():
        return None
    return [value if np.isfinite(value) else None for value in np.round(values, decimals).tolist()]
