"""Closed-form values of time, speed and pauses, at 60, 120 and 240 Hz with jittered times."""

import numpy as np
import pytest
from scipy.signal import butter, savgol_filter, sosfreqz
from scipy.special import ellipe

from analysis import filtering
from analysis.guide import Guide
from analysis.registry import measure_all
from analysis.trace import FloatArray, Trace
from analysis.trial import Mark
from analysis.value import Value
from analysis.workings import Workings
from tests.checked import checks
from tests.known import RATES_HZ, jittered_times, trial

rates = pytest.mark.parametrize("rate_hz", RATES_HZ)
LINE = Guide.from_points([[0, 0], [200, 0]], corridor_mm=12)


def values(xy_mm: FloatArray, t_s: FloatArray, **more: object) -> dict[str, Value]:
    return measure_all(Workings(trial(LINE, xy_mm, t_s, **more)))  # type: ignore[arg-type]


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value


def along(x_mm: FloatArray) -> FloatArray:
    return np.column_stack([x_mm, 0 * x_mm])


def minimum_jerk(u: FloatArray) -> FloatArray:
    u = np.clip(u, 0, 1)
    return 10 * u**3 - 15 * u**4 + 6 * u**5


@rates
def test_gain_of_both_passes_at_the_cutoff(rate_hz: float) -> None:
    fd_hz = filtering.corrected_cutoff_hz(10, rate_hz, 2)
    sections = butter(2, fd_hz, fs=rate_hz, output="sos")
    _, gain = sosfreqz(sections, worN=[10.0], fs=rate_hz)
    assert abs(gain[0]) ** 2 == pytest.approx(np.sqrt(0.5), abs=1e-6)  # [C]


@pytest.mark.parametrize(("f_hz", "gain"), [(5.0, 0.9764), (20.0, 0.1007)])
def test_gain_beside_the_cutoff_is_measured_on_a_sine(f_hz: float, gain: float) -> None:
    t_s = np.arange(0, 6, 1 / 120)
    wave = np.column_stack([np.sin(2 * np.pi * f_hz * t_s), 0 * t_s])
    smooth = filtering.low_passed(wave, 120)[180:-180]
    assert np.sqrt(2 * (smooth[:, 0] ** 2).mean()) == pytest.approx(gain, abs=1e-3)  # [C]


def test_filtered_speed_agrees_with_savitzky_golay_on_a_cubic() -> None:
    t_s = np.arange(0, 3, 1 / 240)
    x_mm = 2 * t_s**3 - 4 * t_s
    pieces = filtering.filtered_pieces(
        Trace(xy_mm=along(x_mm), t_s=t_s, stroke=np.zeros(len(t_s), dtype=int))
    ).pieces
    step_s = pieces[0].t_s[1] - pieces[0].t_s[0]
    other = np.abs(savgol_filter(pieces[0].xy_mm[:, 0], 9, 3, deriv=1, delta=step_s))
    assert pieces[0].speed_mm_s[40:-40] == pytest.approx(other[40:-40], abs=1e-3)  # [X]


@rates
def test_constant_velocity_survives_jittered_times(rate_hz: float) -> None:
    t_s = jittered_times(4.0, rate_hz, np.random.default_rng(2))
    made = filtering.filtered_pieces(
        Trace(xy_mm=along(30 * t_s), t_s=t_s, stroke=np.zeros(len(t_s), dtype=int))
    )
    assert np.abs(made.pieces[0].speed_mm_s[10:-10] - 30).max() < 1e-6  # [C]


@checks(
    "C",
    "minimum-jerk reach, Flash & Hogan 1985 (from memory): peak 1.875 of the mean",
    "speed_max",
    "speed_mean",
    "duration",
)
@rates
def test_minimum_jerk_reach_peaks_at_1_875_times_its_mean(rate_hz: float) -> None:
    t_s = jittered_times(2.0, rate_hz, np.random.default_rng(3))
    found = values(along(200 * minimum_jerk(t_s / 2)), t_s)
    assert number(found, "speed_max") / number(found, "speed_mean") == pytest.approx(
        1.875, rel=5e-3
    )  # [C] 1.8750 clean, the filter and jitter within 0.5 %
    assert number(found, "speed_mean") == pytest.approx(100.0, rel=1e-3)  # [C]
    assert number(found, "duration") == pytest.approx(2.0)  # [C]


