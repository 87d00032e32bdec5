"""Measures of distance from the line and of how much of it was drawn (MEASURES 3)."""

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis import deviation
from analysis.alignment import Alignment
from analysis.measure import TrialMeasure
from analysis.needs import CORRIDOR, DEVIATION, SHAPE
from analysis.value import Refused
from analysis.workings import Workings

FAMILY = "Distance from the line"
COVER = "How much was drawn"
END_MM = 10.0
"""Overshoot is looked for within this distance of the guide's end. [mm]"""


def alignment_of(w: Workings) -> Alignment:
    """Return the alignment, or refuse with ``no_guide``."""
    if w.alignment is None:
        raise Refused("no_guide")
    return w.alignment


def _outward(w: Workings) -> float:
    guide = alignment_of(w).guide
    return deviation.outward_sign(guide) * deviation.bias_mm(w.profile)


def in_corridor_share(w: Workings) -> float:
    """Share of the guide's whole length whose first passage is inside the corridor. [1]"""
    width_mm = alignment_of(w).guide.half_width_at(w.profile.s_mm)
    if not alignment_of(w).guide.closed:
        return deviation.in_corridor_share(w.profile, width_mm)
    width_mm[-1] = width_mm[0]
    return deviation.in_corridor_share(w.profile, width_mm)


def _departure_s(w: Workings) -> float:
    if w.trace.t_s is None:
        raise Refused("no_time")
    return sum((d.end_s or 0.0) - (d.start_s or 0.0) for d in w.departures)


def _start_error(w: Workings) -> float:
    """Distance of the completing attempt's first sample from the start target.

    An attempt begins at the first sample and at every restart that lands within 10 mm
    (or twice the start target) of the start; the last one completes.
    """
    found = alignment_of(w)
    reach_mm = max(END_MM, 2 * (found.guide.start_radius_mm or 0.0))
    again = [int(at) for at in found.restarts() if abs(found.s_mm[at]) <= reach_mm]
    first = again[-1] if again else 0
    return float(np.hypot(*(w.trace.xy_mm[first] - found.guide.first_point_mm)))


def _stop_error(w: Workings) -> float:
    return float(np.hypot(*(w.trace.xy_mm[-1] - alignment_of(w).guide.last_point_mm)))


def _overshoot(w: Workings) -> float:
    """Travel past the stop: along its tangent; on a closed guide, along the guide."""
    found = alignment_of(w)
    length_mm = found.guide.length_mm
    if found.guide.closed:
        return max(0.0, float(found.s_mm.max()) - length_mm)
    near = found.s_mm >= length_mm - END_MM
    if not near.any():
        return 0.0
    past_mm = (w.trace.xy_mm[near] - found.guide.last_point_mm) @ found.guide.segment_tangent[-1]
    return max(0.0, float(past_mm.max()))


def _closure(w: Workings) -> float:
    if w.completion < deviation.LAP_COMPLETION:
        raise Refused("too_little_traced")
    return float(np.hypot(*(w.trace.xy_mm[-1] - w.trace.xy_mm[0])))


def _time_weighted(w: Workings) -> float:
    return deviation.mean_abs_time_mm(w.trace, alignment_of(w).d_mm)


def length_measure(
    id_: str, label: str, meaning: str, function: Callable[[Workings], float], **more: Any
) -> TrialMeasure:
    """Return an entry in mm, lower better, unless said otherwise (see `TrialMeasure`)."""
    fields: dict[str, Any] = {"family": FAMILY, "needs": DEVIATION, "better": "low"}
    fields |= {"source": "MEASURES 3"} | more
    return TrialMeasure(
        id=id_, label=label, unit="mm", meaning=meaning, function=function, **fields
    )


