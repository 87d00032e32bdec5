"""Pressure against closed forms, at 60, 120 and 240 Hz with uneven times."""

import numpy as np
import pytest

from analysis.guide import Guide
from analysis.registry import measure_all
from analysis.trace import FloatArray
from analysis.trial import Device
from analysis.value import Value
from analysis.workings import Workings
from server.documents import read_trial
from tests.checked import checks
from tests.documents import put
from tests.known import RATES_HZ, jittered_times, trial

rates = pytest.mark.parametrize("rate_hz", RATES_HZ)
LINE = Guide.from_points([[0, 0], [200, 0]], corridor_mm=12)
PRESSURE = (
    "pressure_mean",
    "pressure_cv",
    "pressure_in_band_share",
    "pressure_drift",
    "pressure_peaks_per_s",
)
# Landing and lifting, left out of every stroke.
END_S = 0.05
BAND = (0.45, 0.55)


def pressed(
    t_s: FloatArray, pressure: FloatArray, speed_mm_s: float = 15, **more: object
) -> dict[str, Value]:
    xy_mm = np.column_stack([speed_mm_s * t_s, 0 * t_s])
    fields = {"pressure": pressure, "pressure_band": BAND} | more
    return measure_all(Workings(trial(LINE, xy_mm, t_s, **fields)))  # type: ignore[arg-type]


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value


def reasons(found: dict[str, Value]) -> set[str | None]:
    return {found[name].reason for name in PRESSURE}


def sine(t_s: FloatArray, f_hz: float = 1.0) -> FloatArray:
    # What is left after 50 ms at each end of a stroke holds whole waves.
    return 0.5 + 0.1 * np.sin(2 * np.pi * f_hz * (t_s - END_S))


@checks(
    "C",
    "p = 0.5 + 0.1 sin: mean 0.5, CV 0.1 / sqrt 2 / 0.5, share (2/pi) asin 0.5",
    "pressure_mean",
    "pressure_cv",
    "pressure_in_band_share",
)
@rates
def test_pressure_that_swings(rate_hz: float) -> None:
    t_s = jittered_times(10.1, rate_hz, np.random.default_rng(1))
    found = pressed(t_s, sine(t_s))
    assert number(found, "pressure_mean") == pytest.approx(0.5, abs=1e-3)  # [C]
    # Straight lines between samples up to 40 % early or late cut the tops at 60 Hz.
    assert number(found, "pressure_cv") == pytest.approx(0.141421, abs=5e-4)  # [C]
    assert number(found, "pressure_in_band_share") == pytest.approx(1 / 3, abs=1e-3)  # [C]


@checks("C", "a straight line crosses a band in proportion", "pressure_in_band_share")
@rates
def test_crossings_of_the_band_are_exact_between_samples(rate_hz: float) -> None:
    t_s = jittered_times(10.1, rate_hz, np.random.default_rng(2))
    ramp = 0.2 + 0.06 * (t_s - END_S)
    found = pressed(t_s, ramp)
    assert number(found, "pressure_in_band_share") == pytest.approx(0.1 / 0.6, abs=1e-9)  # [C]
    wide = pressed(t_s, ramp, pressure_band=(0.0, 1.0))
    assert number(wide, "pressure_in_band_share") == 1.0  # [C]
    beside = pressed(t_s, ramp, pressure_band=(0.9, 1.0))
    assert number(beside, "pressure_in_band_share") == 0.0  # [C]


@checks(
    "C",
    "ramp 0.3 to 0.5 over 10 s: 0.02 a second, SD of a uniform",
    "pressure_drift",
    "pressure_cv",
    "pressure_mean",
)
@rates
def test_pressure_that_rises(rate_hz: float) -> None:
    t_s = jittered_times(10.0, rate_hz, np.random.default_rng(3))
    found = pressed(t_s, 0.3 + 0.02 * t_s)
    assert number(found, "pressure_drift") == pytest.approx(0.02, abs=1e-9)  # [C]
    assert number(found, "pressure_mean") == pytest.approx(0.4, abs=1e-9)  # [C]
    spread = 0.02 * 9.9 / np.sqrt(12) / 0.4
    assert number(found, "pressure_cv") == pytest.approx(spread, abs=1e-9)  # [C]
    assert number(found, "pressure_peaks_per_s") == 0  # [C]
    falling = pressed(t_s, 0.5 - 0.02 * t_s)
    assert number(falling, "pressure_drift") == pytest.approx(-0.02, abs=1e-9)  # [C]


