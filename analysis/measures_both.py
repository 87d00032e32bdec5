"""Measures of two hands at once."""

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis import both_hands, deviation
from analysis.measure import TrialMeasure
from analysis.needs import DEVIATION, HANDS, HOLD, TOGETHER, unmet
from analysis.relative_phase import relative_phase
from analysis.value import Refused
from analysis.workings import Workings

FAMILY = "Two hands"
PROGRESS = (
    "s is each contact's progress along its own part of the guide, on one 120 Hz grid, low-passed "
    "as for speed stroke by stroke; lifts and leaps along the guide are left out. "
)
ASKED = "The device tells two contacts apart, not two hands: which hand made which is asked. "


def _deviation_mm(w: Workings) -> float:
    reason = unmet(w, DEVIATION)
    if reason is not None:
        raise Refused(reason)
    return deviation.mean_abs_mm(w.profile)


def _deviation_difference(w: Workings) -> float:
    first, second = (_deviation_mm(contact.workings) for contact in w.contacts)
    return second - first


def _together(w: Workings) -> both_hands.Together:
    if isinstance(w.together, Refused):
        raise Refused(w.together.code)
    return w.together


def _lag(w: Workings) -> float:
    return both_hands.progress_lag_s(_together(w))


def _correlation(w: Workings) -> float:
    return both_hands.progress_correlation(_together(w))


def _phase_mean(w: Workings) -> float:
    return relative_phase(w, _together(w)).mean_deg


def _phase_sd(w: Workings) -> float:
    return relative_phase(w, _together(w)).sd_deg


def _hold_drift(w: Workings) -> float:
    xy_mm = both_hands.holding(w).trace.xy_mm
    return float(np.hypot(*(xy_mm - xy_mm[0]).T).max())


def _hold_lifts(w: Workings) -> float:
    return float(len(both_hands.holding(w).strokes_mm) - 1)


def _both(
    id_: str, label: str, meaning: str, function: Callable[[Workings], float], **more: Any
) -> TrialMeasure:
    fields: dict[str, Any] = {"family": FAMILY, "modes": frozenset({"both"}), "decimals": 2}
    fields |= {"needs": TOGETHER, "better": "near", "near": 0.0} | more
    fields = {"source": "Linnet convention"} | fields
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **fields)


PHASE = (
    PROGRESS + "Swing: position of the guide at s on the page axis on which it swings most, about "
    "the middle line of its extremes; a mirrored part is turned over. Phase: Hilbert transform of "
    "the swing over the longest stretch with both down, cut to whole cycles of contact 0. "
)
PHASE_EDGES = (
    "Two closed parts, or two that swing three times or more (guide_lacks_feature); each contact "
    "must draw three cycles, the ends being uncertain by half a one (too_little_traced). A lift "
    "shortens the stretch. Uneven drawing within a cycle bends the phase of both alike. "
)

BOTH_MEASURES: tuple[TrialMeasure, ...] = (
    _both(
        "both_deviation_difference",
        "Difference of distance from the line",
        "Mean distance from the line of contact 1 less that of contact 0, each on its own part.",
        _deviation_difference,
        unit="mm",
        needs=HANDS,
        decimals=1,
        formula="deviation_mean_abs of contact 1 less that of contact 0, each aligned to the part "
        "of its own number.",
        edges=ASKED + "Each contact must cover a quarter of its part.",
    ),
    _both(
        "both_progress_lag",
        "How far contact 1 is behind",
        "Time by which the progress of contact 1 follows that of contact 0; negative if it leads.",
        _lag,
        unit="s",
        refuses=frozenset({"zero_variance", "not_alike"}),
        formula=PROGRESS + "Lag within 1 s either way at the highest peak of the correlation of "
        "ds/dt of contact 0 at t with that of contact 1 at t + lag (pairs known at both; at least "
        "half of those at lag 0); of peaks equal within 0.02 the one nearest 0; parabola between "
        "grid places.",
        edges="not_alike if no peak inside 1 s reaches 0.3. Drawing that speeds up and slows down "
        "regularly repeats its peaks: a lag beyond half a period reads as the shorter one. Needs "
        "1 s with both down. " + ASKED,
    ),
    _both(
        "both_progress_correlation",
        "How alike the hands speed up and slow down",
        "Correlation of the speeds of progress of the two contacts at the same time.",
        _correlation,
        unit="1",
        better="high",
        near=None,
        refuses=frozenset({"zero_variance"}),
        formula=PROGRESS + "Pearson correlation of ds/dt of the two over all times with both down.",
        edges="Starting and stopping together alone gives a high value in a short trial; two "
        "steady hands have little to correlate and may read near 0. Needs 1 s with both down.",
    ),
    _both(
        "both_relative_phase_mean",
        "Mean phase between the hands",
        "How far apart in their cycle the two contacts are on average; 0 is mirror drawing.",
        _phase_mean,
        unit="deg",
        decimals=0,
        needs=TOGETHER | {"cyclic"},
        refuses=frozenset({"too_little_traced", "not_alike"}),
        source="Kelso 1984, Am. J. Physiol. 246:R1000; Fisher 1993, Statistical Analysis of "
        "Circular Data (from memory)",
        formula=PHASE + "Argument of the mean of exp(i (phase 0 - phase 1)), -180 to 180; positive "
        "if contact 1 is behind.",
        edges=PHASE_EDGES + "Means little when the SD is large.",
    ),
    _both(
        "both_relative_phase_sd",
        "Unsteadiness of the phase between the hands",
        "How much the phase between the two contacts wanders.",
        _phase_sd,
        unit="deg",
        decimals=0,
        better="low",
        near=None,
        needs=TOGETHER | {"cyclic"},
        refuses=frozenset({"too_little_traced", "not_alike"}),
        source="Kelso 1984, Am. J. Physiol. 246:R1000; Fisher 1993, Statistical Analysis of "
        "Circular Data (from memory)",
        formula=PHASE + "sqrt(-2 ln R), R the length of the mean of exp(i (phase 0 - phase 1)).",
        edges=PHASE_EDGES + "A slow drift of one hand against the other counts as wandering.",
    ),
    _both(
        "hold_drift",
        "Drift of the holding hand",
        "Largest distance of the holding contact from where it was put down.",
        _hold_drift,
        unit="mm",
        decimals=1,
        better="low",
        near=None,
        needs=HOLD,
        formula="Of two contacts and a guide of one part, the one with the smaller extent "
        "(diagonal of its bounding box) holds; max over its samples of |p - p_1|.",
        edges="One unfiltered sample: carries its noise. A hold taken up again elsewhere counts "
        "as drift. " + ASKED,
    ),
    _both(
        "hold_lift_count",
        "Lifts of the holding hand",
        "How often the holding contact was lifted and put down again.",
        _hold_lifts,
        unit="1",
        decimals=0,
        better="low",
        near=None,
        needs=HOLD,
        formula="Strokes of the holding contact (smaller extent) less one; contacts below 30 ms "
        "and 1 mm are sensor bounce.",
        edges="Given on an uncalibrated tablet too. " + ASKED,
    ),
)
