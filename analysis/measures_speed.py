"""Measures of the length drawn and of speed."""

from typing import Any

import numpy as np

from analysis.measure import JOINED_MODES, TrialMeasure
from analysis.measures_time import moving
from analysis.needs import DEVIATION, SPEED
from analysis.value import Refused
from analysis.workings import Workings

SPEEDS = "Speed"
FILTERED = (
    "Linnet convention; low-pass: Teulings & Maarse 1984, Hum. Mov. Sci. 3:193; its cut-off for "
    "two passes: Robertson & Dowling 2003, J. Electromyogr. Kinesiol. 13:569 (from memory)"
)
"""Source of measures made from filtered speed."""
SPEED_CURVE = (
    "v(t) is the size of the centred difference of position on an even 120 Hz grid (60 Hz below "
    "90 Hz raw), each stroke low-passed on its own: zero-phase Butterworth, order 2 per pass, -3 "
    "dB at 10 Hz in all. "
)


def _covered_mm(w: Workings) -> float:
    if w.alignment is None:
        raise Refused("no_guide")
    covered_mm = w.alignment.completion * w.alignment.guide.length_mm
    if covered_mm <= 0:
        raise Refused("too_little_traced")
    return covered_mm


def _speed_cv(w: Workings) -> float:
    speed_mm_s = moving(w).moving_speed_mm_s
    if speed_mm_s.mean() <= 0:
        raise Refused("zero_variance")
    return float(speed_mm_s.std() / speed_mm_s.mean())


def _peaks_per_cm(w: Workings) -> float:
    count = moving(w).speed_peak_count
    if count is None:
        raise Refused("too_few_samples")
    return count / (_covered_mm(w) / 10.0)


def _speed(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"unit": "mm/s", "family": SPEEDS, "needs": SPEED}
    fields |= {"source": FILTERED} | more
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **fields)


SPEED_MEASURES: tuple[TrialMeasure, ...] = (
    _speed(
        "path_length",
        "Length drawn",
        "Length of the filtered trace with the pen down.",
        lambda w: moving(w).path_length_mm,
        unit="mm",
        formula="Sum of the distances between neighbouring points of the even 120 Hz grid (60 Hz "
        "below 90 Hz raw), each stroke low-passed on its own: zero-phase Butterworth, order 2 per "
        "pass, -3 dB at 10 Hz in all.",
        edges="Filtered, so that noise adds little; sharp corners drawn without slowing are "
        "cut a little. Time in the air adds nothing.",
    ),
    _speed(
        "path_length_ratio",
        "Length drawn against length covered",
        "Length of the filtered trace over the covered length of the guide.",
        lambda w: moving(w).path_length_mm / _covered_mm(w),
        unit="1",
        better="near",
        near=1.0,
        needs=SPEED | DEVIATION,
        decimals=2,
        modes=JOINED_MODES,
        formula="path_length over the covered length of the guide (the union in completion).",
        edges="Above 1 for waves, retracing and laps; below 1 where corners are cut.",
    ),
    _speed(
        "speed_mean",
        "Mean speed",
        "Length drawn over pen-down time, pauses included.",
        lambda w: moving(w).path_length_mm / moving(w).pen_down_s,
        formula="path_length / pen_down_time.",
        edges="Depends on the guide's shape: compare on the same guide only.",
    ),
    _speed(
        "speed_mean_moving",
        "Mean speed while moving",
        "Mean filtered speed outside pauses and the slow part of the start.",
        lambda w: float(moving(w).moving_speed_mm_s.mean()),
        needs=SPEED | {"moving"},
        formula=SPEED_CURVE + "Mean of v outside pauses (see pause_count), and outside runs of "
        "the same kind in the start dwell up to its end: over moving_time.",
        edges="Compare on the same guide only. The slowing into and out of a pause stays in.",
        revision=2,
    ),
    _speed(
        "speed_p99",
        "Speed not exceeded 99 % of the time",
        "99th percentile of the filtered speed.",
        lambda w: float(np.quantile(moving(w).speed_mm_s, 0.99)),
        formula=SPEED_CURVE + "99th percentile of v over all strokes, linear between order "
        "statistics.",
        edges="Steadier than speed_max. Noise of 0.05 mm lifts a slow movement by about 1 mm/s.",
    ),
    _speed(
        "speed_max",
        "Largest speed",
        "Largest filtered speed; led by noise.",
        lambda w: float(moving(w).speed_mm_s.max()),
        formula=SPEED_CURVE + "max v.",
        edges="Rests on one moment: led by noise and by stray contacts; prefer speed_p99.",
    ),
    _speed(
        "speed_cv",
        "Unevenness of speed",
        "Standard deviation over mean of the speed while moving.",
        _speed_cv,
        unit="1",
        better="low",
        needs=SPEED | {"moving_twice"},
        refuses=frozenset({"zero_variance"}),
        decimals=2,
        formula=SPEED_CURVE + "Standard deviation (over n) / mean of v over moving_time, as "
        "speed_mean_moving.",
        edges="Bends slow a hand, so it depends on the guide. Noise and short strokes raise it.",
        revision=2,
    ),
    _speed(
        "speed_peaks_per_cm",
        "Speed peaks per centimetre",
        "Peaks of speed that stand out by 5 % of P95 speed or 2 mm/s, at least 100 ms apart, "
        "over the covered length.",
        _peaks_per_cm,
        unit="cm-1",
        better="low",
        needs=SPEED | DEVIATION | {"rate_peaks", "long_strokes"},
        decimals=2,
        revision=2,
        source=FILTERED + "; fluency from velocity maxima: Front. Psychol. 2021, 663829",
        modes=JOINED_MODES,
        formula=SPEED_CURVE
        + "Local maxima of a speed made in the same way, but low-passed at 6 Hz "
        "(order 4 per pass), padded by 0 at both ends of each piece of at least 0.5 s, with "
        "prominence >= max(0.05 P95(v), 2 mm/s) and >= 100 ms apart, over the covered length of "
        "the guide (the union in completion) in cm.",
        edges="Noise of 0.1 mm adds a peak to about 3 % of lines of 1 to 6 movements, noise of "
        "0.05 mm to none, at 60 to 240 Hz; slow drawing has more, and at 60 Hz so many that noise "
        "of 0.1 mm or positions in whole pixels hide what children differ by. "
        "Movements that follow each other faster than about 5 times a second run together. A "
        "smooth stroke is one peak, so short lines have more of them a centimetre. "
        "Peaks off the line count too.",
    ),
)