@checks(
    "C", "two half seconds off a ramp of 0.02 a second: 153 of 190 slopes stay", "pressure_drift"
)
@rates
@pytest.mark.parametrize("off", [(18, 19), (0, 19), (3, 11)])
def test_drift_shrugs_off_two_half_seconds(rate_hz: float, off: tuple[int, int]) -> None:
    t_s = jittered_times(10.1, rate_hz, np.random.default_rng(4))
    after_s = t_s - END_S
    # 20 means; a jolt of 0.2 s inside two of them leaves the other 18 on the ramp.
    jolt = np.isin(after_s // 0.5, off) & (after_s % 0.5 > 0.15) & (after_s % 0.5 < 0.35)
    ramp = 0.3 + 0.02 * t_s
    found = pressed(t_s, ramp + 0.4 * jolt)
    assert number(found, "pressure_drift") == pytest.approx(0.02, abs=1e-9)  # [C]
    # It is a jolt that the mean shows: 0.4 for 0.4 s of 10 s.
    plain = pressed(t_s, ramp)
    more = number(found, "pressure_mean") - number(plain, "pressure_mean")
    assert more == pytest.approx(0.016, abs=0.003)


@checks(
    "C", "a ramp and a step half way: the 95th of 190 slopes, counted by hand", "pressure_drift"
)
@rates
def test_drift_is_the_middle_of_the_slopes_of_half_second_means(rate_hz: float) -> None:
    t_s = jittered_times(10.1, rate_hz, np.random.default_rng(4))
    step = np.where(t_s - END_S < 5.0, 0.0, 0.17)
    found = pressed(t_s, 0.3 + 0.02 * t_s + step)
    # 20 means, ten on each side: 90 pairs on one side rise by 0.02 a second (or hardly more, at
    # the step itself). Of those across it k half seconds apart, the flattest come next: one with
    # k = 19, two with 18, three with 17. The middle, the 95th and the 96th, is k = 17: 8.5 s.
    assert number(found, "pressure_drift") == pytest.approx(0.02 + 0.17 / 8.5, abs=1e-9)  # [C]
    falling = pressed(t_s, 0.7 - 0.02 * t_s - step)
    assert number(falling, "pressure_drift") == pytest.approx(-0.02 - 0.17 / 8.5, abs=1e-9)  # [C]


@checks("C", "as many peaks as waves", "pressure_peaks_per_s")
@rates
@pytest.mark.parametrize("f_hz", [0.5, 1.0, 3.0])
def test_every_wave_of_pressure_is_one_peak(rate_hz: float, f_hz: float) -> None:
    t_s = jittered_times(10.1, rate_hz, np.random.default_rng(5))
    # Every wave begins in its valley, so that no peak lies where landing is left out.
    wave = sine(t_s - 0.25 / f_hz, f_hz)
    found = pressed(t_s, wave)
    assert number(found, "pressure_peaks_per_s") == pytest.approx(f_hz, abs=1e-9)  # [C]
    small = pressed(t_s, 0.5 + 0.2 * (wave - 0.5))
    # 0.04 from valley to peak is less than 0.05.
    assert number(small, "pressure_peaks_per_s") == 0  # [C]


@rates
def test_landing_and_lifting_do_not_count(rate_hz: float) -> None:
    t_s = jittered_times(10.1, rate_hz, np.random.default_rng(6))
    ends = (t_s < END_S - 0.02) | (t_s > 10.05 + 0.02)
    found = pressed(t_s, np.where(ends, 0.02, sine(t_s)))
    plain = pressed(t_s, sine(t_s))
    for name in ("pressure_mean", "pressure_in_band_share", "pressure_peaks_per_s"):
        assert number(found, name) == pytest.approx(number(plain, name), abs=2e-3)


@checks("C", "two strokes weigh by their times, not their samples", "pressure_mean", "pressure_cv")
@rates
def test_time_counts_and_not_samples(rate_hz: float) -> None:
    rng = np.random.default_rng(7)
    # 4 s around 0.3 at twice the rate, then a lift, then 2 s around 0.6.
    first_s = jittered_times(4.1, 2 * rate_hz, rng)
    second_s = 5.0 + jittered_times(2.1, rate_hz, rng)
    wave = [0.3 + 0.01 * np.sin(2 * np.pi * (first_s - END_S))]
    wave.append(0.6 + 0.01 * np.sin(2 * np.pi * (second_s - 5 - END_S)))
    stroke = np.repeat([0, 1], [len(first_s), len(second_s)])
    found = pressed(np.concatenate([first_s, second_s]), np.concatenate(wave), stroke=stroke)
    assert number(found, "pressure_mean") == pytest.approx(0.4, abs=1e-4)  # [C]
    spread = np.sqrt((4 * 0.1**2 + 2 * 0.2**2) / 6 + 0.01**2 / 2)
    assert number(found, "pressure_cv") == pytest.approx(spread / 0.4, abs=1e-4)  # [C]


@checks("C", "a pen that reports nothing while it rests presses as before", "pressure_mean")
def test_a_resting_pen_presses_as_before() -> None:
    before_s, after_s = np.arange(0, 2, 0.01), np.arange(6, 8, 0.01)
    t_s = np.concatenate([before_s, after_s])
    x_mm = np.concatenate([20 * before_s, 39.8 + 20 * (after_s - 6)])
    level = np.concatenate([np.linspace(0.2, 0.4, 200), np.full(200, 0.6)])
    trace = trial(LINE, np.column_stack([x_mm, 0 * x_mm]), t_s, pressure=level)
    found = measure_all(Workings(trace))
    # 1.94 s from 0.205 to 0.4, 4 s at 0.4 and a step of 10 ms up, 1.94 s at 0.6.
    down = 1.94 * (0.205 + 0.4) / 2 + 4.0 * 0.4 + 0.01 * 0.5 + 1.94 * 0.6
    assert number(found, "pressure_mean") == pytest.approx(down / 7.89, abs=1e-3)  # [C]


def test_a_reading_that_never_changes_is_no_measurement() -> None:
    t_s = np.arange(0, 6, 0.01)
    assert reasons(pressed(t_s, np.full(600, 0.5))) == {"pressure_constant"}  # [C] of the standard
    assert reasons(pressed(t_s, 0.5 + 0.3 * (t_s > 3))) == {"pressure_constant"}  # two values
    assert reasons(pressed(t_s, 0.5 + 0.0005 * np.sin(t_s))) == {"pressure_constant"}
    assert number(pressed(t_s, 0.5 + 0.005 * np.sin(t_s)), "pressure_mean") > 0


@pytest.mark.parametrize(("full_s", "reason"), [(1.0, None), (1.4, "pressure_saturated")])
def test_a_fifth_of_the_time_at_the_end_of_the_range_is_too_much(
    full_s: float, reason: str | None
) -> None:
    t_s = np.arange(0, 6.1, 0.01)
    level = np.where(t_s < END_S + full_s, 1.0, 0.5 + 0.1 * np.sin(t_s))
    assert reasons(pressed(t_s, level)) == {reason}


def test_only_a_pen_with_a_sensor() -> None:
    t_s = np.arange(0, 6, 0.01)
    finger = Device("touch", calibrated=True)
    assert reasons(pressed(t_s, sine(t_s), device=finger)) == {"no_pressure_sensor"}
    assert reasons(pressed(t_s, np.full(600, np.nan))) == {"no_pressure_sensor"}
    none = measure_all(
        Workings(trial(LINE, np.column_stack([t_s, 0 * t_s]), t_s, pressure_band=BAND))
    )
    assert reasons(none) == {"no_pressure_sensor"}


def test_time_and_rate_are_asked_for_first() -> None:
    slow_s = np.arange(0, 6, 1 / 25)
    assert reasons(pressed(slow_s, sine(slow_s))) == {"rate_too_low"}
    enough_s = np.arange(0, 6, 1 / 30)
    assert reasons(pressed(enough_s, sine(enough_s))) == {None}
    t_s = np.arange(0, 6, 0.01)
    back_s = t_s - 0.1 * (t_s > 5)
    assert reasons(pressed(back_s, np.full(600, 0.5))) == {"time_not_monotone"}
    brief_s = np.arange(0, 0.09, 0.01)
    assert reasons(pressed(brief_s, sine(brief_s), speed_mm_s=400)) == {"too_few_samples"}


def test_drift_needs_three_seconds() -> None:
    t_s = np.arange(0, 2.9, 0.01)
    found = pressed(t_s, 0.3 + 0.1 * t_s)
    assert found["pressure_drift"].reason == "too_few_samples"
    assert number(found, "pressure_mean") == pytest.approx(0.3 + 0.1 * 1.445, abs=1e-6)
    t_s = np.arange(0, 3.2, 0.01)
    assert number(pressed(t_s, 0.3 + 0.1 * t_s), "pressure_drift") == pytest.approx(0.1)
    constant = pressed(np.arange(0, 2, 0.01), np.full(200, 0.5))
    assert constant["pressure_drift"].reason == "too_few_samples"
    assert constant["pressure_mean"].reason == "pressure_constant"


def test_without_a_band_only_the_share_is_missing() -> None:
    t_s = np.arange(0, 6, 0.01)
    found = pressed(t_s, sine(t_s), pressure_band=None)
    assert found["pressure_in_band_share"].reason == "guide_lacks_feature"
    assert found["pressure_mean"].number is not None


def test_the_document_carries_the_band() -> None:
    document = read_trial(put("task", "pressure_band", value=[0.2, 0.45])())
    assert document.to_trial().pressure_band == (0.2, 0.45)
    assert read_trial(put("task", "pressure_band", value=None)()).to_trial().pressure_band is None


def test_pressure_is_the_same_on_an_uncalibrated_tablet() -> None:
    t_s = np.arange(0, 6, 0.01)
    plain, nominal = pressed(t_s, sine(t_s)), pressed(t_s, sine(t_s), device=Device("pen"))
    assert [nominal[name] for name in PRESSURE] == [plain[name] for name in PRESSURE]
    assert reasons(plain) == {None}
