"""Measures of time, speed, pauses and lifts (MEASURES 4)."""

from typing import Any

import numpy as np

from analysis.kinematics import Kinematics
from analysis.measure import TIMED_MODES, TrialMeasure
from analysis.needs import DEVIATION, SHAPE, SPEED, TIMED
from analysis.pauses import LONG_PAUSE_S
from analysis.value import Refused
from analysis.workings import Workings

TIME = "Time"
SPEEDS = "Speed"
PAUSES = "Pauses and lifts"


def _moving(w: Workings) -> Kinematics:
    if w.kinematics is None:
        raise Refused("no_time")
    return w.kinematics


def _paced(w: Workings) -> Kinematics:
    """Kinematics with at least one even piece."""
    found = _moving(w)
    if not found.pieces:
        raise Refused("too_few_samples")
    return found


def _covered_mm(w: Workings) -> float:
    if w.alignment is None:
        raise Refused("no_guide")
    covered_mm = w.alignment.completion * w.alignment.guide.length_mm
    if covered_mm <= 0:
        raise Refused("too_little_traced")
    return covered_mm


def _initiation(w: Workings) -> float:
    return _moving(w).stroke_times_s[0][0] - (w.trial.cue_s or 0.0)


def _start_dwell(w: Workings) -> float:
    dwell_s = _moving(w).start_dwell_s
    if dwell_s is None:
        raise Refused("too_little_traced")
    return dwell_s


def _mean_speed(w: Workings) -> float:
    found = _paced(w)
    return found.path_length_mm / found.pen_down_s


def _mean_moving(w: Workings) -> float:
    moving = _paced(w).moving_speed_mm_s
    if len(moving) == 0:
        raise Refused("too_few_samples")
    return float(moving.mean())


def _speed_cv(w: Workings) -> float:
    moving = _paced(w).moving_speed_mm_s
    if len(moving) < 2:
        raise Refused("too_few_samples")
    if moving.mean() <= 0:
        raise Refused("zero_variance")
    return float(moving.std() / moving.mean())


def _peaks_per_cm(w: Workings) -> float:
    count = _paced(w).speed_peak_count
    if count is None:
        raise Refused("too_few_samples")
    return count / (_covered_mm(w) / 10.0)


def _seconds(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"family": TIME, "needs": TIMED, "modes": TIMED_MODES, "decimals": 2}
    fields |= {"source": "MEASURES 4"} | more
    return TrialMeasure(id=id_, label=label, unit="s", meaning=meaning, function=function, **fields)


def _speed(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"unit": "mm/s", "family": SPEEDS, "needs": SPEED}
    fields |= {"source": "MEASURES 4"} | more
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **fields)


def _count(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"family": PAUSES, "better": "low", "decimals": 0}
    fields |= {"source": "MEASURES 4"} | more
    return TrialMeasure(id=id_, label=label, unit="1", meaning=meaning, function=function, **fields)


TIME_MEASURES: tuple[TrialMeasure, ...] = (
    _seconds(
        "initiation_time",
        "Time before starting",
        "From the go signal, or from the guide being shown, to the first contact.",
        _initiation,
    ),
    _seconds(
        "start_dwell",
        "Time resting at the start",
        "From the first contact until the pen is 2 mm away from it.",
        _start_dwell,
    ),
    _seconds(
        "duration",
        "Time from first contact to last lift",
        "From the first contact to the last lift.",
        lambda w: _moving(w).duration_s,
    ),
    _seconds(
        "pen_down_time",
        "Time with the pen down",
        "Sum of the times of all strokes.",
        lambda w: _moving(w).pen_down_s,
    ),
    _seconds(
        "moving_time",
        "Time moving",
        "Pen-down time less pauses and less slow runs inside the start dwell.",
        lambda w: _paced(w).moving_s,
        needs=SPEED,
    ),
    _speed(
        "path_length",
        "Length drawn",
        "Length of the filtered trace with the pen down.",
        lambda w: _paced(w).path_length_mm,
        unit="mm",
    ),
    _speed(
        "path_length_ratio",
        "Length drawn against length covered",
        "Length of the filtered trace over the covered length of the guide.",
        lambda w: _paced(w).path_length_mm / _covered_mm(w),
        unit="1",
        better="near",
        near=1.0,
        needs=SPEED | DEVIATION,
        decimals=2,
    ),
    _speed(
        "speed_mean",
        "Mean speed",
        "Length drawn over pen-down time, pauses included.",
        _mean_speed,
    ),
    _speed(
        "speed_mean_moving",
        "Mean speed while moving",
        "Mean filtered speed outside slow runs of at least 0.2 s.",
        _mean_moving,
    ),
    _speed(
        "speed_p99",
        "Speed not exceeded 99 % of the time",
        "99th percentile of the filtered speed.",
        lambda w: float(np.quantile(_paced(w).speed_mm_s, 0.99)),
    ),
    _speed(
        "speed_max",
        "Largest speed",
        "Largest filtered speed; led by noise.",
        lambda w: float(_paced(w).speed_mm_s.max()),
    ),
    _speed(
        "speed_cv",
        "Unevenness of speed",
        "Standard deviation over mean of the speed while moving.",
        _speed_cv,
        unit="1",
        better="low",
        decimals=2,
    ),
    _speed(
        "speed_peaks_per_cm",
        "Speed peaks per centimetre",
        "Peaks of speed that stand out by 5 % of P95 speed or 2 mm/s, at least 100 ms apart, "
        "over the covered length.",
        _peaks_per_cm,
        unit="cm-1",
        better="low",
        needs=SPEED | SHAPE | {"rate_peaks"},
        decimals=2,
    ),
    _count(
        "pause_count",
        "Pauses",
        "Runs of at least 0.2 s below 5 mm/s with the pen down, after the movement began.",
        lambda w: float(len(_paced(w).pauses)),
        needs=SPEED,
    ),
    _count(
        "pause_count_2s",
        "Long pauses",
        "Pauses of at least 2 s.",
        lambda w: float(sum(p.duration_s >= LONG_PAUSE_S for p in _paced(w).pauses)),
        needs=SPEED,
    ),
    _seconds(
        "pause_time",
        "Time paused",
        "Time in pauses.",
        lambda w: _paced(w).pause_s,
        family=PAUSES,
        needs=SPEED,
        better="low",
        modes=frozenset({"trace", "cut"}),
    ),
    _count(
        "lift_count",
        "Pen lifts",
        "Strokes less one; contacts shorter than 30 ms and 1 mm are sensor bounce.",
        lambda w: float(len(w.strokes_mm) - 1),
        needs=frozenset({"samples"}),
    ),
    _seconds(
        "in_air_time",
        "Time in the air",
        "Sum of the times between the first and the last stroke with the pen up.",
        lambda w: _moving(w).in_air_s,
        family=PAUSES,
        better="low",
        source="MEASURES 4; Rosenblum, Parush & Weiss 2003",
    ),
)
