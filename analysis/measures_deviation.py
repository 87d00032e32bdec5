"""Measures of distance from the line.

Progress and signed distance come from the alignment; every millimetre of the guide counts
once, at its first drawn passage (`analysis.profile`).
"""

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis import deviation
from analysis.alignment import Alignment
from analysis.measure import JOINED_MODES, LINE_MODES, TrialMeasure
from analysis.needs import CORRIDOR, DEVIATION
from analysis.value import Refused
from analysis.workings import Workings

FAMILY = "Distance from the line"
ALIGNED = "Linnet convention; alignment: Newson & Krumm 2009, ACM GIS (from memory)"
"""Source of measures that are defined here on the published way of matching a trace."""
PROFILE = (
    "d(s) is the signed distance at the first drawn passage over progress s, every 0.25 mm of "
    "guide, linear between; Lc the length over which it is known. "
)
DEPARTURE = (
    "A departure begins where |d| > hw and ends where |d| <= hw - max(0.2 mm, 0.1 hw), at a lift "
    "or at the end; those shorter than 1 mm of trace and than 50 ms are left out. "
)


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
    if w.trial.mode == "both":
        return w.over_parts(_own_corridor_share)
    width_mm = alignment_of(w).guide.half_width_at(w.profile.s_mm)
    if not alignment_of(w).guide.closed:
        return deviation.in_corridor_share(w.profile, width_mm)
    width_mm[-1] = width_mm[0]
    return deviation.in_corridor_share(w.profile, width_mm)


def _own_corridor_share(w: Workings) -> float:
    """Share of one of two contacts; one that covered nothing stayed outside. [1]"""
    try:
        return in_corridor_share(w)
    except Refused:
        return 0.0


def _departure_s(w: Workings) -> float:
    if w.trace.t_s is None:
        raise Refused("no_time")
    return sum((d.end_s or 0.0) - (d.start_s or 0.0) for d in w.departures)


def _time_weighted(w: Workings) -> float:
    return deviation.mean_abs_time_mm(w.trace, alignment_of(w).d_mm)


def length_measure(
    id_: str, label: str, meaning: str, function: Callable[[Workings], float], **more: Any
) -> TrialMeasure:
    """Return an entry in mm, lower better, unless said otherwise (see `TrialMeasure`)."""
    fields: dict[str, Any] = {"family": FAMILY, "needs": DEVIATION, "better": "low"}
    fields |= {"source": ALIGNED} | more
    return TrialMeasure(
        id=id_, label=label, unit="mm", meaning=meaning, function=function, **fields
    )