@checks("C", "end-to-end minimum-jerk reaches: one peak each", "speed_peaks_per_cm")
@pytest.mark.parametrize("rate_hz", [60, 120, 240])
@pytest.mark.parametrize("reaches", [1, 3, 6])
def test_every_reach_is_one_speed_peak(rate_hz: float, reaches: int) -> None:
    t_s = jittered_times(0.5 * reaches, rate_hz, np.random.default_rng(8))
    u = t_s / 0.5
    step = np.minimum(np.floor(u), reaches - 1)
    x_mm = 15 * (step + minimum_jerk(u - step))
    xy_mm = along(x_mm) + np.random.default_rng(9).normal(0, 0.01, (len(t_s), 2))
    guide = Guide.from_points([[0, 0], [15.0 * reaches, 0]], corridor_mm=12)
    found = measure_all(Workings(trial(guide, xy_mm, t_s)))
    per_cm = number(found, "speed_peaks_per_cm")
    assert per_cm * 1.5 * reaches == pytest.approx(reaches, rel=0.01)  # [C] counts


@checks(
    "C",
    "constant speed with one stop, less what the filter takes",
    "pause_count",
    "pause_time",
    "pause_count_2s",
)
@rates
@pytest.mark.parametrize("still_s", [0.3, 0.4, 1.0])
def test_a_stop_is_one_pause_of_its_length(rate_hz: float, still_s: float) -> None:
    t_s = jittered_times(4.0 + still_s, rate_hz, np.random.default_rng(12))
    x_mm = 30 * (np.minimum(t_s, 2.0) + np.maximum(0, t_s - 2.0 - still_s))
    xy_mm = along(x_mm) + np.random.default_rng(1).normal(0, 0.03, (len(t_s), 2))
    found = values(xy_mm, t_s)
    assert number(found, "pause_count") == 1  # [C]
    # The filter takes 0.025 to 0.03 s from the stop at 30 mm/s.
    assert number(found, "pause_time") == pytest.approx(still_s - 0.028, abs=0.02)  # [C]
    assert number(found, "pause_count_2s") == 0


@checks("C", "a gap of 1 s without movement", "pause_count", "pause_time")
@rates
def test_a_resting_pen_that_reports_nothing_is_a_pause(rate_hz: float) -> None:
    before, after = np.arange(0, 2, 1 / rate_hz), np.arange(3, 5, 1 / rate_hz)
    t_s = np.concatenate([before, after])
    x_mm = np.concatenate([20 * before, 40 + 20 * (after - 3)])
    found = values(along(x_mm), t_s)
    assert number(found, "pause_count") == 1
    assert number(found, "pause_time") == pytest.approx(1.0, abs=0.06)  # [C]


@checks(
    "C",
    "two strokes of 2 s at 50 mm/s with 1 s between them",
    "initiation_time",
    "duration",
    "pen_down_time",
    "in_air_time",
    "lift_count",
    "start_dwell",
    "moving_time",
    "path_length_ratio",
    "speed_mean_moving",
    "speed_p99",
)
@rates
def test_times_of_lifts_and_starting(rate_hz: float) -> None:
    first, second = 1.5 + np.arange(0, 2, 1 / rate_hz), 4.5 + np.arange(0, 2, 1 / rate_hz)
    t_s = np.concatenate([first, second])
    x_mm = np.concatenate([50 * (first - 1.5), 100 + 50 * (second - 4.5)])
    stroke = np.repeat([0, 1], [len(first), len(second)])
    found = values(along(x_mm), t_s, stroke=stroke, cue_s=0.5)
    last = 1 / rate_hz
    assert number(found, "initiation_time") == pytest.approx(1.0)  # [C]
    assert number(found, "duration") == pytest.approx(5.0 - last)  # [C]
    assert number(found, "pen_down_time") == pytest.approx(4.0 - 2 * last)  # [C]
    assert number(found, "in_air_time") == pytest.approx(1.0 + last)  # [C]
    assert number(found, "lift_count") == 1  # [C]
    assert number(found, "start_dwell") == pytest.approx(0.04, abs=1e-9)  # [C] 2 mm at 50 mm/s
    assert number(found, "moving_time") == pytest.approx(number(found, "pen_down_time"))  # [C]
    assert number(found, "path_length_ratio") == pytest.approx(1.0, abs=0.01)  # [C]
    assert number(found, "speed_mean_moving") == pytest.approx(50.0, rel=0.01)  # [C]
    assert number(found, "speed_p99") == pytest.approx(50.0, rel=0.01)  # [C]


