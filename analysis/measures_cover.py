"""Measures of how much of the line was drawn, and of where it began and ended."""

import numpy as np

from analysis import deviation
from analysis.measure import ALL_MODES, TrialMeasure
from analysis.measures_deviation import ALIGNED, alignment_of, length_measure
from analysis.needs import DEVIATION, SHAPE, TARGETS
from analysis.value import Refused
from analysis.workings import Workings

COVER = "How much was drawn"
END_MM = 10.0
"""Overshoot is looked for within this distance of the guide's end. [mm]"""


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


COVER_MEASURES: tuple[TrialMeasure, ...] = (
    TrialMeasure(
        id="completion",
        label="Share of the line drawn or dots met",
        unit="1",
        family=COVER,
        meaning="Covered share of the guide, laps counted once; of dots, the share contacted.",
        source=ALIGNED,
        function=lambda w: w.completion,
        needs=TARGETS | {"hands_parts"},
        better="high",
        decimals=2,
        modes=ALL_MODES,
        formula="|union of [s_i, s_i+1]| / L over neighbouring samples of one stroke that do not "
        "leap along the guide (excess of more than 10 mm) and lie within max(15 mm, 3 hw) of it; "
        "on a closed guide s is taken modulo L. Tap, join: targets with a contact, or some of "
        "the line, within their radius, over all targets. Two hands: mean over the parts, by "
        "length, each with its own contact.",
        edges="Never above 1: laps and retracing count once. A short cut or a lift leaves a hole "
        "as long as what was skipped. Hardly touched by noise or sampling rate.",
    ),
    length_measure(
        "start_error",
        "Distance from the start target",
        "Distance of the completing attempt's first sample from the start target's centre.",
        _start_error,
        family=COVER,
        needs=SHAPE | {"asked_way"},
        source="Linnet convention",
        formula="|p_a - first point of the guide|; a is the first sample, or the last one after a "
        "lift at which progress fell by more than 5 mm to within max(10 mm, twice the start "
        "target's radius) of 0.",
        edges="One unfiltered sample: carries its noise. Begun again at the start, the last "
        "beginning counts.",
    ),
    length_measure(
        "stop_error",
        "Distance from the stop target",
        "Distance of the last sample from the stop target's centre.",
        _stop_error,
        family=COVER,
        needs=SHAPE | {"asked_way"},
        source="Linnet convention",
        formula="|p_n - last point of the guide|; p_n is the last sample with the pen down.",
        edges="One unfiltered sample: carries its noise. A line given up early reads as the "
        "distance still to go, as the crow flies. On a closed guide the stop is the start.",
    ),
    length_measure(
        "overshoot",
        "Travel past the stop",
        "Travel past the stop target along its tangent; along the guide if it is closed.",
        _overshoot,
        family=COVER,
        needs=SHAPE | {"asked_way"},
        source="Linnet convention",
        formula="Open guide: max(0, max (p_i - last point)·T_end) over samples with s_i >= L - 10 "
        "mm. Closed guide: max(0, max s_i - L), s unwrapped.",
        edges="0 when the stop was not reached. Led by single samples.",
    ),
    length_measure(
        "closure_error",
        "Gap where the shape should close",
        "Distance from first to last sample of a closed guide.",
        _closure,
        family=COVER,
        needs=DEVIATION | {"closed"},
        source="Linnet convention",
        formula="|p_n - p_1|, when at least 0.9 of the guide is covered.",
        edges="A line drawn on past its beginning is not closed either: it reads as the length "
        "drawn too far. Two samples: carries their noise.",
    ),
)
