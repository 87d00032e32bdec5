"""Smoothness, slowing in bends and fast waves against closed forms and published values."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.signal import welch

from analysis import smoothness
from analysis.filtering import JERK_PASS, corrected_cutoff_hz, filtered_pieces, low_passed
from analysis.guide import Guide, Target
from analysis.registry import measure_all
from analysis.trace import FloatArray, Trace
from analysis.value import Value
from analysis.workings import Workings
from tests.checked import checks
from tests.known import RATES_HZ, jittered_times, trial

rates = pytest.mark.parametrize("rate_hz", RATES_HZ)
fast_rates = pytest.mark.parametrize("rate_hz", [100, *RATES_HZ[1:]])
REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"
LINE = Guide.from_points([[0, 0], [200, 0]], corridor_mm=12)
TURN = np.linspace(0, 2 * np.pi, 721)
ELLIPSE = Guide.from_points(np.column_stack([40 * np.cos(TURN), 20 * np.sin(TURN)]), closed=True)

MINIMUM_JERK = "minimum-jerk reach (Flash & Hogan 1985), spectrum and jerk worked out by hand"
SMOOTHEST_JERK = -np.log(204.8)
SMOOTHEST_ARC = -1.40806


def known(name: str) -> dict[str, float]:
    found: dict[str, float] = json.loads((REFERENCE / name).read_text())
    return found


def along(x_mm: FloatArray) -> FloatArray:
    return np.column_stack([x_mm, 0 * x_mm])


def reach(u: FloatArray) -> FloatArray:
    u = np.clip(u, 0, 1)
    return 10 * u**3 - 15 * u**4 + 6 * u**5


def reach_speed(u: FloatArray) -> FloatArray:
    return 30 * u**2 * (1 - u) ** 2


def measured(
    guide: Guide | None, xy_mm: FloatArray, t_s: FloatArray, **more: object
) -> dict[str, Value]:
    return measure_all(Workings(trial(guide, xy_mm, t_s, **more)))  # type: ignore[arg-type]


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value


# The pure functions on exact speeds.


def test_squared_jerk_of_a_minimum_jerk_reach_is_720() -> None:
    jerk = 60.0 * np.polynomial.Polynomial([1, -6, 6])
    assert quad(lambda u: float(jerk(u)) ** 2, 0, 1)[0] == pytest.approx(720)  # [C]
    assert pytest.approx(204.8) == 720 / 1.875**2  # [C]
    assert pytest.approx(-5.32203, abs=1e-5) == SMOOTHEST_JERK  # [C]


@pytest.mark.parametrize(("rate_hz", "design"), [(60, -5.3243), (100, -5.3229), (240, -5.3222)])
def test_jerk_of_an_exact_reach(rate_hz: int, design: float) -> None:
    found = smoothness.log_dimensionless_jerk(reach_speed(np.linspace(0, 1, rate_hz + 1)))
    assert found == pytest.approx(SMOOTHEST_JERK, abs=0.003)  # [C]
    assert found == pytest.approx(design, abs=1e-4)


@rates
@pytest.mark.parametrize("reaches", [2, 3, 5])
def test_jerk_of_reaches_end_to_end_grows_with_the_fourth_power(rate_hz: int, reaches: int) -> None:
    u = np.arange(reaches * rate_hz + 1) / rate_hz
    found = smoothness.log_dimensionless_jerk(reach_speed(u % 1))
    assert found == pytest.approx(-np.log(204.8 * reaches**4), abs=0.01)  # [C]


def reach_spectrum(w: float) -> float:
    """Magnitude of the spectrum of a reach of one second at an angular frequency, by quadrature."""
    half = quad(lambda u: 30 * (0.25 - u * u) ** 2 * np.cos(w * u), -0.5, 0.5)[0]
    return abs(half)


def test_arc_length_of_the_exact_spectrum_of_a_reach() -> None:
    # Beyond the last frequency at 5 % nothing comes up to 5 % again.
    w = np.linspace(0, 2 * np.pi * 10, 8001)
    magnitude = np.array([reach_spectrum(one) for one in w])
    kept = magnitude[: int(np.flatnonzero(magnitude >= 0.05)[-1]) + 1]
    length = np.hypot(1 / (len(kept) - 1), np.diff(kept)).sum()
    assert -length == pytest.approx(SMOOTHEST_ARC, abs=5e-4)  # [C]


@rates
def test_arc_length_of_an_exact_reach_of_any_duration(rate_hz: int) -> None:
    found = [
        smoothness.sparc(reach_speed(np.linspace(0, 1, round(lasts_s * rate_hz) + 1)), rate_hz)
        for lasts_s in np.arange(0.5, 6, 0.05)
    ]
    # The zeros of the published method set a grid of frequencies that ends up to one step short
    # of 5 %: never longer than the exact curve, at most 0.0155 shorter.
    assert min(found) >= SMOOTHEST_ARC - 1e-4  # [C]
    assert max(found) <= SMOOTHEST_ARC + 0.0155  # [C]


def test_arc_length_of_two_reaches() -> None:
    u = np.arange(2 * 240 + 1) / 240
    assert smoothness.sparc(reach_speed(u % 1), 240) == pytest.approx(-2.2925, abs=1e-4)  # [N]


# The measures, through the whole chain.


@checks("P", "Balasubramanian et al. 2015, the authors' documented example (seen)", "sparc")
@rates
def test_published_arc_length_of_a_gaussian_speed(rate_hz: float) -> None:
    published = known("smoothness_balasubramanian.json")
    t_s = np.arange(-1, 1, 0.01)
    exact = smoothness.sparc(np.exp(-5 * t_s**2), published["rate_hz"])
    assert exact == pytest.approx(published["spectral_arc_length"], abs=5e-6)  # [P]
    # Drawn: the same speed, 100 mm/s at its peak, from one second before it to one after.
    t_s = jittered_times(2.0, rate_hz, np.random.default_rng(5))
    fine_s = np.linspace(-1, 1, 20001)
    way_mm = np.concatenate([[0], np.cumsum(np.diff(fine_s) * 100 * np.exp(-5 * fine_s[1:] ** 2))])
    found = measured(LINE, along(10 + np.interp(t_s - 1, fine_s, way_mm)), t_s)
    # Onset at 5 % of the peak cuts 0.23 s off each end, so not the digits of the example.
    assert number(found, "sparc") == pytest.approx(
        published["spectral_arc_length"], abs=0.01
    )  # [P]


@checks(
    "P",
    "Balasubramanian et al. 2015, the authors' documented example (seen)",
    "log_dimensionless_jerk",
)
@rates
def test_published_jerk_of_a_gaussian_speed(rate_hz: float) -> None:
    published = known("smoothness_balasubramanian.json")
    speed = np.exp(-5 * np.arange(-1, 1, 0.01) ** 2)
    step_s = 1 / published["rate_hz"]
    authors = (len(speed) * step_s) ** 3 * ((np.diff(speed, 2) / step_s**2) ** 2).sum() * step_s
    assert -np.log(authors) == pytest.approx(published["log_dimensionless_jerk"], abs=5e-6)  # [P]
    # On [-1, 1] and with ends: 0.0002 away from the authors', -5.81697 in the limit.
    ours = smoothness.log_dimensionless_jerk(np.exp(-5 * np.linspace(-1, 1, 201) ** 2))
    assert ours == pytest.approx(-5.8165, abs=5e-5)  # [P]
    limit = smoothness.log_dimensionless_jerk(np.exp(-5 * np.linspace(-1, 1, 20001) ** 2))
    assert limit == pytest.approx(-5.81697, abs=5e-6)  # [C]
    # Drawn at 2000 mm/s the pause limit is 0.25 % of the peak, below the Gaussian's ends.
    t_s = jittered_times(2.0, rate_hz, np.random.default_rng(5))
    fine_s = np.linspace(-1, 1, 20001)
    way_mm = np.concatenate([[0], np.cumsum(np.diff(fine_s) * 2e3 * np.exp(-5 * fine_s[1:] ** 2))])
    found = measured(LINE, along(np.interp(t_s - 1, fine_s, way_mm)), t_s)
    # The 5 Hz low-pass and the grid move it by up to 0.03.
    assert number(found, "log_dimensionless_jerk") == pytest.approx(
        published["log_dimensionless_jerk"], abs=0.03
    )  # [P]


@checks("C", MINIMUM_JERK, "sparc")
@rates
@pytest.mark.parametrize("lasts_s", [0.5, 1.0, 2.0])
def test_arc_length_of_a_reach(rate_hz: float, lasts_s: float) -> None:
    t_s = jittered_times(lasts_s, rate_hz, np.random.default_rng(4))
    xy_mm = along(80 * reach(t_s / lasts_s))
    found = number(measured(LINE, xy_mm, t_s), "sparc")
    assert found == pytest.approx(SMOOTHEST_ARC, abs=0.01)  # [C]
    noise_mm = np.random.default_rng(4).normal(0, 0.05, xy_mm.shape)
    shaken = number(measured(LINE, xy_mm + noise_mm, t_s), "sparc")
    assert shaken == pytest.approx(found, abs=0.002)  # [N] design: noise moves it less than 0.002


@checks("C", MINIMUM_JERK, "log_dimensionless_jerk")
@rates
@pytest.mark.parametrize(("far_mm", "lasts_s"), [(80, 1.0), (80, 1.5), (80, 4.0), (200, 2.0)])
def test_jerk_of_a_reach(rate_hz: float, far_mm: float, lasts_s: float) -> None:
    t_s = jittered_times(lasts_s, rate_hz, np.random.default_rng(4))
    found = measured(LINE, along(far_mm * reach(t_s / lasts_s)), t_s)
    # Exact speed is within 0.003 (above); the 5 Hz low-pass adds up to 0.03.
    assert number(found, "log_dimensionless_jerk") == pytest.approx(SMOOTHEST_JERK, abs=0.03)  # [C]


@checks("C", "N equal minimum-jerk reaches end to end: -ln(204.8 N^4)", "log_dimensionless_jerk")
@rates
@pytest.mark.parametrize(("reaches", "closed"), [(2, -8.0946), (3, -9.7165), (5, -11.7598)])
def test_jerk_of_reaches_end_to_end(rate_hz: float, reaches: int, closed: float) -> None:
    assert -np.log(204.8 * reaches**4) == pytest.approx(closed, abs=5e-5)
    t_s = jittered_times(float(reaches), rate_hz, np.random.default_rng(4))
    whole = np.minimum(np.floor(t_s), reaches - 1)
    found = measured(LINE, along(38 * (whole + reach(t_s - whole))), t_s)
    # The low-pass rounds the touch of 0 mm/s between two reaches.
    assert number(found, "log_dimensionless_jerk") == pytest.approx(closed, abs=0.12)  # [C]


@checks("N", "noise on a reach, order 4 at 5 Hz", "log_dimensionless_jerk")
@rates
@pytest.mark.parametrize(("noise_mm", "design"), [(0.01, -5.31), (0.02, -5.41), (0.05, -5.53)])
def test_noise_lowers_jerk_by_no_more_than_the_low_pass_was_chosen_for(
    rate_hz: float, noise_mm: float, design: float
) -> None:
    found = []
    for seed in range(15):
        rng = np.random.default_rng(seed)
        t_s = jittered_times(1.5, rate_hz, rng)
        xy_mm = along(80 * reach(t_s / 1.5)) + rng.normal(0, noise_mm, (len(t_s), 2))
        found.append(number(measured(LINE, xy_mm, t_s), "log_dimensionless_jerk"))
    # One run in ten at 0.05 mm lies as low as -6.5: the middle of fifteen is what is compared.
    assert np.median(found) == pytest.approx(design, abs=0.25)  # [N]


@rates
def test_a_dwell_at_either_end_adds_no_jerk(rate_hz: float) -> None:
    t_s = jittered_times(3.5, rate_hz, np.random.default_rng(4))
    found = measured(LINE, along(80 * reach((t_s - 1) / 1.5)), t_s)
    # Left in, two seconds of rest would make it -ln(204.8 (3.5 / 1.5)^3) = -7.86; 0.1 s is left.
    assert number(found, "log_dimensionless_jerk") == pytest.approx(SMOOTHEST_JERK, abs=0.35)
    assert number(found, "sparc") == pytest.approx(SMOOTHEST_ARC, abs=0.016)


@rates
def test_gain_of_the_jerk_filter_at_its_cutoff(rate_hz: float) -> None:
    t_s = np.arange(0, 8, 1 / rate_hz)
    wave = np.column_stack([np.sin(2 * np.pi * 5 * t_s), 0 * t_s])
    smooth = low_passed(wave, rate_hz, JERK_PASS)[round(2 * rate_hz) : -round(2 * rate_hz)]
    assert np.sqrt(2 * (smooth[:, 0] ** 2).mean()) == pytest.approx(np.sqrt(0.5), abs=1e-3)  # [C]
    correction = np.tan(np.pi * 5 / rate_hz) / np.tan(
        np.pi * corrected_cutoff_hz(5, rate_hz, 4) / rate_hz
    )
    assert correction == pytest.approx(0.8957, abs=5e-5)  # [C]


# Several strokes.


def in_strokes(
    lasts_s: list[float], rate_hz: float, far_mm: list[float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Minimum-jerk reaches to the right with the pen up for half a second between them."""
    t_s, x_mm, stroke = [], [], []
    start_s, start_mm = 0.0, 0.0
    for at, (one_s, one_mm) in enumerate(zip(lasts_s, far_mm, strict=True)):
        own_s = jittered_times(one_s, rate_hz, np.random.default_rng(at))
        t_s.append(start_s + own_s)
        x_mm.append(start_mm + one_mm * reach(own_s / one_s))
        stroke.append(np.full(len(own_s), at))
        start_s, start_mm = start_s + one_s + 0.5, start_mm + one_mm
    return along(np.concatenate(x_mm)), np.concatenate(t_s), np.concatenate(stroke)