@checks("C", "25 + 10 sin: (10/sqrt 2)/25", "speed_cv")
@rates
def test_unevenness_of_a_sinusoidal_speed(rate_hz: float) -> None:
    t_s = jittered_times(8.0, rate_hz, np.random.default_rng(6))
    # v = 25 + 10 sin(2πt/2): SD/mean = (10/√2)/25. [C]
    x_mm = 25 * t_s + 10 / np.pi * (1 - np.cos(np.pi * t_s))
    found = values(along(x_mm), t_s)
    assert number(found, "speed_cv") == pytest.approx(10 / np.sqrt(2) / 25, rel=0.02)


@checks("C", "circumference of an ellipse: complete elliptic integral", "speed_mean")
@rates
def test_ellipse_has_its_closed_form_mean_speed(rate_hz: float) -> None:
    t_s = jittered_times(4.0, rate_hz, np.random.default_rng(7))
    xy_mm = np.column_stack([40 * np.cos(np.pi * t_s), 20 * np.sin(np.pi * t_s)])
    guide = Guide.from_points(xy_mm[t_s < 2.0 - 1 / rate_hz], closed=True, corridor_mm=12)
    found = measure_all(Workings(trial(guide, xy_mm, t_s)))
    truth_mm_s = 4 * 40 * ellipe(1 - 0.25) / 2
    assert truth_mm_s == pytest.approx(96.8845, abs=1e-3)  # [C]
    assert number(found, "speed_mean") == pytest.approx(truth_mm_s, rel=5e-3)


@checks("C", "speed rising evenly from 10 to 110 mm/s: its quantiles", "speed_p99", "speed_max")
@checks("C", "speed rising evenly from 10 to 110 mm/s: SD/mean of it", "speed_cv", "speed_mean")
@rates
def test_evenly_rising_speed_has_even_quantiles(rate_hz: float) -> None:
    t_s = jittered_times(3.0, rate_hz, np.random.default_rng(15))
    found = values(along(10 * t_s + 100 / 3 * t_s**2 / 2), t_s)
    assert number(found, "speed_p99") == pytest.approx(109.0, abs=0.5)  # [C]
    assert number(found, "speed_max") == pytest.approx(110.0, abs=0.5)  # [C]
    assert number(found, "speed_mean") == pytest.approx(60.0, rel=2e-3)  # [C]
    assert number(found, "speed_cv") == pytest.approx(100 / np.sqrt(12) / 60, rel=0.01)  # [C]


@checks(
    "C",
    "0.8 s at rest, then 30 mm/s with stops of 2.5 s and 1 s",
    "moving_time",
    "start_dwell",
    "pause_count",
    "pause_count_2s",
    "pause_time",
    "speed_mean",
    "speed_mean_moving",
    "path_length",
)
@rates
def test_rests_are_told_from_movement(rate_hz: float) -> None:
    t_s = jittered_times(9.3, rate_hz, np.random.default_rng(16))
    x_mm = np.interp(t_s, [0, 0.8, 2.8, 5.3, 6.8, 7.8, 9.3], [0, 0, 60, 60, 105, 105, 150])
    found = values(along(x_mm), t_s)
    eaten_s = 0.028  # what the filter takes from a stop at 30 mm/s
    assert number(found, "start_dwell") == pytest.approx(0.8 + 2 / 30, abs=1e-9)  # [C]
    assert number(found, "pause_count") == 2  # [C]
    assert number(found, "pause_count_2s") == 1  # [C]
    assert number(found, "pause_time") == pytest.approx(3.5 - 2 * eaten_s, abs=0.03)  # [C]
    # Moving for 5 s, and what the filter takes from two stops and from the rest before. [C]
    assert number(found, "moving_time") == pytest.approx(5.0 + 2.5 * eaten_s, abs=0.04)
    # The filter overshoots each of five sudden changes of speed by less than 0.1 mm.
    assert number(found, "path_length") == pytest.approx(150.0, abs=0.5)  # [C]
    assert number(found, "speed_mean") == pytest.approx(150 / 9.3, abs=0.5 / 9.3)  # [C]
    # A stop takes and gives a ramp of two filter times at either side of it.
    assert number(found, "speed_mean_moving") == pytest.approx(30.0, rel=0.03)  # [C]


