"""Two hands at once, against closed forms and scipy."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import hilbert
from scipy.special import j0

from analysis import shapes
from analysis.guide import Guide, Part
from analysis.registry import measure_all
from analysis.trace import FloatArray, Trace
from analysis.trial import Condition, Device, Mark
from analysis.value import Value
from analysis.workings import Workings
from tests.checked import checks
from tests.known import RATES_HZ, trial

UPPER_MM = np.array([[20.0, 40.0], [220.0, 40.0]])
LOWER_MM = np.array([[20.0, 90.0], [220.0, 90.0]])


def rails(corridor_mm: float = 8.0) -> Guide:
    widths_mm = np.array(corridor_mm)
    return Guide((Part(UPPER_MM, False, widths_mm), Part(LOWER_MM, False, widths_mm)))


def hands(
    guide: Guide | None,
    first_mm: FloatArray,
    second_mm: FloatArray,
    rate_hz: float = 120,
    *,
    late_s: float = 0.0,
    **changes: object,
) -> Workings:
    """Two contacts sampled in turn; both have stroke 0, as browsers may number them."""
    t_s = [0.5 + np.arange(len(first_mm)) / rate_hz, 0.5 + np.arange(len(second_mm)) / rate_hz]
    # The second contact reports between the samples of the first.
    t_s[1] = t_s[1] + 0.4 / rate_hz + late_s
    pointer = np.repeat([0, 1], [len(first_mm), len(second_mm)])
    order = np.argsort(np.concatenate(t_s), kind="stable")
    trace = Trace(
        xy_mm=np.vstack([first_mm, second_mm])[order],
        t_s=np.concatenate(t_s)[order],
        stroke=np.zeros(len(order), dtype=int),
        pointer=pointer[order],
    )
    return Workings(trial(guide, first_mm, None, trace=trace, mode="both", **changes))


def number(found: dict[str, Value], name: str) -> float:
    value = found[name].number
    assert value is not None, (name, found[name].reason)
    return value


def on_rails(s_0_mm: FloatArray, s_1_mm: FloatArray, rate_hz: float = 120) -> dict[str, Value]:
    """Both contacts on their rails at given progress."""
    first_mm = np.column_stack([20 + s_0_mm, 0 * s_0_mm + 40])
    second_mm = np.column_stack([20 + s_1_mm, 0 * s_1_mm + 90])
    return measure_all(hands(rails(), first_mm, second_mm, rate_hz))


def lower(xy_mm: FloatArray, by_mm: float) -> FloatArray:
    return xy_mm + np.array([0.0, by_mm])


def even(length_mm: float = 200.0, speed_mm_s: float = 40.0, rate_hz: float = 120) -> FloatArray:
    return np.linspace(0, length_mm, round(length_mm / speed_mm_s * rate_hz) + 1)


@checks(
    "C",
    "lines 1 mm and 2.5 mm beside their own rails",
    "both_deviation_difference",
    "completion",
    "in_corridor_share",
)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_each_contact_is_measured_against_its_own_part(rate_hz: int) -> None:
    x_mm = 20 + even(rate_hz=rate_hz)
    first_mm = np.column_stack([x_mm, 0 * x_mm + 41])
    second_mm = np.column_stack([x_mm, 0 * x_mm + 92.5])
    w = hands(rails(), first_mm, second_mm, rate_hz)
    found = measure_all(w)
    assert number(found, "both_deviation_difference") == pytest.approx(1.5, abs=1e-6)
    assert number(found, "completion") == pytest.approx(1.0)
    assert number(found, "in_corridor_share") == pytest.approx(1.0)
    assert w.travelled == "left_to_right"
    assert "time_not_monotone" not in w.flags


@checks("C", "half of one part, one part of the other twice as long", "completion")
@checks("C", "the same, the half outside its corridor", "in_corridor_share")
def test_shares_are_weighted_by_the_length_of_the_parts() -> None:
    short_mm = np.array([[20.0, 90.0], [120.0, 90.0]])
    width_mm = np.array(8.0)
    guide = Guide((Part(UPPER_MM, False, width_mm), Part(short_mm, False, width_mm)))
    whole, half = even(), even(50.0)
    first_mm = np.column_stack([20 + whole, 0 * whole + 40])
    second_mm = np.column_stack([20 + half, 0 * half + 96])  # 6 mm off, the corridor ends at 4
    w = hands(guide, first_mm, second_mm)
    found = measure_all(w)
    assert number(found, "completion") == pytest.approx((200 + 50) / 300, abs=0.002)
    assert number(found, "in_corridor_share") == pytest.approx(200 / 300, abs=0.002)
    assert "partial" in w.flags


def swaying(t_s: FloatArray) -> FloatArray:
    """Progress whose speed varies without a short period. [mm]"""
    a, b = 2 * np.pi * 0.7, 2 * np.pi * 1.31
    return 35 * t_s + 14 / a * (1 - np.cos(a * t_s)) + 9 / b * np.sin(b * t_s + 0.6)


def swaying_hands(delay_s: float, rate_hz: float, noise_mm: float = 0.0) -> dict[str, Value]:
    t_s = np.arange(round(5 * rate_hz)) / rate_hz
    rng = np.random.default_rng(11)
    first, second = 8 + swaying(t_s), 8 + swaying(t_s + 0.4 / rate_hz - delay_s)
    return on_rails(
        first + rng.normal(0, noise_mm, len(t_s)),
        second + rng.normal(0, noise_mm, len(t_s)),
        rate_hz,
    )


@checks("C", "contact 1 delayed by 0.150 s", "both_progress_lag")
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("delay_s", [0.150, -0.150, 0.3])
@pytest.mark.parametrize("noise_mm", [0.0, 0.05])
def test_a_delayed_contact_lags_by_its_delay(rate_hz: int, delay_s: float, noise_mm: float) -> None:
    lag_s = number(swaying_hands(delay_s, rate_hz, noise_mm), "both_progress_lag")
    assert lag_s == pytest.approx(delay_s, abs=1 / rate_hz)
    if noise_mm == 0:
        assert lag_s == pytest.approx(delay_s, abs=0.002)


@checks("C", "two identical contacts", "both_progress_lag", "both_progress_correlation")
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_identical_contacts_have_no_lag(rate_hz: int) -> None:
    found = swaying_hands(0.0, rate_hz)
    assert number(found, "both_progress_lag") == pytest.approx(0.0, abs=0.001)
    assert number(found, "both_progress_correlation") == pytest.approx(1.0, abs=0.001)


@checks("C", "speeds with sines a phase apart: cos of the phase", "both_progress_correlation")
@pytest.mark.parametrize("phase_deg", [0, 60, 90, 150])
def test_correlation_of_sines_is_the_cosine_of_their_phase(phase_deg: float) -> None:
    omega = 2 * np.pi * 1.0
    t_s = np.arange((5 * 120) + 1) / 120  # five whole cycles
    phase = np.radians(phase_deg)
    first = 8 + 35 * t_s - 20 / omega * np.cos(omega * t_s)
    second = 8 + 35 * t_s - 20 / omega * np.cos(omega * (t_s + 0.4 / 120) - phase)
    found = on_rails(first, second)
    assert number(found, "both_progress_correlation") == pytest.approx(np.cos(phase), abs=0.02)


@checks("C", "speeds of unlike period", "both_progress_lag")
def test_hands_that_do_not_move_alike_have_no_lag() -> None:
    t_s = np.arange(1200) / 120
    found = on_rails(
        5 + 18 * t_s - 4 * np.cos(2 * np.pi * 0.5 * t_s),
        5 + 18 * t_s - 2 * np.cos(2 * np.pi * 1.3 * t_s),
    )
    assert found["both_progress_lag"].reason == "not_alike"
    assert abs(number(found, "both_progress_correlation")) < 0.3


@checks("C", "even speed", "both_progress_lag", "both_progress_correlation")
def test_even_speed_has_nothing_to_correlate() -> None:
    found = on_rails(even(), even())
    assert found["both_progress_correlation"].reason == "zero_variance"
    assert found["both_progress_lag"].reason == "zero_variance"


WAVES, LENGTH_MM, SWING_MM = 5, 150.0, 12.0


def mirrored_sines(waves: float = WAVES) -> Guide:
    """Two sines down the page, mirrored about x = 120."""
    points_mm = shapes.sine(LENGTH_MM, SWING_MM, waves)[:, ::-1]
    right_mm = points_mm + np.array([140.0, 10.0])
    left_mm = right_mm * np.array([-1.0, 1.0]) + np.array([240.0, 0.0])
    return Guide((Part(left_mm), Part(right_mm)))


def on_sines(
    place: FloatArray, behind_deg: FloatArray | float, rate_hz: float = 120, rms_mm: float = 0.0
) -> tuple[Workings, FloatArray, FloatArray]:
    """Contacts at a place down the page, in cycles; contact 1 is behind by a phase."""
    guide = mirrored_sines()
    rng = np.random.default_rng(7)
    made = []
    for part, cycles in zip(
        guide.parts, (place, place - np.asarray(behind_deg) / 360), strict=True
    ):
        y_mm = 10 + cycles * LENGTH_MM / WAVES
        x_mm = np.interp(y_mm, part.points_mm[:, 1], part.points_mm[:, 0])
        made.append(np.column_stack([x_mm, y_mm]) + rng.normal(0, rms_mm, (len(y_mm), 2)))
    return hands(guide, made[0], made[1], rate_hz), made[0], made[1]


def steady(rate_hz: float, cycles: float = 4.6) -> FloatArray:
    """From 0.2 of a cycle on, one cycle a second."""
    return 0.2 + np.arange(round(cycles * rate_hz) + 1) / rate_hz


@checks("C", "mirrored sines 30 deg apart", "both_relative_phase_mean", "both_relative_phase_sd")
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("behind_deg", [0, 30, -20])
def test_mirrored_sines_have_the_phase_they_were_given(rate_hz: int, behind_deg: float) -> None:
    # The second contact reports 0.4 of a sample later: place it there.
    place = steady(rate_hz)
    w, _, _ = on_sines(place, behind_deg - 360 * 0.4 / rate_hz, rate_hz)
    found = measure_all(w)
    assert number(found, "both_relative_phase_mean") == pytest.approx(behind_deg, abs=0.5)
    assert number(found, "both_relative_phase_sd") == pytest.approx(0.0, abs=1.0)


@checks("C", "phase swinging by 15 deg: sqrt(-2 ln J0(15 deg))", "both_relative_phase_sd")
@checks("C", "the same: its mean stays", "both_relative_phase_mean")
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_phase_that_wanders_has_the_spread_of_its_wandering(rate_hz: int) -> None:
    place = steady(rate_hz)
    # Once in three cycles: the whole cycles of contact 0 in this record are three.
    wander = 15 * np.sin(2 * np.pi * (place - place[0]) / 3)
    found = measure_all(on_sines(place, 30 + wander, rate_hz)[0])
    spread = np.degrees(np.sqrt(-2 * np.log(j0(np.radians(15)))))
    assert spread == pytest.approx(10.63, abs=0.005)
    # An error of a tenth would be 1.06 deg.
    assert number(found, "both_relative_phase_sd") == pytest.approx(spread, abs=0.3)
    # The second contact is sampled 0.4 of a step later, at a cycle a second.
    later_deg = 360 * 0.4 / rate_hz
    assert number(found, "both_relative_phase_mean") == pytest.approx(30 + later_deg, abs=0.3)


@checks(
    "X",
    "scipy.signal.hilbert on the raw positions across the page",
    "both_relative_phase_mean",
    "both_relative_phase_sd",
)
def test_the_phase_is_that_of_the_raw_positions() -> None:
    place = steady(120)
    w, first_mm, second_mm = on_sines(place, 25 + 8 * np.sin(place), rms_mm=0.05)
    found = measure_all(w)
    # Four whole cycles of the first contact, the mirror turned over.
    rises = np.flatnonzero(np.diff(np.sign(first_mm[:, 0] - first_mm[:, 0].mean())) > 0)
    whole = slice(rises[0] + 1, rises[-1] + 1)
    left, right = first_mm[whole, 0], -second_mm[whole, 0]
    phase = [np.angle(hilbert(x - x.mean())) for x in (left, right)]
    mean = np.exp(1j * (phase[0] - phase[1])).mean()
    raw_deg = np.degrees(np.angle(mean))
    raw_sd_deg = np.degrees(np.sqrt(-2 * np.log(abs(mean))))
    later_deg = 360 * 0.4 / 120  # the second contact is sampled 0.4 of a step later
    assert number(found, "both_relative_phase_mean") == pytest.approx(raw_deg + later_deg, abs=0.3)
    assert raw_sd_deg > 4.0
    assert number(found, "both_relative_phase_sd") == pytest.approx(raw_sd_deg, abs=0.3)


@checks("C", "four laps of mirrored circles", "both_relative_phase_mean", "completion")
def test_mirrored_circles_have_a_phase_from_three_laps_on() -> None:
    points_mm = shapes.circle(30)
    right_mm = points_mm + np.array([130.0, 20.0])
    left_mm = right_mm * np.array([-1.0, 1.0]) + np.array([240.0, 0.0])
    guide = Guide((Part(left_mm, True), Part(right_mm, True)))

    def laps(count: float) -> dict[str, Value]:
        turn = np.linspace(0, count, round(count * 144) + 1)
        made = [
            Guide((part,)).point_at((turn - behind) * Guide((part,)).length_mm)
            for part, behind in zip(guide.parts, (0.0, 40 / 360), strict=True)
        ]
        return measure_all(hands(guide, made[0], made[1]))

    four = laps(4.5)
    later_deg = 360 * 0.4 / 144
    assert number(four, "both_relative_phase_mean") == pytest.approx(40 + later_deg, abs=1.5)
    assert number(four, "completion") == pytest.approx(1.0)
    assert laps(2.0)["both_relative_phase_mean"].reason == "too_little_traced"


HOLD = Guide((Part(UPPER_MM, False, np.array(8.0)),))


def holding(held_mm: FloatArray, *, first_holds: bool, **changes: object) -> dict[str, Value]:
    drawn_mm = np.column_stack([20 + even(), 0 * even() + 41])
    pair = (held_mm, drawn_mm) if first_holds else (drawn_mm, held_mm)
    return measure_all(hands(HOLD, *pair, **changes))


@checks("C", "a hold moved by 4 mm", "hold_drift", "hold_lift_count", "completion")
@pytest.mark.parametrize("first_holds", [True, False])
def test_the_contact_that_moves_less_holds(first_holds: bool) -> None:
    held_mm = np.tile([100.0, 120.0], (500, 1))
    held_mm[200:300] += np.array([2.4, 3.2])
    found = holding(held_mm, first_holds=first_holds)
    assert number(found, "hold_drift") == pytest.approx(4.0)
    assert number(found, "hold_lift_count") == 0
    assert number(found, "completion") == pytest.approx(1.0)
    assert number(found, "in_corridor_share") == pytest.approx(1.0)
    assert found["both_deviation_difference"].reason == "guide_lacks_feature"


@checks("C", "a hold let go twice", "hold_lift_count", "hold_drift")
def test_a_hold_let_go_is_counted() -> None:
    line = even()
    held_t_s = np.concatenate([a + np.arange(60) / 120 for a in (0.5, 1.5, 2.5)])
    held_mm = np.tile([100.0, 120.0], (180, 1))
    trace = Trace(
        xy_mm=np.vstack([np.column_stack([20 + line, 0 * line + 41]), held_mm]),
        t_s=np.concatenate([0.5 + np.arange(len(line)) / 120, held_t_s]),
        stroke=np.concatenate([np.zeros(len(line), int), np.repeat([1, 2, 3], 60)]),
        pointer=np.repeat([0, 1], [len(line), 180]),
    )
    w = Workings(trial(HOLD, held_mm, None, trace=trace, mode="both"))
    found = measure_all(w)
    assert number(found, "hold_lift_count") == 2
    assert number(found, "hold_drift") == 0.0
    # From the first contact of either hand to the last lift of either.
    assert number(found, "duration") == pytest.approx((len(line) - 1) / 120)
    assert [event["pointer"] for event in w.events["lifts"]] == [1, 1]


@checks("C", "first contact of either hand", "initiation_time", "duration")
def test_two_hands_begin_with_the_first_and_end_with_the_last() -> None:
    x_mm = 20 + even()
    second_mm = np.column_stack([x_mm, 0 * x_mm + 90])
    w = hands(rails(), second_mm - [0.0, 50.0], second_mm[:400], late_s=-0.3)
    found = measure_all(w)
    assert number(found, "initiation_time") == pytest.approx(0.2 + 0.4 / 120)
    assert number(found, "duration") == pytest.approx(5.3 - 0.4 / 120)


@checks("C", "marks entered by the adult", "hand_switch_count")
def test_changes_of_hand_are_those_marked() -> None:
    marks = (Mark(1.0, "hand_switch"), Mark(2.0, "rest"), Mark(3.0, "hand_switch"))
    x_mm = 20 + even()
    first_mm = np.column_stack([x_mm, 0 * x_mm + 40])
    found = measure_all(hands(rails(), first_mm, lower(first_mm, 50), marks=marks))
    assert number(found, "hand_switch_count") == 2


BOTH = (
    "both_deviation_difference",
    "both_progress_lag",
    "both_progress_correlation",
    "both_relative_phase_mean",
    "both_relative_phase_sd",
)


def one_contact(guide: Guide | None) -> dict[str, Value]:
    x_mm = 20 + even()
    xy_mm = np.column_stack([x_mm, 0 * x_mm + 40])
    return measure_all(Workings(trial(guide, xy_mm, 0.5 + np.arange(len(x_mm)) / 120, mode="both")))


def two_waves() -> dict[str, Value]:
    guide = mirrored_sines(waves=2)
    made = [Guide((part,)).point_at(even(guide.length_mm / 2)) for part in guide.parts]
    return measure_all(hands(guide, made[0], made[1]))


def three_parts() -> dict[str, Value]:
    x_mm = 20 + even()
    first_mm = np.column_stack([x_mm, 0 * x_mm + 40])
    guide = Guide((*rails().parts, Part(lower(UPPER_MM, 90))))
    return measure_all(hands(guide, first_mm, lower(first_mm, 50)))


REASONS: list[tuple[Callable[[], dict[str, Value]], dict[str, str]]] = [
    (lambda: one_contact(HOLD), dict.fromkeys(BOTH, "guide_lacks_feature")),
    (lambda: one_contact(HOLD), {"hold_drift": "too_little_traced"}),
    (lambda: one_contact(HOLD), {"hold_lift_count": "too_little_traced"}),
    (lambda: one_contact(rails()), dict.fromkeys(BOTH[:3], "too_little_traced")),
    (lambda: one_contact(rails()), {"hold_drift": "guide_lacks_feature"}),
    (lambda: one_contact(rails()), {"both_relative_phase_mean": "guide_lacks_feature"}),
    (lambda: one_contact(None), dict.fromkeys((*BOTH, "hold_drift", "completion"), "no_guide")),
    (lambda: on_rails(even(), even(30.0, 15.0)), {"both_progress_lag": "too_little_traced"}),
    (lambda: on_rails(even(), even()), {"both_relative_phase_sd": "guide_lacks_feature"}),
    (two_waves, {"both_relative_phase_mean": "guide_lacks_feature"}),
    (three_parts, dict.fromkeys((*BOTH, "hold_drift", "completion"), "guide_lacks_feature")),
    (lambda: on_rails(even(rate_hz=30), even(rate_hz=30), 30), {BOTH[1]: "rate_too_low"}),
    (lambda: on_rails(even(speed_mm_s=400), even(speed_mm_s=400)), {BOTH[2]: "too_few_samples"}),
]


@checks("C", "reasons by definition", *BOTH, "hold_drift", "hold_lift_count", "completion")
@pytest.mark.parametrize(("made", "reasons"), REASONS)
def test_two_hands_that_cannot_be_compared_say_why(
    made: Callable[[], dict[str, Value]], reasons: dict[str, str]
) -> None:
    found = made()
    assert {name: found[name].reason for name in reasons} == reasons


@checks("C", "one contact of two parts of equal length", "completion", "in_corridor_share")
def test_a_contact_that_was_never_seen_covers_nothing() -> None:
    found = one_contact(rails())
    assert number(found, "completion") == pytest.approx(0.5)
    assert number(found, "in_corridor_share") == pytest.approx(0.5)


@checks("C", "both_hands by definition", "both_deviation_difference", "hold_lift_count")
def test_two_hands_on_a_bare_tablet() -> None:
    bare = Device("touch")
    held_mm = np.tile([100.0, 120.0], (500, 1))
    found = holding(held_mm, first_holds=False, device=bare)
    assert found["hold_drift"].reason == "not_calibrated"
    assert number(found, "hold_lift_count") == 0
    x_mm = 20 + even()
    first_mm = np.column_stack([x_mm, 0 * x_mm + 40])
    pair = measure_all(hands(rails(), first_mm, lower(first_mm, 50), device=bare))
    assert pair["both_deviation_difference"].reason == "not_calibrated"


def test_two_hands_are_said_to_go_as_asked_or_the_other_way_or_neither() -> None:
    x_mm = 20 + even()
    first_mm = np.column_stack([x_mm, 0 * x_mm + 40])
    second_mm = lower(first_mm, 50)
    none = Condition(hand="both", direction="none")

    def way(first: FloatArray, second: FloatArray, asked: Condition) -> str | None:
        return hands(rails(), first, second, condition=asked).travelled

    asked = Condition(hand="both", direction="left_to_right")
    assert way(first_mm, second_mm, asked) == "left_to_right"
    assert way(first_mm[::-1], second_mm[::-1], asked) == "right_to_left"
    assert way(first_mm[::-1], second_mm, asked) is None
    assert way(first_mm, second_mm, none) == "none"
    assert way(first_mm, second_mm, Condition()) == "left_to_right"
