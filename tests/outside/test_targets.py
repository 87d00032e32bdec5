"""Dots tapped and joined, against closed forms and other libraries."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy.stats import binomtest

from analysis.guide import Guide, Target
from analysis.pointing import effective_index_bit, effective_width_mm
from analysis.registry import measure_all
from analysis.trace import FloatArray
from analysis.trial import Device
from analysis.value import Value
from analysis.workings import Workings
from tests.checked import checks
from tests.known import RATES_HZ, beside, trial

CONTACT_S = 0.02


def dots(centres_mm: FloatArray, radius_mm: float = 5.0) -> Guide:
    return Guide(
        targets=[Target(float(x), float(y), radius_mm, at) for at, (x, y) in enumerate(centres_mm)]
    )


def row(count: int, step_mm: float = 40.0) -> FloatArray:
    return np.column_stack([20 + step_mm * np.arange(count), np.full(count, 60.0)])


def moved(where_mm: FloatArray, dx_mm: float, dy_mm: float) -> FloatArray:
    return where_mm + np.array([dx_mm, dy_mm])


def taps(
    guide: Guide | None, contact_mm: FloatArray, step_s: float = 0.8, **changes: object
) -> dict[str, Value]:
    """Contacts of three samples each; only the first one is the place that was aimed at."""
    count = len(contact_mm)
    slide_mm = np.array([[0.0, 0.0], [0.3, 0.1], [0.5, 0.4]])
    xy_mm = (contact_mm[:, None, :] + slide_mm).reshape(-1, 2)
    t_s = (1.0 + step_s * np.arange(count)[:, None] + CONTACT_S * np.arange(3) / 2).ravel()
    stroke = np.repeat(np.arange(count), 3)
    return measure_all(Workings(trial(guide, xy_mm, t_s, stroke, mode="tap", **changes)))


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value


@checks(
    "C",
    "eight contacts on a ring of 3 mm about a point 2 mm off the centres",
    "target_error_mean",
    "target_error_constant",
    "target_error_constant_x",
    "target_error_constant_y",
    "target_error_variable",
)
def test_a_ring_beside_the_centres_splits_into_constant_and_variable_error() -> None:
    angle = np.arange(8) * np.pi / 4
    ring_mm = 3 * np.column_stack([np.cos(angle), np.sin(angle)])
    found = taps(dots(row(8)), moved(row(8), 2, 0) + ring_mm)
    constant = number(found, "target_error_constant")
    variable = number(found, "target_error_variable")
    assert constant == pytest.approx(2.0)
    assert number(found, "target_error_constant_x") == pytest.approx(2.0)
    assert number(found, "target_error_constant_y") == pytest.approx(0.0, abs=1e-9)
    assert variable == pytest.approx(3.0)
    assert np.hypot(constant, variable) == pytest.approx(3.60555, abs=1e-5)  # root mean square
    assert number(found, "target_error_mean") == pytest.approx(3.34139, abs=1e-5)


@checks("C", "contacts 3 mm below the centres", "target_error_constant_y", "target_error_variable")
def test_contacts_below_the_centres_have_an_error_to_the_bottom() -> None:
    found = taps(dots(row(6)), moved(row(6), 0.0, 3.0))
    assert number(found, "target_error_constant_x") == pytest.approx(0.0, abs=1e-9)
    assert number(found, "target_error_constant_y") == pytest.approx(3.0)
    assert number(found, "target_error_variable") == pytest.approx(0.0, abs=1e-9)


@checks(
    "C",
    "five taps on one dot, 2 mm to its right each",
    "completion",
    "hit_share",
    "target_error_constant",
    "target_error_variable",
)
def test_one_dot_may_be_asked_for_again_and_again() -> None:
    one_place = np.tile([[50.0, 60.0]], (5, 1))
    found = taps(dots(one_place), moved(one_place, 2.0, 0.0))
    assert number(found, "completion") == 1.0
    assert number(found, "hit_share") == 1.0
    assert number(found, "target_error_constant") == pytest.approx(2.0)
    assert number(found, "target_error_variable") == pytest.approx(0.0, abs=1e-9)


@checks("C", "8 of 10 within the radius", "hit_share")
@checks("X", "scipy.stats.binomtest, Wilson's interval", "hit_share")
def test_hits_have_a_wilson_interval() -> None:
    off_mm = np.zeros((10, 2))
    off_mm[[2, 7], 1] = 5.5
    value = taps(dots(row(10)), row(10) + off_mm)["hit_share"]
    assert value.number == pytest.approx(0.8)
    low, high = binomtest(8, 10).proportion_ci(method="wilson")
    assert value.low == pytest.approx(low, abs=1e-12)
    assert value.high == pytest.approx(high, abs=1e-12)
    assert value.low == pytest.approx(0.4902, abs=5e-5)  # (100 - 1.97) / 200
    assert value.high == pytest.approx(0.9433, abs=5e-5)


@checks("X", "scipy.stats.binomtest, Wilson's interval", "hit_share")
@pytest.mark.parametrize("hits", [0, 5])
def test_none_or_all_hit_keeps_the_interval_inside_the_unit(hits: int) -> None:
    off_mm = 0.0 if hits else 7.0
    value = taps(dots(row(5)), moved(row(5), 0.0, off_mm))["hit_share"]
    ends = binomtest(hits, 5).proportion_ci(method="wilson")
    assert (value.low, value.high) == pytest.approx(tuple(ends), abs=1e-12)
    assert value.low is not None
    assert value.high is not None
    assert 0.0 <= value.low <= hits / 5 <= value.high <= 1.0


@checks("C", "hand count", "miss_count", "repeat_contact_count", "completion", "hit_share")
def test_contacts_are_counted_by_what_they_met() -> None:
    where = row(5)
    contact_mm = np.array(
        [
            where[0],  # a hit
            moved(where[1], 7.0, 0.0),  # beside, first contact
            where[1],  # corrected
            [400.0, 400.0],  # far from everything
            where[2],
            moved(where[2], 1.0, 0.0),  # again
        ]
    )
    found = taps(dots(where), contact_mm)
    assert number(found, "miss_count") == 2  # beside, and far
    assert number(found, "repeat_contact_count") == 2
    assert number(found, "completion") == pytest.approx(3 / 5)  # 0, 1 (in the end) and 2
    assert number(found, "hit_share") == pytest.approx(2 / 3)  # of 0, 1 and 2
    assert found["target_error_mean"].reason == "too_few_trials"  # three attempted


@checks("C", "hand count", "completion", "miss_count")
def test_a_tap_of_one_sample_is_no_bounce() -> None:
    where = row(3)
    w = Workings(trial(dots(where), where, np.array([0.5, 1.0, 1.5]), np.arange(3), mode="tap"))
    found = measure_all(w)
    assert number(found, "completion") == 1.0
    assert number(found, "miss_count") == 0
    assert "low_rate" not in w.flags


def to_and_fro(
    apart_mm: float, error_mm: FloatArray, step_s: float = 0.8, radius_mm: float = 4.0
) -> dict[str, Value]:
    """Two dots in turn; each movement ends `error_mm` beyond its dot.

    The first contact errs as the last one does, so the mean distance moved is `apart_mm`
    plus twice the mean error.
    """
    sides = np.arange(len(error_mm) + 1) % 2
    centre_mm = np.column_stack([50 + apart_mm * sides, np.full(len(sides), 60.0)])
    beyond_mm = np.where(sides == 1, 1.0, -1.0) * np.append(error_mm[-1], error_mm)
    contact_mm = centre_mm + np.column_stack([beyond_mm, 0 * beyond_mm + 1.5])
    return taps(dots(centre_mm, radius_mm), contact_mm, step_s)


FIVE_MM = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])


@checks(
    "C",
    "axis errors -2..2 mm, 60 mm apart",
    "effective_width",
    "effective_index_of_difficulty",
    "target_error_constant_y",
)
def test_effective_width_comes_from_the_spread_along_the_way() -> None:
    found = to_and_fro(60, FIVE_MM)
    assert number(found, "effective_width") == pytest.approx(6.53485, abs=1e-5)
    assert number(found, "effective_index_of_difficulty") == pytest.approx(3.34788, abs=1e-5)
    assert found["throughput"].reason == "too_few_trials"  # five movements, eight are needed
    assert number(found, "target_error_constant_y") == pytest.approx(1.5)


@checks("C", "the same spread from ten movements of 0.8 s", "throughput", "effective_width")
def test_throughput_is_effective_difficulty_over_movement_time() -> None:
    # Twice the five errors have the standard deviation sqrt(20/9); stretched to sqrt(5/2).
    found = to_and_fro(60, np.tile(FIVE_MM, 2) * np.sqrt(2.5 / (20 / 9)))
    assert number(found, "effective_width") == pytest.approx(6.53485, abs=1e-5)
    assert number(found, "throughput") == pytest.approx(4.18486, abs=1e-5)


def with_width(width_mm: float, count: int) -> FloatArray:
    """Errors whose 4.133 standard deviations are a width."""
    shape = np.resize(FIVE_MM, count)
    shape = shape - shape.mean()
    return shape * width_mm / (4.133 * shape.std(ddof=1))


@checks("C", "A = 64, W = 8: log2(A/W + 1)", "effective_index_of_difficulty")
@checks(
    "C",
    "log2(A/W + 1) for A = 16 in, W = 0.25 in, the hardest condition of Fitts 1954",
    "effective_index_of_difficulty",
)
@pytest.mark.parametrize(
    ("apart_mm", "width_mm", "bits"), [(64, 8, 3.16993), (406.4, 6.35, 6.02237)]
)
def test_index_of_difficulty(apart_mm: float, width_mm: float, bits: float) -> None:
    found = to_and_fro(apart_mm, with_width(width_mm, 10))
    assert number(found, "effective_width") == pytest.approx(width_mm, abs=1e-9)
    assert number(found, "effective_index_of_difficulty") == pytest.approx(bits, abs=1e-5)


@checks("C", "log2(65) in 0.731 s, log2(128) in 0.731 s", "throughput")
@pytest.mark.parametrize(("apart_mm", "bits_per_s"), [(64 * 6.35, 8.23853), (127 * 6.35, 9.57592)])
def test_throughput_of_a_hard_condition(apart_mm: float, bits_per_s: float) -> None:
    found = to_and_fro(apart_mm, with_width(6.35, 10), step_s=0.731)
    assert number(found, "throughput") == pytest.approx(bits_per_s, abs=1e-5)


@checks("C", "mean of two conditions, a third with too few movements", "throughput")
def test_throughput_is_the_mean_over_conditions() -> None:
    # Ten movements of 60 mm, then ten of 30 mm, with one movement between them.
    error_mm = with_width(6.0, 10)
    near, far = 110.0, 50.0
    xs = [near if at % 2 else far for at in range(11)] + [
        200.0 if at % 2 else 230.0 for at in range(11)
    ]
    sign = [1 if b > a else -1 for a, b in pairwise(xs)]
    errors = [error_mm[-1], *error_mm, error_mm[-1], *error_mm]
    errors[11] = error_mm[-1]
    signs = [-sign[0], *sign]
    signs[11] = -sign[11]  # the same end effect for the second layout
    centre_mm = np.column_stack([xs, np.full(len(xs), 60.0)])
    contact_mm = centre_mm + np.column_stack([np.array(errors) * signs, np.zeros(len(xs))])
    found = taps(dots(centre_mm), contact_mm, step_s=0.5)
    expected = (np.log2(60 / 6 + 1) + np.log2(30 / 6 + 1)) / 2 / 0.5
    assert number(found, "throughput") == pytest.approx(expected, rel=1e-9)


@checks("C", "sqrt(2 pi e)", "effective_width")
def test_the_factor_is_the_entropy_of_a_normal_spread() -> None:
    assert np.sqrt(2 * np.pi * np.e) == pytest.approx(4.133, abs=3e-4)
    rng = np.random.default_rng(3)
    assert effective_width_mm(rng.normal(0, 2, 200_000)) == pytest.approx(8.266, rel=0.01)
    found = to_and_fro(60, FIVE_MM)
    assert number(found, "effective_width") == pytest.approx(4.133 * FIVE_MM.std(ddof=1))


@checks("C", "no spread", "effective_width", "effective_index_of_difficulty", "throughput")
def test_without_spread_there_is_no_effective_width() -> None:
    found = to_and_fro(60, np.zeros(10))
    for name in ("effective_width", "effective_index_of_difficulty", "throughput"):
        assert found[name].reason == "zero_variance", name


@checks("C", "definition", "effective_index_of_difficulty")
def test_moving_backwards_is_no_difficulty() -> None:
    assert effective_index_bit(FIVE_MM, np.full(5, -3.0)) == 0.0
    assert number(to_and_fro(60, FIVE_MM), "effective_index_of_difficulty") > 0.0


@checks("C", "hand count", "repeat_contact_count", "completion")
def test_a_place_asked_for_again_has_its_targets_met_in_their_order() -> None:
    where = np.array([[20.0, 60.0], [80.0, 60.0]] * 3)
    once = taps(dots(where), where)
    assert number(once, "completion") == 1.0
    assert number(once, "repeat_contact_count") == 0
    twice = taps(dots(where), np.array([where[0], where[0], *where[1:4]]))
    assert number(twice, "repeat_contact_count") == 1
    assert number(twice, "completion") == pytest.approx(4 / 6)


@checks(
    "C",
    "reasons by definition",
    "target_error_mean",
    "throughput",
    "completion",
    "hit_share",
    "effective_width",
)
def test_taps_that_cannot_be_measured_say_why() -> None:
    where = row(9)
    timeless = measure_all(Workings(trial(dots(where), where, None, np.arange(9), mode="tap")))
    assert timeless["throughput"].reason == "no_time"
    no_dots = taps(Guide.from_points([[0, 0], [100, 0]]), where)
    assert no_dots["completion"].reason == "guide_lacks_feature"
    assert no_dots["target_error_mean"].reason == "guide_lacks_feature"
    assert taps(None, where)["hit_share"].reason == "no_guide"
    assert taps(dots(where), np.zeros((0, 2)))["hit_share"].reason == "no_samples"
    far = taps(dots(where), moved(where, 0.0, 900.0))
    assert far["hit_share"].reason == "too_few_trials"
    assert number(far, "completion") == 0.0
    bare = taps(dots(where), where, device=Device("pen"))
    assert bare["effective_width"].reason == "not_calibrated"
    assert number(bare, "hit_share") == 1.0


@checks("C", "a clock that goes back inside a contact", "throughput", "target_error_mean")
def test_a_clock_that_goes_back_leaves_places() -> None:
    where = row(9)
    xy_mm = np.repeat(where, 2, axis=0)
    t_s = np.repeat(np.arange(9.0), 2)
    t_s[1::2] += 0.01
    t_s[8:] -= 3.0
    found = measure_all(
        Workings(trial(dots(where), xy_mm, t_s, np.repeat(np.arange(9), 2), mode="tap"))
    )
    assert found["throughput"].reason == "time_not_monotone"
    assert number(found, "target_error_mean") == 0.0


# Dots joined by a line.


def drawn(
    guide: Guide,
    xy_mm: FloatArray,
    rate_hz: float = 120,
    stroke: FloatArray | None = None,
) -> tuple[Workings, dict[str, Value]]:
    t_s = 0.5 + np.arange(len(xy_mm)) / rate_hz
    strokes = None if stroke is None else stroke.astype(np.int64)
    w = Workings(trial(guide, xy_mm, t_s, strokes, mode="join"))
    return w, measure_all(w)


def along(corner_mm: FloatArray, step_mm: float) -> FloatArray:
    line = Guide.from_points(corner_mm)
    return line.point_at(np.linspace(0, line.length_mm, round(line.length_mm / step_mm) + 1))


@checks(
    "C",
    "a line 3 mm below five dots in a row",
    "target_error_mean",
    "target_error_constant",
    "target_error_variable",
    "completion",
    "hit_share",
    "miss_count",
    "deviation_mean_abs",
    "deviation_rms",
    "deviation_bias",
    "deviation_p95",
    "deviation_max",
    "deviation_mean_abs_time",
    "hausdorff_distance",
    "path_length_ratio",
)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_line_beside_the_dots_errs_by_its_distance(rate_hz: int) -> None:
    line_mm = along(moved(row(5), 0.0, 3.0), 40 / rate_hz)
    _, found = drawn(dots(row(5), 5.0), line_mm, rate_hz)
    for name in ("target_error_mean", "target_error_constant", "target_error_constant_y"):
        assert number(found, name) == pytest.approx(3.0), name
    assert number(found, "target_error_variable") == pytest.approx(0.0, abs=1e-9)
    assert number(found, "hit_share") == 1.0
    assert number(found, "completion") == 1.0
    assert number(found, "miss_count") == 0
    for name in (
        "deviation_mean_abs",
        "deviation_rms",
        "deviation_p95",
        "deviation_max",
        "deviation_mean_abs_time",
    ):
        assert number(found, name) == pytest.approx(3.0, abs=1e-6), name
    assert number(found, "deviation_bias") == pytest.approx(-3.0, abs=1e-6)  # to the right
    assert number(found, "hausdorff_distance") == pytest.approx(3.0, abs=1e-6)
    assert number(found, "path_length_ratio") == pytest.approx(1.0, rel=1e-3)
    assert "in_corridor_share" not in found


@checks("C", "the same line with dots of 2 mm", "completion", "hit_share", "deviation_mean_abs")
def test_a_line_past_small_dots_is_whole_but_meets_none() -> None:
    w, found = drawn(dots(row(5), 2.0), along(moved(row(5), 0.0, 3.0), 0.4))
    assert number(found, "completion") == 0.0
    assert number(found, "hit_share") == 0.0
    assert number(found, "miss_count") == 5
    assert number(found, "deviation_mean_abs") == pytest.approx(3.0)
    assert "partial" not in w.flags
    assert w.travelled == "left_to_right"


@checks("C", "samples 8 mm apart, dots between them", "completion", "target_error_mean")
def test_a_dot_is_met_between_two_samples() -> None:
    x_mm = np.arange(16.0, 185.0, 8.0)  # dots at 20, 60, ...: always half way
    _, found = drawn(dots(row(5), 2.0), np.column_stack([x_mm, 0 * x_mm + 60]))
    assert number(found, "completion") == 1.0
    assert number(found, "target_error_mean") == pytest.approx(0.0, abs=1e-9)


@checks("C", "fillet of 5 mm at a right angle: r(sqrt 2 - 1)", "target_error_mean", "hit_share")
def test_rounded_corners_miss_their_dots_by_the_fillet() -> None:
    steps_mm = np.array([[0, 0], [40, 0], [40, 40], [80, 40], [80, 80], [120, 80], [120, 120]])
    corner_mm = steps_mm.astype(float)
    # A quarter of a circle of 5 mm at every corner, tangent to both sides.
    pieces = [corner_mm[0]]
    for before, at, after in zip(corner_mm[:-2], corner_mm[1:-1], corner_mm[2:], strict=True):
        u, v = (before - at) / 40, (after - at) / 40
        angle = np.linspace(0, np.pi / 2, 40)[:, None]
        pieces.append(at + 5 * (u + v) - 5 * (np.cos(angle) * v + np.sin(angle) * u))
    pieces.append(corner_mm[-1])
    _, found = drawn(dots(corner_mm, 2.0), along(np.vstack(pieces), 0.2))
    miss_mm = 5 * (np.sqrt(2) - 1)
    assert number(found, "target_error_mean") == pytest.approx(5 * miss_mm / 7, abs=1e-3)
    assert number(found, "hit_share") == pytest.approx(2 / 7)  # the two ends
    assert number(found, "completion") == pytest.approx(2 / 7)


@checks("C", "hand count", "completion", "hit_share", "deviation_mean_abs")
def test_half_a_line_meets_half_the_dots_and_a_bit_is_too_little() -> None:
    w, half = drawn(dots(row(5)), along(row(5)[:3], 0.4))
    assert number(half, "completion") == pytest.approx(3 / 5)
    assert number(half, "hit_share") == 1.0
    assert half["target_error_mean"].reason == "too_few_trials"
    assert number(half, "deviation_mean_abs") == pytest.approx(0.0, abs=1e-9)
    assert w.line_completion == pytest.approx(0.5, abs=0.01)
    assert "partial" in w.flags
    short, bit = drawn(dots(row(5)), along(row(5)[:2] * [0.5, 1.0] + [10.0, 0.0], 0.4))
    assert short.line_completion < 0.25
    assert number(bit, "completion") == pytest.approx(1 / 5)
    assert bit["deviation_mean_abs"].reason == "too_little_traced"


@checks("C", "hand count", "repeat_contact_count")
def test_a_lift_on_a_dot_is_no_second_visit_but_coming_back_is() -> None:
    where = row(5)
    pieces = [along(where[at : at + 2], 0.4) for at in range(4)]
    lifted = np.concatenate([np.full(len(piece), at) for at, piece in enumerate(pieces)])
    _, found = drawn(dots(where), np.vstack(pieces), stroke=lifted)
    assert number(found, "repeat_contact_count") == 0
    back = along(np.array([where[0], moved(where[2], 8, 0), moved(where[1], 20, 0), where[4]]), 0.4)
    _, again = drawn(dots(where, 3.0), back)
    assert number(again, "repeat_contact_count") == 2  # into the third dot twice more


@checks("C", "the dots joined backwards", "completion", "target_error_constant_y")
def test_dots_joined_the_other_way_are_met_too() -> None:
    w, found = drawn(dots(row(6)), along(moved(row(6)[::-1], 0.0, 2.0), 0.4))
    assert w.travelled == "right_to_left"
    assert "traced_other_way" in w.flags
    assert number(found, "completion") == 1.0
    assert number(found, "target_error_constant_y") == pytest.approx(2.0)


@checks("C", "a square of dots that ends where it began", "completion", "hit_share")
def test_a_dot_that_is_first_and_last_is_two_dots() -> None:
    ring = np.array([[0.0, 0.0], [50.0, 0.0], [50.0, 50.0], [0.0, 50.0], [0.0, 0.0]])
    _, whole = drawn(dots(ring), along(ring, 0.4))
    assert number(whole, "completion") == 1.0
    _, open_ring = drawn(dots(ring), along(ring[:4], 0.4))
    assert number(open_ring, "completion") == pytest.approx(4 / 5)
    assert number(open_ring, "hit_share") == 1.0


@checks(
    "X",
    "shapely 2: distances of points and curves from the line through the dots",
    "deviation_max",
    "hausdorff_distance",
    "frechet_distance",
)
def test_joining_is_aligned_with_the_line_through_the_dots() -> None:
    where = np.array([[20, 40], [60, 90], [100, 40], [140, 90], [180, 40]], dtype=float)
    guide = Guide.from_points(where)
    s_mm = np.linspace(0, guide.length_mm, 900)
    xy_mm = beside(guide, s_mm, 2.5 * np.sin(s_mm / 9))
    _, found = drawn(dots(where), xy_mm)
    asked, made = shapely.LineString(where), shapely.LineString(xy_mm)
    far_mm = max(asked.distance(shapely.Point(p)) for p in xy_mm)
    assert number(found, "deviation_max") == pytest.approx(far_mm, abs=1e-6)
    hausdorff_mm = shapely.hausdorff_distance(asked, made, densify=0.001)
    assert number(found, "hausdorff_distance") == pytest.approx(hausdorff_mm, abs=0.02)
    frechet_mm = shapely.frechet_distance(
        *(shapely.segmentize(line, 0.5) for line in (asked, made))
    )
    assert number(found, "frechet_distance") == pytest.approx(frechet_mm, abs=0.6)  # 1 mm steps


@checks("C", "a line given beside the dots does not count", "deviation_mean_abs", "completion")
def test_the_line_of_joined_dots_runs_through_the_dots() -> None:
    beside_them = Guide.from_points([[20, 200], [180, 200]]).parts
    guide = Guide(parts=beside_them, targets=dots(row(5)).targets)
    _, found = drawn(guide, along(row(5), 0.4))
    assert number(found, "deviation_mean_abs") == pytest.approx(0.0, abs=1e-9)
    assert number(found, "completion") == 1.0


@checks("C", "speed with a known number of peaks", "speed_peaks_per_cm", "dtw_mean_distance")
def test_joining_has_speed_peaks_and_warped_distance() -> None:
    # Four minimum-jerk reaches of 40 mm from dot to dot: one peak each over 16 cm.
    u = np.linspace(0, 1, 97)[:-1]
    reach_mm = 40 * (10 * u**3 - 15 * u**4 + 6 * u**5)
    x_mm = np.append(np.concatenate([20 + 40 * at + reach_mm for at in range(4)]), 180.0)
    _, found = drawn(dots(row(5)), np.column_stack([x_mm, 0 * x_mm + 62]))
    assert number(found, "speed_peaks_per_cm") == pytest.approx(4 / 16, rel=0.01)
    assert number(found, "dtw_mean_distance") == pytest.approx(2.0, abs=0.05)