@checks("C", MINIMUM_JERK + ", several strokes", "sparc", "log_dimensionless_jerk")
@rates
def test_strokes_weigh_by_their_length(rate_hz: float) -> None:
    # One even reach of 120 mm, and one stroke of two reaches over 60 mm, 1 s each.
    t_s = jittered_times(1.0, rate_hz, np.random.default_rng(1))
    more_s = jittered_times(2.0, rate_hz, np.random.default_rng(2))
    whole = np.minimum(np.floor(more_s), 1)
    x_mm = np.concatenate([120 * reach(t_s), 120 + 30 * (whole + reach(more_s - whole))])
    stroke = np.repeat([0, 1], [len(t_s), len(more_s)])
    found = measured(LINE, along(x_mm), np.concatenate([t_s, 2 + more_s]), stroke=stroke)
    jerk = (120 * SMOOTHEST_JERK + 60 * -np.log(204.8 * 16)) / 180
    assert number(found, "log_dimensionless_jerk") == pytest.approx(jerk, abs=0.1)  # [C]
    arc = (120 * SMOOTHEST_ARC + 60 * -2.2925) / 180
    assert number(found, "sparc") == pytest.approx(arc, abs=0.03)  # [C] and, for the second, [N]


@rates
def test_short_strokes_must_not_hold_most_of_the_path(rate_hz: float) -> None:
    xy_mm, t_s, stroke = in_strokes([1.0, 0.3, 0.3], rate_hz, [100, 30, 30])
    held = measured(LINE, xy_mm, t_s, stroke=stroke)
    assert number(held, "sparc") == pytest.approx(SMOOTHEST_ARC, abs=0.01)
    xy_mm, t_s, stroke = in_strokes([1.0, 0.3, 0.3], rate_hz, [100, 50, 50])
    spread = measured(LINE, xy_mm, t_s, stroke=stroke)
    xy_mm, t_s, stroke = in_strokes([0.3, 0.3, 0.3], rate_hz, [60, 60, 60])
    short = measured(LINE, xy_mm, t_s, stroke=stroke)
    for name in ("sparc", "log_dimensionless_jerk"):
        assert spread[name].reason == "gap_too_long"
        assert short[name].reason == "too_few_samples"


