"""Closed-form values of distance, at 60, 120 and 240 Hz with jittered times."""

import numpy as np
import pytest
import shapely
from scipy.integrate import quad
from scipy.special import ellipe

from analysis import distances
from analysis.guide import Guide
from analysis.measures_cover import COVER
from analysis.measures_curve import CORNER, CURVE
from analysis.measures_deviation import FAMILY
from analysis.registry import MEASURES, measure_all
from analysis.trace import FloatArray
from analysis.value import Value
from analysis.workings import Workings
from tests.checked import checks
from tests.known import RATES_HZ, jittered_times, trial

rates = pytest.mark.parametrize("rate_hz", RATES_HZ)


def values(
    guide: Guide, xy_mm: FloatArray, t_s: FloatArray | None, **more: object
) -> dict[str, Value]:
    return measure_all(Workings(trial(guide, xy_mm, t_s, **more)))  # type: ignore[arg-type]


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value


def sine_beside_line(rate_hz: float, *, uneven: bool = False) -> tuple[FloatArray, FloatArray]:
    """200 mm line, A = 4 mm, five periods, 8 s: chords of 0.4 mm at 60 Hz."""
    t_s = jittered_times(8.0, rate_hz, np.random.default_rng(11))
    share = t_s / 8.0
    if uneven:
        share = share + 0.12 * np.sin(2 * np.pi * share)
    x_mm = 200 * share
    return t_s, np.column_stack([x_mm, -4 * np.sin(2 * np.pi * x_mm / 40)])


LINE = Guide.from_points([[0, 0], [200, 0]], corridor_mm=4)


@checks(
    "C",
    "A sin beside a line: 2A/pi, A/sqrt 2, A sin(0.95 pi/2), A; (2/pi) asin(1/2)",
    "deviation_mean_abs",
    "deviation_rms",
    "deviation_p95",
    "deviation_max",
    "deviation_bias",
    "in_corridor_share",
    "departure_count",
    "departure_max",
    "completion",
)
@rates
@pytest.mark.parametrize("uneven", [False, True])
def test_sine_beside_a_straight_line(rate_hz: float, uneven: bool) -> None:
    t_s, xy_mm = sine_beside_line(rate_hz, uneven=uneven)
    found = values(LINE, xy_mm, t_s)
    tolerance = 3e-3 if uneven and rate_hz == 60 else 1e-3  # chords of up to 1.1 mm
    assert number(found, "deviation_mean_abs") == pytest.approx(8 / np.pi, rel=tolerance)  # [C]
    assert number(found, "deviation_rms") == pytest.approx(4 / np.sqrt(2), rel=tolerance)  # [C]
    p95 = 4 * np.sin(0.95 * np.pi / 2)
    assert number(found, "deviation_p95") == pytest.approx(p95, rel=tolerance)  # [C]
    assert number(found, "deviation_max") == pytest.approx(4.0, rel=tolerance)  # [C]
    assert number(found, "deviation_bias") == pytest.approx(0.0, abs=0.005)  # [C]
    assert number(found, "in_corridor_share") == pytest.approx(1 / 3, abs=2e-3 if uneven else 5e-4)
    assert number(found, "departure_count") == 10  # [C]
    assert number(found, "departure_max") == pytest.approx(2.0, abs=0.01)  # [C]
    assert number(found, "completion") == pytest.approx(1.0)  # [C]


@checks(
    "C",
    "A sin beside a line: 2AL/pi; outside where abs(sin) > 1/2; arc length by quadrature",
    "area_between",
    "departure_duration",
    "departure_length",
)
@rates
def test_area_and_departures_of_the_sine(rate_hz: float) -> None:
    t_s, xy_mm = sine_beside_line(rate_hz)
    found = values(LINE, xy_mm, t_s)
    assert number(found, "area_between") == pytest.approx(2 * 4 * 200 / np.pi, rel=1e-3)  # [C]
    # Outside where abs(sin) > 1/2: two thirds of the time. [C]
    assert number(found, "departure_duration") == pytest.approx(8 * 2 / 3, abs=0.01)
    slope = 2 * np.pi * 4 / 40
    outside_mm, _ = quad(
        lambda x: np.sqrt(1 + (slope * np.cos(2 * np.pi * x / 40)) ** 2), 10 / 3, 50 / 3
    )
    assert number(found, "departure_length") == pytest.approx(10 * outside_mm, rel=2e-3)  # [C]