DEVIATION_MEASURES: tuple[TrialMeasure, ...] = (
    length_measure(
        "deviation_mean_abs",
        "Mean distance from the line",
        "Mean distance from the guide over its covered length, each millimetre counted once.",
        lambda w: deviation.mean_abs_mm(w.profile),
        modes=JOINED_MODES,
        formula=PROFILE + "(1/Lc) ∫ |d(s)| ds over the covered length.",
        edges="Skipped stretches are holes, not zeros. Pauses, pace, sampling rate and retracing "
        "have no weight. Noise does not cancel: on a line drawn exactly it reads as at most 0.8 of "
        "its standard deviation. A cut corner reads smaller than it looks (see corner_miss).",
    ),
    length_measure(
        "deviation_rms",
        "Root mean square distance",
        "Root mean square distance from the guide over its covered length.",
        lambda w: deviation.rms_mm(w.profile),
        modes=JOINED_MODES,
        formula=PROFILE + "sqrt((1/Lc) ∫ d(s)² ds).",
        edges="As deviation_mean_abs, but far excursions weigh more. deviation_rms² less "
        "deviation_bias² is the variance about the child's own line.",
    ),
    length_measure(
        "deviation_bias",
        "Left or right of travel",
        "Mean signed distance from the guide; positive to the left of travel.",
        lambda w: deviation.bias_mm(w.profile),
        better="near",
        near=0.0,
        modes=JOINED_MODES,
        formula=PROFILE + "(1/Lc) ∫ d(s) ds; d is positive to the left of travel as the child sees "
        "it, (p - foot)·(Ty, -Tx) with y down the page and T the unit tangent of travel.",
        edges="A line drawn the other way keeps the sign convention of the direction travelled. "
        "Excursions to both sides cancel; noise averages out.",
        revision=2,
    ),
    length_measure(
        "deviation_bias_outward",
        "Outside or inside the shape",
        "Mean signed distance from a closed guide; positive outside.",
        _outward,
        better="near",
        near=0.0,
        needs=DEVIATION | {"closed", "simple"},
        formula="deviation_bias, times +1 where the left of travel is outside the shape, else -1.",
        edges="The same whichever way the shape was drawn. On a curve the profile is weighted by "
        "length of guide, not of trace: a circle moved sideways by e has a small negative value.",
        revision=2,
    ),
    length_measure(
        "deviation_p95",
        "Distance not exceeded on 95 % of the line",
        "95th percentile, by length of guide, of the distance from it.",
        lambda w: deviation.p95_mm(w.profile),
        modes=JOINED_MODES,
        formula=PROFILE + "95th percentile of |d(s)| over the covered places, linear between order "
        "statistics.",
        edges="On a short guide it is close to deviation_max. Noise on a line drawn "
        "exactly reads as about 2 of its standard deviations.",
    ),
    length_measure(
        "deviation_max",
        "Largest distance from the line",
        "Largest distance from the guide of any sample with the pen down.",
        lambda w: float(np.abs(alignment_of(w).d_mm).max()),
        modes=JOINED_MODES,
        formula="max |d_i| over all samples i with the pen down, unfiltered, retraced and "
        "repeated passages included; d_i is the distance to the guide within 8 mm of the "
        "progress that the alignment gave the sample.",
        edges="Rests on one sample: led by noise and by a resting palm. A lower sampling rate "
        "can only lose the farthest point.",
    ),
    length_measure(
        "deviation_mean_abs_time",
        "Mean distance over time",
        "Mean distance from the guide over pen-down time; a pause counts for as long as it lasts.",
        _time_weighted,
        needs=DEVIATION | {"time", "steps", "clock"},
        modes=JOINED_MODES,
        formula="(1/T) ∫ |d(t)| dt over pen-down time T, by trapezoids between samples of one "
        "stroke.",
        edges="Where the child rested or drew slowly weighs more; compare with "
        "deviation_mean_abs. Time in the air has no weight.",
    ),
    TrialMeasure(
        id="in_corridor_share",
        label="Share of the line inside the corridor",
        unit="1",
        family=FAMILY,
        meaning="Share of the guide's whole length whose first passage is inside the corridor; "
        "what was skipped counts as outside.",
        source=ALIGNED,
        function=in_corridor_share,
        needs=CORRIDOR | {"hands_parts"},
        better="high",
        decimals=2,
        modes=LINE_MODES | {"both"},
        formula=PROFILE + "Length of guide with |d(s)| <= hw(s), over the whole length L; hw is "
        "half the corridor's full width, linear between vertices. Two hands: mean over the parts, "
        "by length, each with its own contact.",
        edges="The edge is crossed exactly, between places, so the sampling rate hardly matters. "
        "Given on an uncalibrated tablet too: guide and trace carry the same scale.",
    ),
    TrialMeasure(
        id="departure_count",
        label="Times outside the corridor",
        unit="1",
        family=FAMILY,
        meaning="Stretches outside the corridor, with hysteresis; shorter than 1 mm and 50 ms "
        "is ignored.",
        source=ALIGNED,
        function=lambda w: float(len(w.departures)),
        needs=CORRIDOR,
        better="low",
        decimals=0,
        formula=DEPARTURE + "Their number.",
        edges="Noise of up to a tenth of the half-width makes no second departure. Without times "
        "a departure shorter than 1 mm is ignored.",
    ),
    length_measure(
        "departure_length",
        "Length drawn outside the corridor",
        "Length of trace outside the corridor, summed.",
        lambda w: float(sum(d.length_mm for d in w.departures)),
        needs=CORRIDOR,
        formula=DEPARTURE + "Sum of the lengths of unfiltered trace between leaving and coming "
        "back, edges crossed by linear interpolation.",
        edges="Unfiltered: noise lengthens it, more so at a high sampling rate.",
    ),
    TrialMeasure(
        id="departure_duration",
        label="Time outside the corridor",
        unit="s",
        family=FAMILY,
        meaning="Time outside the corridor, summed.",
        source=ALIGNED,
        function=_departure_s,
        needs=CORRIDOR | {"time", "clock"},
        better="low",
        decimals=2,
        formula=DEPARTURE + "Sum of the times between leaving and coming back, edges crossed by "
        "linear interpolation.",
        edges="A pause outside counts for as long as it lasts; time in the air does not.",
    ),
    length_measure(
        "departure_max",
        "Farthest beyond the corridor's edge",
        "Largest distance beyond the edge of the corridor.",
        lambda w: max((d.beyond_mm for d in w.departures), default=0.0),
        needs=CORRIDOR,
        formula=DEPARTURE + "max(|d_i| - hw) over the samples of all of them; 0 without one.",
        edges="Rests on one sample: led by noise.",
    ),
)