@checks(
    "C",
    "three strokes of 1 s with 0.5 s and 0.25 s between them, and one touch of 8 ms",
    "lift_count",
    "in_air_time",
    "pen_down_time",
    "duration",
    "initiation_time",
)
def test_a_touch_of_a_few_milliseconds_is_no_stroke() -> None:
    parts = [np.linspace(a, a + 1, 241) for a in (0.3, 1.8, 3.05)]
    touch = np.array([1.5, 1.504, 1.508])
    t_s = np.concatenate([parts[0], touch, parts[1], parts[2]])
    x_mm = np.concatenate(
        [40 * (parts[0] - 0.3), [45, 45.1, 45], *(40 * (p - 0.3) for p in parts[1:])]
    )
    stroke = np.repeat([0, 1, 2, 3], [241, 3, 241, 241])
    found = values(along(x_mm), t_s, stroke=stroke)
    assert number(found, "lift_count") == 2  # [C]
    assert number(found, "in_air_time") == pytest.approx(0.75)  # [C]
    assert number(found, "pen_down_time") == pytest.approx(3.0)  # [C]
    assert number(found, "duration") == pytest.approx(3.75)  # [C]
    assert number(found, "initiation_time") == pytest.approx(0.3)  # [C] no signal: when shown


@pytest.mark.parametrize("cue_s", [None, 2.5])
def test_time_before_starting_is_not_counted_from_first_sight_when_a_signal_was_awaited(
    cue_s: float | None,
) -> None:
    t_s = 0.4 + np.arange(0, 2, 1 / 120)
    xy_mm = along(50 * (t_s - 0.4))
    early = (Mark(0.4, "touched_before_go"),)
    found = values(xy_mm, t_s, marks=early, cue_s=cue_s)
    assert found["initiation_time"] == Value(None, "no_time")
    # Whatever else is timed begins with the contact.
    assert number(found, "duration") == pytest.approx(2.0 - 1 / 120)  # [C]
    other = values(xy_mm, t_s, marks=(Mark(0.4, "strip_opened"),))
    assert number(other, "initiation_time") == pytest.approx(0.4)  # [C]


@checks("C", "a wave of known arc length beside a line", "path_length_ratio")
@rates
def test_length_drawn_against_length_covered_of_a_zigzag(rate_hz: float) -> None:
    t_s = jittered_times(6.0, rate_hz, np.random.default_rng(17))
    # Out to 150 mm, back to 75 mm, on to 200 mm: 350 mm drawn on 200 mm covered.
    x_mm = np.interp(t_s, [0, 2.4, 3.7, 6], [0, 150, 75, 200])
    found = values(along(x_mm), t_s)
    assert number(found, "path_length_ratio") == pytest.approx(350 / 200, rel=0.01)  # [C]


@pytest.mark.parametrize(
    ("change", "name", "reason"),
    [
        ("slow", "speed_mean", "rate_too_low"),
        ("back", "pause_count", "time_not_monotone"),
        ("gap", "speed_mean", "gap_too_long"),
        ("none", "duration", "no_time"),
    ],
)
def test_speed_is_refused_with_the_right_reason(change: str, name: str, reason: str) -> None:
    rate_hz = 20 if change == "slow" else 120
    t_s = np.arange(0, 4, 1 / rate_hz)
    xy_mm = along(50 * t_s)
    if change == "back":
        t_s = t_s.copy()
        t_s[200:] -= 0.5
    if change == "gap":
        keep = (t_s < 1) | (t_s > 2)
        t_s, xy_mm = t_s[keep], xy_mm[keep]
    found = measure_all(Workings(trial(LINE, xy_mm, None if change == "none" else t_s)))
    assert found[name].reason == reason
    assert found["completion"].number is not None or change == "slow"