# Slowing in bends.


def drawn_ellipse(t_s: FloatArray) -> FloatArray:
    return np.column_stack([40 * np.cos(np.pi * t_s), 20 * np.sin(np.pi * t_s)])


@checks(
    "C",
    "ellipse of harmonic motions: v = w (ab)^(1/3) kappa^(-1/3)",
    "speed_curvature_exponent",
    "speed_curvature_gain",
    "speed_curvature_r_squared",
)
@checks(
    "M", "Lacquaniti, Terzuolo & Viviani 1983", "speed_curvature_exponent", "speed_curvature_gain"
)
@fast_rates
@pytest.mark.parametrize("turns", [1, 2, 5])
def test_an_ellipse_obeys_the_power_law(rate_hz: float, turns: int) -> None:
    published = known("speed_curvature_lacquaniti_1983.json")
    gain_mm_s = (
        2 * np.pi * published["turns_per_s"] * (published["a_mm"] * published["b_mm"]) ** (1 / 3)
    )
    assert gain_mm_s == pytest.approx(published["gain_mm_s"], abs=5e-6)
    even = measured(
        ELLIPSE, drawn_ellipse(t_s := np.arange(2 * turns * rate_hz + 1) / rate_hz), t_s
    )
    assert number(even, "speed_curvature_exponent") == pytest.approx(-1 / 3, rel=1e-3)  # [C]
    assert number(even, "speed_curvature_gain") == pytest.approx(gain_mm_s, rel=1e-3)  # [C]
    assert number(even, "speed_curvature_r_squared") == pytest.approx(1, abs=1e-4)  # [C]
    t_s = jittered_times(2.0 * turns, rate_hz, np.random.default_rng(turns))
    uneven = measured(ELLIPSE, drawn_ellipse(t_s), t_s)
    # Lines between uneven samples are not quite the ellipse.
    assert number(uneven, "speed_curvature_exponent") == pytest.approx(-1 / 3, rel=2e-3)  # [C]
    assert number(uneven, "speed_curvature_gain") == pytest.approx(gain_mm_s, rel=2e-3)  # [C]