DISTANCES = {FAMILY, COVER, CURVE, CORNER}


def test_sampling_at_60_against_240_hz_changes_no_deviation_by_more_than_one_percent() -> None:
    found = {hz: values(LINE, *sine_beside_line(hz)[::-1]) for hz in (60, 240)}
    for entry in MEASURES:
        if entry.family not in DISTANCES or entry.id == "deviation_bias":
            continue
        low, high = found[60][entry.id], found[240][entry.id]
        assert low.reason == high.reason
        if low.number is not None and high.number is not None:
            near_mm = 0.01 if entry.family == "How much was drawn" else 0.0  # errors of about 0
            assert low.number == pytest.approx(high.number, rel=0.01, abs=near_mm), entry.id


@checks(
    "C",
    "2 s at 0 mm and 8 s at 3 mm over 200 mm of line: 1.5 and 2.4 by hand",
    "deviation_mean_abs",
    "deviation_mean_abs_time",
)
@rates
def test_a_pause_weighs_only_in_the_time_weighted_mean(rate_hz: float) -> None:
    step_s = 1 / rate_hz
    on_s, off_s, still_s = 2.0, 4.0, 4.0
    t_s = np.arange(0, on_s + off_s + still_s, step_s)
    x_mm = np.where(t_s <= on_s, 50 * t_s, 100.0)
    x_mm = np.where(t_s > on_s + still_s, 100 + 25 * (t_s - on_s - still_s), x_mm)
    xy_mm = np.column_stack([x_mm, np.where(t_s > on_s, -3.0, 0.0)])
    found = values(LINE, xy_mm, t_s)
    assert number(found, "deviation_mean_abs") == pytest.approx(1.5, abs=0.02)  # [C]
    assert number(found, "deviation_mean_abs_time") == pytest.approx(2.4, abs=0.02)  # [C]


def circle(radius_mm: float, count: int = 3601, dx_mm: float = 0.0) -> FloatArray:
    angle = np.linspace(0, 2 * np.pi, count)
    return np.column_stack([dx_mm + radius_mm * np.cos(angle), radius_mm * np.sin(angle)])


ROUND = Guide.from_points(circle(40), closed=True, corridor_mm=8)


@checks(
    "C",
    "concentric circles: their difference of radius, and pi times that of the squares",
    "deviation_mean_abs",
    "deviation_bias_outward",
    "closure_error",
    "area_between",
)
@pytest.mark.parametrize("offset_mm", [1.5, -1.5])
def test_concentric_circle(offset_mm: float) -> None:
    found = values(ROUND, circle(40 + offset_mm), None)
    assert number(found, "deviation_mean_abs") == pytest.approx(1.5, abs=1e-4)  # [C]
    assert number(found, "deviation_bias_outward") == pytest.approx(offset_mm, abs=1e-4)  # [C]
    assert number(found, "closure_error") == pytest.approx(0.0, abs=1e-9)  # [C]
    assert number(found, "area_between") == pytest.approx(
        np.pi * abs((40 + offset_mm) ** 2 - 1600), rel=1e-4
    )  # [C]


@checks("C", "concentric circles: their difference of radius", "deviation_bias_outward")
def test_outward_does_not_depend_on_the_direction() -> None:
    found = values(ROUND, circle(41.5)[::-1], None)
    assert number(found, "deviation_bias_outward") == pytest.approx(1.5, abs=1e-4)  # [C]
    assert found["start_error"].reason == "traced_other_way"


@checks(
    "C",
    "e cos a + sqrt(r^2 - e^2 sin^2 a) - r by quadrature; area between two lenses",
    "deviation_max",
    "deviation_mean_abs",
    "deviation_rms",
    "deviation_bias_outward",
    "area_between",
)
def test_circle_moved_by_3_mm() -> None:
    found = values(ROUND, circle(40, dx_mm=3.0), None)

    def d_mm(angle: float) -> float:
        return 3 * np.cos(angle) + np.sqrt(1600 - 9 * np.sin(angle) ** 2) - 40

    mean, _ = quad(
        lambda a: abs(d_mm(a)) / (2 * np.pi), 0, 2 * np.pi, points=[1.6, 4.68], limit=200
    )
    assert mean == pytest.approx(1.91120, abs=1e-4)  # [C]
    assert number(found, "deviation_max") == pytest.approx(3.0, abs=1e-3)  # [C]
    assert number(found, "deviation_mean_abs") == pytest.approx(mean, abs=0.003)  # [C]
    assert number(found, "deviation_rms") == pytest.approx(2.12244, abs=0.003)  # [C]
    assert number(found, "deviation_bias_outward") == pytest.approx(-0.05631, abs=0.003)  # [C]
    assert number(found, "area_between") == pytest.approx(479.886, rel=1e-3)  # [C] lens formula