DEVIATION_MEASURES: tuple[TrialMeasure, ...] = (
    length_measure(
        "deviation_mean_abs",
        "Mean distance from the line",
        "Mean distance from the guide over its covered length, each millimetre counted once.",
        lambda w: deviation.mean_abs_mm(w.profile),
    ),
    length_measure(
        "deviation_rms",
        "Root mean square distance",
        "Root mean square distance from the guide over its covered length.",
        lambda w: deviation.rms_mm(w.profile),
    ),
    length_measure(
        "deviation_bias",
        "Left or right of travel",
        "Mean signed distance from the guide; positive to the left of travel.",
        lambda w: deviation.bias_mm(w.profile),
        better="near",
        near=0.0,
    ),
    length_measure(
        "deviation_bias_outward",
        "Outside or inside the shape",
        "Mean signed distance from a closed guide; positive outside.",
        _outward,
        better="near",
        near=0.0,
        needs=DEVIATION | {"closed"},
    ),
    length_measure(
        "deviation_p95",
        "Distance not exceeded on 95 % of the line",
        "95th percentile, by length of guide, of the distance from it.",
        lambda w: deviation.p95_mm(w.profile),
    ),
    length_measure(
        "deviation_max",
        "Largest distance from the line",
        "Largest distance from the guide of any sample with the pen down.",
        lambda w: float(np.abs(alignment_of(w).d_mm).max()),
    ),
    length_measure(
        "deviation_mean_abs_time",
        "Mean distance over time",
        "Mean distance from the guide over pen-down time; a pause counts for as long as it lasts.",
        _time_weighted,
        needs=DEVIATION | {"time", "steps", "clock"},
    ),
    TrialMeasure(
        id="in_corridor_share",
        label="Share of the line inside the corridor",
        unit="1",
        family=FAMILY,
        meaning="Share of the guide's whole length whose first passage is inside the corridor; "
        "what was skipped counts as outside.",
        source="MEASURES 3",
        function=in_corridor_share,
        needs=CORRIDOR,
        better="high",
        decimals=2,
    ),
    TrialMeasure(
        id="departure_count",
        label="Times outside the corridor",
        unit="1",
        family=FAMILY,
        meaning="Stretches outside the corridor, with hysteresis; shorter than 1 mm and 50 ms "
        "is ignored.",
        source="MEASURES 3",
        function=lambda w: float(len(w.departures)),
        needs=CORRIDOR,
        better="low",
        decimals=0,
    ),
    length_measure(
        "departure_length",
        "Length drawn outside the corridor",
        "Length of trace outside the corridor, summed.",
        lambda w: float(sum(d.length_mm for d in w.departures)),
        needs=CORRIDOR,
    ),
    TrialMeasure(
        id="departure_duration",
        label="Time outside the corridor",
        unit="s",
        family=FAMILY,
        meaning="Time outside the corridor, summed.",
        source="MEASURES 3",
        function=_departure_s,
        needs=CORRIDOR | {"time", "clock"},
        better="low",
        decimals=2,
    ),
    length_measure(
        "departure_max",
        "Farthest beyond the corridor's edge",
        "Largest distance beyond the edge of the corridor.",
        lambda w: max((d.beyond_mm for d in w.departures), default=0.0),
        needs=CORRIDOR,
    ),
    TrialMeasure(
        id="completion",
        label="Share of the line drawn",
        unit="1",
        family=COVER,
        meaning="Covered share of the guide, laps counted once.",
        source="MEASURES 2",
        function=lambda w: w.completion,
        needs=SHAPE,
        better="high",
        decimals=2,
    ),
    length_measure(
        "start_error",
        "Distance from the start target",
        "Distance of the completing attempt's first sample from the start target's centre.",
        _start_error,
        family=COVER,
        needs=SHAPE | {"asked_way"},
    ),
    length_measure(
        "stop_error",
        "Distance from the stop target",
        "Distance of the last sample from the stop target's centre.",
        _stop_error,
        family=COVER,
        needs=SHAPE | {"asked_way"},
    ),
    length_measure(
        "overshoot",
        "Travel past the stop",
        "Travel past the stop target along its tangent; along the guide if it is closed.",
        _overshoot,
        family=COVER,
        needs=SHAPE | {"asked_way"},
    ),
    length_measure(
        "closure_error",
        "Gap where the shape should close",
        "Distance from first to last sample of a closed guide.",
        _closure,
        family=COVER,
        needs=DEVIATION | {"closed"},
    ),
)