@checks(
    "C",
    "constant speed does not follow curvature",
    "speed_curvature_exponent",
    "speed_curvature_gain",
)
@fast_rates
def test_constant_speed_on_an_ellipse_has_exponent_0(rate_hz: float) -> None:
    t_s = jittered_times(6.0, rate_hz, np.random.default_rng(1))
    xy_mm = ELLIPSE.point_at(t_s * ELLIPSE.length_mm / 6)
    found = measured(ELLIPSE, xy_mm, t_s)
    speed_mm_s = ELLIPSE.length_mm / 6
    assert number(found, "speed_curvature_exponent") == pytest.approx(0, abs=2e-3)  # [C]
    assert number(found, "speed_curvature_gain") == pytest.approx(speed_mm_s, rel=0.01)  # [C]


@checks(
    "C",
    "logarithmic spiral r = r0 exp(c p): kappa = 1/(r sqrt(1+c^2)), drawn with v = g kappa^b",
    "speed_curvature_exponent",
    "speed_curvature_gain",
    "speed_curvature_r_squared",
)
@fast_rates
@pytest.mark.parametrize("exponent", [-0.5, -0.2])
def test_a_spiral_drawn_by_another_power_gives_that_power(rate_hz: float, exponent: float) -> None:
    c, r0_mm, gain_mm_s = 0.1, 8.0, 20.0
    # With ds = r sqrt(1+c^2) dp and v = g (r sqrt(1+c^2))^-b time is a closed form of r.
    size, power = np.sqrt(1 + c * c), 1 + exponent
    turns = np.linspace(0, 5 * np.pi, 40001)
    radius_mm = r0_mm * np.exp(c * turns)
    time_s = size**power / (c * gain_mm_s * power) * (radius_mm**power - r0_mm**power)
    t_s = jittered_times(float(time_s[-1]), rate_hz, np.random.default_rng(3))
    p = np.interp(t_s, time_s, turns)
    r_mm = r0_mm * np.exp(c * p)
    xy_mm = np.column_stack([r_mm * np.cos(p), r_mm * np.sin(p)])
    guide = Guide.from_points(
        np.column_stack([radius_mm * np.cos(turns), radius_mm * np.sin(turns)])[::100]
    )
    found = measured(guide, xy_mm, t_s)
    assert number(found, "speed_curvature_exponent") == pytest.approx(exponent, abs=3e-3)  # [C]
    assert number(found, "speed_curvature_gain") == pytest.approx(gain_mm_s, rel=0.02)  # [C]
    assert number(found, "speed_curvature_r_squared") > 0.99  # [C] 1 but for the grid