@checks(
    "C",
    "parallel lines: their distance",
    "hausdorff_distance",
    "frechet_distance",
    "dtw_mean_distance",
    "deviation_bias",
    "in_corridor_share",
)
def test_parallel_lines_5_mm_apart() -> None:
    x_mm = np.linspace(0, 200, 401)
    found = values(LINE, np.column_stack([x_mm, 0 * x_mm + 5]), None)
    assert number(found, "hausdorff_distance") == pytest.approx(5.0)  # [C]
    assert number(found, "frechet_distance") == pytest.approx(5.0)  # [C]
    assert number(found, "dtw_mean_distance") == pytest.approx(5.0)  # [C]
    assert number(found, "deviation_bias") == pytest.approx(-5.0)  # [C] right of travel
    assert number(found, "in_corridor_share") == 0.0  # [C]


def test_reversed_line_and_back_track_tell_frechet_from_hausdorff() -> None:
    guide = Guide.from_points([[0, 0], [100, 0]])
    back = np.linspace(100, 0, 101)
    backwards_mm = np.column_stack([back, 0 * back])
    assert distances.hausdorff_mm(guide, [backwards_mm]) == pytest.approx(0.0, abs=1e-9)  # [C]
    assert distances.frechet_mm(guide, backwards_mm) == pytest.approx(100.0)  # [C]
    retraced = np.array([[0, 0], [70, 0], [30, 0], [100, 0]], float)
    assert distances.hausdorff_mm(guide, [retraced]) == pytest.approx(0.0, abs=1e-9)  # [C]
    assert distances.frechet_mm(guide, retraced) == pytest.approx(20.0, abs=0.6)  # [C] b/2, 1 mm


@checks("X", "shapely hausdorff_distance of densified lines", "hausdorff_distance")
def test_hausdorff_agrees_with_shapely_on_dense_lines() -> None:
    t_s, xy_mm = sine_beside_line(240)
    other = shapely.hausdorff_distance(
        shapely.LineString([[0, 0], [200, 0]]), shapely.LineString(xy_mm), densify=0.001
    )
    found = number(values(LINE, xy_mm, t_s), "hausdorff_distance")
    assert found == pytest.approx(other, abs=0.01)  # [X]


@checks("C", "a fillet misses its corner by r (1/sin(a/2) - 1)", "corner_miss", "corner_radius")
@pytest.mark.parametrize(("interior_deg", "miss_mm"), [(60, 5.0), (90, 2.0711), (120, 0.7735)])
def test_corner_rounded_by_a_fillet_of_5_mm(interior_deg: float, miss_mm: float) -> None:
    half = np.radians(interior_deg / 2)
    arms = np.array([[-np.sin(half), np.cos(half)], [np.sin(half), np.cos(half)]])
    guide = Guide.from_points([60 * arms[0], [0, 0], 60 * arms[1]])
    centre = np.array([0, 5 / np.sin(half)])
    sweep = np.linspace(np.pi + half, 2 * np.pi - half, 4001)
    arc = centre + 5 * np.column_stack([np.cos(sweep), np.sin(sweep)])
    legs = [np.linspace(60 * arms[0], arc[0], 800), np.linspace(arc[-1], 60 * arms[1], 800)]
    found = values(guide, np.vstack([legs[0], arc, legs[1]]), None)
    assert number(found, "corner_miss") == pytest.approx(miss_mm, abs=5e-5)  # [C]
    assert number(found, "corner_radius") == pytest.approx(5.0, abs=1e-3)  # [C]


@checks(
    "C",
    "a line 3 mm off, from 4 mm after the start to 7 mm past the stop",
    "start_error",
    "stop_error",
    "overshoot",
)
def test_start_stop_and_overshoot() -> None:
    x_mm = np.linspace(4, 207, 407)
    found = values(LINE, np.column_stack([x_mm, 0 * x_mm + 3]), None)
    assert number(found, "start_error") == pytest.approx(5.0)  # [C] 3-4-5
    assert number(found, "stop_error") == pytest.approx(np.hypot(7, 3))  # [C]
    assert number(found, "overshoot") == pytest.approx(7.0)  # [C]


