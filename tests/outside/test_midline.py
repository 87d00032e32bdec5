"""Closed-form values at the midline and of guides, guide ids and the trend line."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import theilslopes

from analysis.guide import Guide
from analysis.identity import guide_id, path_id
from analysis.registry import measure_all
from analysis.trace import FloatArray
from analysis.trend import trend_slope
from analysis.trial import Condition, Mark
from analysis.value import Refused, Value
from analysis.workings import Workings
from tests.checked import checks
from tests.known import RATES_HZ, jittered_times, trial

rates = pytest.mark.parametrize("rate_hz", RATES_HZ)
LINE = Guide.from_points([[0, 0], [200, 0]], corridor_mm=12, midline_x_mm=100)


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value


def along(x_mm: FloatArray, y_mm: float = 0.0) -> FloatArray:
    return np.column_stack([x_mm, 0 * x_mm + y_mm])


def minimum_jerk(u: FloatArray) -> FloatArray:
    return 10 * u**3 - 15 * u**4 + 6 * u**5


@checks(
    "C",
    "constant speed along 200 mm: 40 of 200 mm near the midline",
    "midline_zone_time_share",
    "midline_slowdown_ratio",
    "midline_crossings",
    "midline_crossing_share",
    "contralateral_reach",
    "contralateral_reach_share",
)
@rates
def test_constant_speed_spends_its_share_of_length_near_the_midline(rate_hz: float) -> None:
    t_s = jittered_times(5.0, rate_hz, np.random.default_rng(1))
    found = measure_all(Workings(trial(LINE, along(40 * t_s), t_s)))
    assert number(found, "midline_zone_time_share") == pytest.approx(0.2, abs=1e-3)  # [C]
    assert number(found, "midline_slowdown_ratio") == pytest.approx(1.0, abs=2e-3)  # [C]
    assert number(found, "midline_crossings") == 1
    assert number(found, "midline_crossing_share") == 1
    assert number(found, "midline_pause_count") == 0
    assert number(found, "midline_lift_count") == 0
    assert number(found, "contralateral_reach") == pytest.approx(100.0)  # [C]
    assert number(found, "contralateral_reach_share") == pytest.approx(1.0)  # [C]


@checks(
    "C",
    "roots of 10u^3 - 15u^4 + 6u^5: 0.107492 and 0.898339",
    "midline_zone_time_share",
    "midline_slowdown_ratio",
)
@rates
def test_one_minimum_jerk_reach_is_faster_at_the_midline(rate_hz: float) -> None:
    t_s = jittered_times(4.0, rate_hz, np.random.default_rng(2))
    found = measure_all(Workings(trial(LINE, along(200 * minimum_jerk(t_s / 4)), t_s)))
    low, high = (brentq(lambda u, x=x: minimum_jerk(u) - x, 0, 1) for x in (0.4, 0.6))
    assert high - low == pytest.approx(0.107492, abs=1e-6)  # [C]
    assert number(found, "midline_zone_time_share") == pytest.approx(high - low, abs=1e-3)
    assert number(found, "midline_slowdown_ratio") == pytest.approx(0.898339, abs=5e-3)  # [C]


def test_weaving_about_the_midline_is_no_crossing() -> None:
    t_s = np.arange(0, 5, 1 / 120)
    guide = Guide.from_points([[100, 0], [100, 100]], corridor_mm=12, midline_x_mm=100)
    xy_mm = np.column_stack([100 + 3 * np.sin(4 * t_s), 20 * t_s])
    w = Workings(trial(guide, xy_mm, t_s))
    assert w.crossings == ()  # [C] hysteresis 5 mm
    assert measure_all(w)["midline_crossings"].reason == "guide_lacks_feature"


@checks(
    "C",
    "counts by construction",
    "midline_crossings",
    "midline_crossing_share",
    "midline_lift_count",
)
def test_a_lift_in_the_zone_spoils_the_crossing_and_one_in_the_air_is_none() -> None:
    def cross(gap_from_mm: float, gap_to_mm: float) -> dict[str, Value]:
        first = np.linspace(0, gap_from_mm, 200)
        second = np.linspace(gap_to_mm, 200, 200)
        t_s = np.concatenate([np.linspace(0, 2, 200), np.linspace(2.5, 5, 200)])
        stroke = np.repeat([0, 1], 200)
        return measure_all(
            Workings(trial(LINE, along(np.concatenate([first, second])), t_s, stroke))
        )

    lifted = cross(97, 98)
    assert number(lifted, "midline_crossings") == 1
    assert number(lifted, "midline_crossing_share") == 0
    assert number(lifted, "midline_lift_count") == 1
    in_air = cross(85, 112)
    assert number(in_air, "midline_crossings") == 0
    before = cross(50, 51)
    assert number(before, "midline_crossing_share") == 1
    assert number(before, "midline_lift_count") == 0


@checks("C", "counts by construction", "midline_crossing_share", "hand_switch_count")
def test_a_change_of_hand_on_the_way_spoils_the_crossing() -> None:
    t_s = np.arange(0, 5, 1 / 120)
    marks = (Mark(2.5, "hand_switch"),)
    found = measure_all(Workings(trial(LINE, along(40 * t_s), t_s, marks=marks)))
    assert number(found, "midline_crossing_share") == 0
    assert number(found, "hand_switch_count") == 1


@checks(
    "C",
    "1 s of rest and 40 mm at 40 mm/s, of 6 s in all",
    "midline_pause_count",
    "midline_zone_time_share",
)
@rates
def test_a_pause_at_the_midline_is_counted_there(rate_hz: float) -> None:
    t_s = jittered_times(6.0, rate_hz, np.random.default_rng(3))
    x_mm = 40 * (np.minimum(t_s, 2.5) + np.maximum(0, t_s - 3.5))
    found = measure_all(Workings(trial(LINE, along(x_mm), t_s)))
    assert number(found, "midline_pause_count") == 1
    # 40 mm at 40 mm/s and a pause of 1 s, of 6 s in all. [C]
    assert number(found, "midline_zone_time_share") == pytest.approx(2 / 6, abs=5e-3)


@checks("C", "3 mm near the midline, 1.5 mm beside it", "midline_deviation_ratio")
def test_deviation_ratio_compares_zone_and_flanks() -> None:
    x_mm = np.linspace(0, 200, 2001)
    xy_mm = np.column_stack([x_mm, np.where(np.abs(x_mm - 100) <= 20, 3.0, 1.5)])
    found = measure_all(Workings(trial(LINE, xy_mm, x_mm / 40)))
    assert number(found, "midline_deviation_ratio") == pytest.approx(2.0, abs=0.01)  # [C]


@checks(
    "C",
    "a line drawn to 30 mm past the midline",
    "contralateral_reach",
    "contralateral_reach_share",
)
def test_reach_is_measured_opposite_the_hand() -> None:
    x_mm = np.linspace(0, 130, 1301)
    for hand, truth_mm in (("left", 30.0), ("right", 100.0)):
        condition = Condition(hand=hand, direction="left_to_right")
        found = measure_all(Workings(trial(LINE, along(x_mm), x_mm / 40, condition=condition)))
        assert number(found, "contralateral_reach") == pytest.approx(truth_mm, abs=1e-6)  # [C]
        assert number(found, "contralateral_reach_share") == pytest.approx(truth_mm / 100)
    free = Condition(hand="free")
    found = measure_all(Workings(trial(LINE, along(x_mm), x_mm / 40, condition=free)))
    assert found["contralateral_reach"].reason == "hand_unknown"


@checks(
    "C",
    "Accot & Zhai 1997: L/W, and L ln(W2/W1)/(W2 - W1) of a taper",
    "steering_index_of_difficulty",
    "steering_rate",
)
@pytest.mark.parametrize(
    ("guide", "index"),
    [
        (Guide.from_points([[0, 0], [100, 0]], corridor_mm=10), 10.0),
        (Guide.from_points([[0, 0], [100, 0]], corridor_mm=[5, 20]), 9.24196),
        (
            Guide.from_points(
                [[0, 0], [60, 0], [60.0000001, 0], [100, 0]], corridor_mm=[6, 6, 10, 10]
            ),
            14.0,
        ),
    ],
)
def test_steering_index(guide: Guide, index: float) -> None:
    xy_mm = along(np.linspace(0, 100, 501))
    found = measure_all(Workings(trial(guide, xy_mm, np.linspace(0, 4, 501))))
    assert number(found, "steering_index_of_difficulty") == pytest.approx(index, abs=1e-4)  # [C]
    assert number(found, "steering_rate") == pytest.approx(index / 4, abs=1e-4)  # [C]


@checks(
    "C",
    "2 pi r/W; any convex closed shape turns by 360 degrees",
    "steering_index_of_difficulty",
    "turning_total",
    "corner_count",
)
def test_steering_index_of_a_circle_and_descriptors() -> None:
    angle = np.linspace(0, 2 * np.pi, 2001)[:-1]
    guide = Guide.from_points(
        np.column_stack([40 * np.cos(angle), 40 * np.sin(angle)]), closed=True, corridor_mm=8
    )
    xy_mm = np.vstack([guide.parts[0].points_mm, guide.parts[0].points_mm[:1]])
    found = measure_all(Workings(trial(guide, xy_mm, np.linspace(0, 8, 2001))))
    assert number(found, "steering_index_of_difficulty") == pytest.approx(10 * np.pi, abs=1e-4)
    assert number(found, "turning_total") == pytest.approx(360.0)  # [C]
    assert number(found, "corner_count") == 0
    square = Guide.from_points([[0, 0], [70, 0], [70, 70], [0, 70]], closed=True, corridor_mm=8)
    corners = np.array([[0, 0], [70, 0], [70, 70], [0, 70], [0, 0]], float)
    xy_mm = np.vstack([np.linspace(a, b, 100) for a, b in pairwise(corners)])
    found = measure_all(Workings(trial(square, xy_mm, np.linspace(0, 8, 400))))
    assert number(found, "corner_count") == 4
    assert number(found, "turning_total") == pytest.approx(360.0)  # [C]


@checks(
    "C",
    "four stops, two of them within 20 mm of the midline; one more lies on its edge",
    "midline_pause_count",
)
@rates
def test_only_pauses_within_20_mm_of_the_midline_are_counted(rate_hz: float) -> None:
    t_s = jittered_times(8.5, rate_hz, np.random.default_rng(4))
    stops = [(40, 0.5), (85, 0.5), (118, 1.0), (125, 1.5)]
    times, places, now, at = [0.0], [0.0], 0.0, 0.0
    for x_mm, still_s in [*stops, (200, 0.0)]:
        now, at = now + (x_mm - at) / 40, float(x_mm)
        times += [now, now + still_s]
        places += [at, at]
        now += still_s
    assert now == pytest.approx(8.5)
    xy_mm = along(np.interp(t_s, times, places))
    found = measure_all(Workings(trial(LINE, xy_mm, t_s)))
    assert number(found, "midline_pause_count") == 2  # [C] at 85 and 118 mm


@checks("C", "lifts at 75, 90, 115 and 130 mm: counts by construction", "midline_lift_count")
def test_only_lifts_within_20_mm_of_the_midline_are_counted() -> None:
    ends = [(0, 74), (76, 89), (91, 114), (116, 129), (131, 200)]
    x_mm = np.concatenate([np.linspace(a, b, 60) for a, b in ends])
    t_s = np.concatenate([np.linspace(0, 0.9, 60) + 1.2 * k for k in range(5)])
    found = measure_all(Workings(trial(LINE, along(x_mm), t_s, np.repeat(np.arange(5), 60))))
    assert number(found, "midline_lift_count") == 2  # [C]
    assert number(found, "lift_count") == 4  # [C]


@checks("C", "three marks of a change of hand among five", "hand_switch_count")
def test_only_marks_of_a_change_of_hand_are_counted() -> None:
    t_s = np.arange(0, 5, 1 / 120)
    kinds = ["hand_switch", "note", "hand_switch", "help", "hand_switch"]
    marks = tuple(Mark(0.5 + k, kind) for k, kind in enumerate(kinds))
    found = measure_all(Workings(trial(LINE, along(40 * t_s), t_s, marks=marks)))
    assert number(found, "hand_switch_count") == 3  # [C]


@checks(
    "C",
    "a line across the midline three times: there, back and there",
    "midline_crossings",
    "midline_crossing_share",
)
def test_a_guide_that_crosses_three_times_asks_for_three() -> None:
    points = np.array([[0, 0], [200, 0], [200, 30], [0, 30], [0, 60], [200, 60]], float)
    guide = Guide.from_points(points, corridor_mm=12, midline_x_mm=100)
    s_mm = np.linspace(0, guide.length_mm * (1 - 1e-9), 1320)
    whole = measure_all(Workings(trial(guide, guide.point_at(s_mm), s_mm / 40)))
    assert number(whole, "midline_crossings") == 3  # [C]
    assert number(whole, "midline_crossing_share") == 1  # [C]
    two = s_mm < 500
    part = measure_all(Workings(trial(guide, guide.point_at(s_mm[two]), s_mm[two] / 40)))
    assert number(part, "midline_crossings") == 2  # [C]
    assert number(part, "midline_crossing_share") == pytest.approx(2 / 3)  # [C]


@checks("C", "n - 1 turns of 2 atan(h/b) of a zigzag", "corner_count", "turning_total")
def test_a_zigzag_turns_at_every_tooth() -> None:
    points = np.array([[20 * k, 30.0 * (k % 2)] for k in range(8)])
    guide = Guide.from_points(points, corridor_mm=12)
    xy_mm = guide.point_at(np.linspace(0, guide.length_mm * (1 - 1e-9), 800))
    found = measure_all(Workings(trial(guide, xy_mm, np.linspace(0, 8, 800))))
    assert number(found, "corner_count") == 6  # [C]
    turn_deg = 2 * np.degrees(np.arctan2(30, 20))
    assert number(found, "turning_total") == pytest.approx(6 * turn_deg)  # [C]


def test_guide_ids_ignore_direction_and_place_but_not_shape_or_width() -> None:
    points = np.array([[20.0, 60.0], [50.25, 40.1], [90.0, 60.0]])
    plain = Guide.from_points(points, corridor_mm=8)
    assert guide_id(plain) == guide_id(
        Guide.from_points(points + np.array([3.3, -7.1]), corridor_mm=8)
    )
    assert guide_id(plain) == guide_id(plain.reversed())
    wider = Guide.from_points(points, corridor_mm=12)
    assert guide_id(plain) != guide_id(wider)
    assert path_id(plain) == path_id(wider)
    mirrored = Guide.from_points(points * np.array([-1, 1]), corridor_mm=8)
    assert path_id(mirrored) != path_id(plain)


def test_guide_id_is_the_documented_hash() -> None:
    import hashlib

    guide = Guide.from_points([[10, 10], [20.005, 10]], corridor_mm=8)
    # [C] by hand from the definition of ids: the lesser of the two directions' strings.
    texts = ["[[[[0,0],[1001,0]],false,800]]", "[[[[0,0],[-1000,0]],false,800]]"]
    digest = hashlib.sha256(min(texts).encode()).hexdigest()[:20]
    assert guide_id(guide) == f"g1-{digest}"


def test_trend_line_shrugs_off_one_outlier() -> None:
    days = np.arange(10) * 7.0
    values = 2 * np.arange(10) + 1.0
    values[6] = 100
    slope = trend_slope(days, values)
    assert slope.per_week == pytest.approx(2.0)  # [C]
    assert (slope.low_per_week, slope.high_per_week) == pytest.approx((2.0, 2.0))  # [C]
    other = theilslopes(values, days)
    assert slope.per_week == pytest.approx(7 * other.slope)  # [X]


def test_trend_line_of_sen_1968() -> None:
    # Sen 1968, worked example, as in the tests of scipy: slope 4, 3.71 to 4.38 at 0.93. [P]
    x, y = [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]
    slope = trend_slope(x, y, confidence=0.93)
    assert slope.per_week / 7 == pytest.approx(4.0)
    assert slope.low_per_week / 7 == pytest.approx(3.71, abs=0.01)
    assert slope.high_per_week / 7 == pytest.approx(4.38, abs=0.01)


def test_trend_line_needs_five_sessions() -> None:
    with pytest.raises(Refused, match="too_few_sessions"):
        trend_slope([0, 7, 14, 21], [1, 2, 3, 4])