def test_what_has_no_bends_has_no_exponent() -> None:
    t_s = np.arange(0, 4, 1 / 120)
    straight = measured(LINE, along(50 * t_s), t_s)
    turn = np.linspace(0, 2 * np.pi, 361)
    ring = Guide.from_points(np.column_stack([40 * np.cos(turn), 40 * np.sin(turn)]), closed=True)
    ring_mm = 40 * np.column_stack([np.cos(np.pi / 2 * t_s), np.sin(np.pi / 2 * t_s)])
    round_ = measured(ring, ring_mm, t_s)
    brief = measured(ELLIPSE, drawn_ellipse(t_s[:90]), t_s[:90])
    for name in ("speed_curvature_exponent", "speed_curvature_gain", "speed_curvature_r_squared"):
        # On the straight line there are no samples with a bend either, and that comes first.
        assert straight[name].reason == "too_few_samples"
        assert round_[name].reason == "guide_lacks_feature"
        assert brief[name].reason == "too_few_samples"


def test_bends_of_the_hand_on_a_straight_guide_do_not_count() -> None:
    t_s = np.arange(0, 4, 1 / 120)
    wave_mm = np.column_stack([50 * t_s, 6 * np.sin(2 * np.pi * t_s)])
    found = measured(LINE, wave_mm, t_s)
    assert found["speed_curvature_exponent"].reason == "guide_lacks_feature"