@checks("C", "a share of a straight line", "completion", "in_corridor_share")
@pytest.mark.parametrize(("share", "reason"), [(0.2, "too_little_traced"), (0.5, None)])
def test_half_drawn_lines_refuse_or_are_partial(share: float, reason: str | None) -> None:
    x_mm = np.linspace(0, 200 * share, 200)
    w = Workings(trial(LINE, np.column_stack([x_mm, 0 * x_mm + 1]), None))
    found = measure_all(w)
    assert found["deviation_mean_abs"].reason == reason
    assert number(found, "completion") == pytest.approx(share)  # [C]
    assert "partial" in w.flags
    if reason is None:
        assert number(found, "in_corridor_share") == pytest.approx(share, abs=0.002)  # [C]


@checks("C", "length of a sine: complete elliptic integral of the second kind", "path_length")
def test_trace_length_of_the_sine_is_the_elliptic_integral() -> None:
    t_s, xy_mm = sine_beside_line(240)
    slope = 2 * np.pi * 4 / 40
    truth = 5 * (2 / np.pi) * 40 * np.sqrt(1 + slope**2) * ellipe(slope**2 / (1 + slope**2))
    assert truth == pytest.approx(218.4767, abs=1e-3)  # [C]
    assert number(values(LINE, xy_mm, t_s), "path_length") == pytest.approx(truth, rel=5e-3)


@checks("C", "an arc of 355 degrees: its chord is 2 r sin(2.5 degrees)", "closure_error")
@pytest.mark.parametrize("open_deg", [5.0, 20.0, -10.0])
def test_the_gap_of_an_arc_is_its_chord(open_deg: float) -> None:
    angle = np.linspace(0, np.radians(360 - open_deg), 3601)
    found = values(ROUND, np.column_stack([40 * np.cos(angle), 40 * np.sin(angle)]), None)
    chord_mm = 2 * 40 * np.sin(np.radians(abs(open_deg) / 2))
    assert number(found, "closure_error") == pytest.approx(chord_mm, abs=1e-6)  # [C]


@checks("C", "a lap and a tenth of a circle: 0.1 * 2 pi r past its end", "overshoot")
def test_drawing_on_round_a_circle_is_overshoot_along_it() -> None:
    angle = np.linspace(0, 2.2 * np.pi, 4001)
    found = values(ROUND, np.column_stack([40 * np.cos(angle), 40 * np.sin(angle)]), None)
    assert number(found, "overshoot") == pytest.approx(0.2 * np.pi * 40, abs=0.01)  # [C]
    short = values(ROUND, circle(40)[:3400], None)
    assert number(short, "overshoot") == 0.0  # [C]


@checks("C", "begun 6-8-10 away, begun again 3-4-5 away", "start_error", "completion")
def test_the_beginning_of_the_attempt_that_completes_counts() -> None:
    first, second = np.linspace(8, 90, 165), np.linspace(4, 200, 393)
    x_mm = np.concatenate([first, second])
    y_mm = np.repeat([6.0, 3.0], [len(first), len(second)])
    stroke = np.repeat([0, 1], [len(first), len(second)])
    found = values(LINE, np.column_stack([x_mm, y_mm]), None, stroke=stroke)
    assert number(found, "start_error") == pytest.approx(5.0)  # [C]
    assert number(found, "completion") == pytest.approx(196 / 200)  # [C]
    only = values(LINE, np.column_stack([first, y_mm[: len(first)]]), None)
    assert number(only, "start_error") == pytest.approx(10.0)  # [C]


@checks(
    "C", "1 and 3 mm off a line, three times beyond its edge", "departure_max", "departure_count"
)
@rates
def test_departures_of_known_depth(rate_hz: float) -> None:
    t_s = np.arange(0, 5, 1 / rate_hz)
    x_mm = 40 * t_s
    wide = (x_mm % 60 > 20) & (x_mm % 60 < 40)
    found = values(LINE, np.column_stack([x_mm, np.where(wide, -5.5, 1.0)]), t_s)
    assert number(found, "departure_count") == 3  # [C] at 20-40, 80-100 and 140-160 mm
    assert number(found, "departure_max") == pytest.approx(3.5)  # [C] half the width is 2 mm