# Fast waves.


def waves(t_s: FloatArray) -> FloatArray:
    return np.sin(2 * np.pi * t_s) + 0.5 * np.sin(2 * np.pi * 6 * t_s)


def across(t_s: FloatArray, d_mm: FloatArray, speed_mm_s: float = 10) -> FloatArray:
    # Positive distance is to the left of travel, and y points down.
    return np.column_stack([speed_mm_s * t_s, -d_mm])


def unless_slow(value: Value, rate_hz: float, wanted: float, near: float) -> None:
    """The number is as wanted, or refused below 100 Hz."""
    if rate_hz < 100:
        assert value.reason == "rate_too_low"
    else:
        assert value.number == pytest.approx(wanted, abs=near)


@checks("C", "two sines: 0.125 / 0.625 and 0.5 / sqrt 2", "band_4_12hz_share", "band_4_12hz_rms")
@rates
def test_share_and_size_of_a_wave_of_6_hz(rate_hz: float) -> None:
    t_s = np.arange(20 * rate_hz + 1) / rate_hz
    found = measured(LINE, across(t_s, waves(t_s)), t_s)
    unless_slow(found["band_4_12hz_share"], rate_hz, 0.2, 1e-3)  # [C]
    assert number(found, "band_4_12hz_rms") == pytest.approx(0.35355, abs=1e-3)  # [C]
    t_s = jittered_times(20.0, rate_hz, np.random.default_rng(1))
    found = measured(LINE, across(t_s, waves(t_s)), t_s)
    # What cubics between samples up to 40 % early or late take from the wave at 60 Hz.
    near = 4e-3 if rate_hz < 100 else 1e-3
    unless_slow(found["band_4_12hz_share"], rate_hz, 0.2, near)  # [C]
    assert number(found, "band_4_12hz_rms") == pytest.approx(0.35355, abs=near)  # [C]


@checks("X", "scipy.signal.welch on the exact distance", "band_4_12hz_share", "band_4_12hz_rms")
@rates
def test_a_random_mixture_of_waves_agrees_with_welch_alone(rate_hz: float) -> None:
    rng = np.random.default_rng(7)
    f_hz, size_mm, phase = rng.uniform(0.3, 11, 25), rng.uniform(0, 0.2, 25), rng.uniform(0, 6, 25)

    def distance_mm(t_s: FloatArray) -> FloatArray:
        angle = 2 * np.pi * t_s[:, None] * f_hz + phase
        return np.asarray((size_mm * np.sin(angle)).sum(axis=1))

    t_s = np.arange(20 * rate_hz + 1) / rate_hz
    other_hz, density = welch(
        distance_mm(np.arange(20 * 1000 + 1) / 1000), fs=1000, nperseg=4000, detrend="constant"
    )
    fast = density[(other_hz >= 4) & (other_hz <= 12)].sum() * other_hz[1]
    every = density[(other_hz >= 0.5) & (other_hz <= 12)].sum() * other_hz[1]
    found = measured(LINE, across(t_s, distance_mm(t_s)), t_s)
    unless_slow(found["band_4_12hz_share"], rate_hz, fast / every, 3e-3)  # [X]
    assert number(found, "band_4_12hz_rms") == pytest.approx(np.sqrt(fast), rel=3e-3)  # [X]


@checks("C", "white noise: sigma sqrt(2 * 8 Hz / rate)", "band_4_12hz_rms")
@pytest.mark.parametrize("rate_hz", [60, 120])
def test_white_noise_gives_its_share_of_the_spectrum(rate_hz: float) -> None:
    t_s = np.arange(60 * rate_hz + 1) / rate_hz
    d_mm = np.random.default_rng(3).normal(0, 0.2, len(t_s))
    found = number(measured(LINE, across(t_s, d_mm, 3), t_s), "band_4_12hz_rms")
    assert found == pytest.approx(0.2 * np.sqrt(16 / rate_hz), rel=0.05)  # [C]


@rates
def test_fast_waves_need_three_seconds_without_a_lift(rate_hz: float) -> None:
    t_s = np.arange(8 * rate_hz) / rate_hz
    stroke = np.floor(t_s / 2).astype(int)
    lifted = measured(LINE, across(t_s, waves(t_s), 20), t_s, stroke=stroke)
    assert lifted["band_4_12hz_share"].reason == "too_few_samples"
    assert lifted["band_4_12hz_rms"].reason == "too_few_samples"
    whole = measured(LINE, across(t_s, waves(t_s), 20), t_s)
    assert number(whole, "band_4_12hz_rms") == pytest.approx(0.35355, abs=3e-3)


@rates
def test_fast_waves_are_measured_when_dots_are_joined(rate_hz: float) -> None:
    dots = Guide(targets=[Target(100.0 * at, 0.0, 4.0, at) for at in range(3)])
    t_s = np.arange(20 * rate_hz + 1) / rate_hz
    found = measured(dots, across(t_s, waves(t_s)), t_s, mode="join")
    unless_slow(found["band_4_12hz_share"], rate_hz, 0.2, 1e-3)  # [C]
    assert number(found, "band_4_12hz_rms") == pytest.approx(0.35355, abs=1e-3)  # [C]


def test_a_ruled_line_has_no_waves_to_share() -> None:
    t_s = np.arange(0, 6, 1 / 120)
    found = measured(LINE, across(t_s, 0 * t_s + 1.0, 30), t_s)
    assert found["band_4_12hz_share"].reason == "zero_variance"
    assert number(found, "band_4_12hz_rms") == pytest.approx(0, abs=1e-9)  # [C]


# Reasons.

ALL = (
    "sparc",
    "log_dimensionless_jerk",
    "speed_curvature_exponent",
    "speed_curvature_r_squared",
    "speed_curvature_gain",
    "band_4_12hz_share",
    "band_4_12hz_rms",
)


def sampled(rate_hz: float, change: Callable[[FloatArray], FloatArray]) -> dict[str, Value]:
    t_s = np.arange(0, 6, 1 / rate_hz)
    xy_mm = ELLIPSE.point_at(t_s / 6 * ELLIPSE.length_mm) + 0.3 * waves(t_s)[:, None]
    return measured(ELLIPSE, xy_mm, change(t_s))


@pytest.mark.parametrize("name", ALL)
def test_below_60_hz_none_is_given_and_no_curvature_or_share_below_100(name: str) -> None:
    least_hz = 100 if name.startswith("speed_curvature") or name.endswith("share") else 60
    assert sampled(0.9 * least_hz, lambda t_s: t_s)[name].reason == "rate_too_low"
    assert sampled(least_hz, lambda t_s: t_s)[name].number is not None


@pytest.mark.parametrize("name", ALL)
def test_a_clock_that_goes_back_and_no_clock(name: str) -> None:
    back = sampled(120, lambda t_s: t_s - 0.1 * (t_s > 5))
    assert back[name].reason == "time_not_monotone"
    t_s = np.arange(0, 6, 1 / 120)
    assert measured(ELLIPSE, ELLIPSE.point_at(50 * t_s), None)[name].reason == "no_time"  # type: ignore[arg-type]


def test_coarse_positions_refuse_jerk_only() -> None:
    t_s = np.arange(0, 3, 1 / 120)
    xy_mm = np.column_stack([180 * reach(t_s / 3), 3 * np.sin(2 * t_s)])
    coarse = measured(LINE, np.round(xy_mm / 0.26) * 0.26, t_s)
    assert coarse["log_dimensionless_jerk"].reason == "position_too_coarse"
    assert coarse["sparc"].number is not None
    fine = measured(LINE, np.round(xy_mm / 0.01) * 0.01, t_s)
    assert fine["log_dimensionless_jerk"].number is not None


def test_a_pen_that_stays_where_it_is() -> None:
    t_s = np.arange(0, 3, 1 / 120)
    found = measured(LINE, np.tile([[3.0, 4.0]], (len(t_s), 1)), t_s)
    assert found["sparc"].reason == found["log_dimensionless_jerk"].reason == "too_little_traced"


def test_constant_speed_has_no_jerk_to_take_the_log_of() -> None:
    t_s = jittered_times(3.0, 120, np.random.default_rng(1))
    assert measured(LINE, along(50 * t_s), t_s)["log_dimensionless_jerk"].reason == "zero_variance"


@pytest.mark.parametrize("name", ["speed_curvature_gain", "band_4_12hz_rms"])
def test_lengths_need_a_calibrated_tablet(name: str) -> None:
    from analysis.trial import Device

    t_s = np.arange(0, 6, 1 / 120)
    xy_mm = ELLIPSE.point_at(t_s / 6 * ELLIPSE.length_mm) + 0.3 * waves(t_s)[:, None]
    found = measured(ELLIPSE, xy_mm, t_s, device=Device("pen", calibrated=False))
    assert found[name].reason == "not_calibrated"
    assert found["speed_curvature_exponent"].number is not None
    assert found["band_4_12hz_share"].number is not None


def test_a_clock_that_jumps_by_days_fills_no_memory() -> None:
    trace = Trace(xy_mm=[[0, 0], [1, 0], [2, 0]], t_s=[0.0, 1e6, 2e6], stroke=[0, 0, 0])
    made = filtered_pieces(trace)
    assert made.pieces == ()
    assert made.lost_s == 2e6
