"""Whatever the series, every measure is one finite number or one reason; and invariances."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.hand_direction import CELLS
from analysis.registry import MEASURES, measure_series, reasons_of
from analysis.series import LARGEST, CellTrial, GoalLevel, Reliability, Series
from analysis.trend import s_counts, trend_test
from analysis.value import Value

ENTRIES = {entry.id: entry for entry in MEASURES if entry.scope == "series"}
OFTEN_WITHOUT = {"hand_effect", "direction_effect", "across_body_effect"}
RANGES = {
    "trend_test": (0, 1),
    "nonoverlap_all_pairs": (0, 1),
    "nonoverlap_tau": (-1, 1),
    "two_sd_signal_count": (0, 23),
    "criterion_met_share": (0, 1),
    "laterality_index": (-100, 100),
}
PHASES = ("nonoverlap_all_pairs", "nonoverlap_tau", "tau_u")

number = st.one_of(
    st.floats(-LARGEST, LARGEST, allow_nan=False),
    st.floats(-100, 100),
    st.integers(-3, 3).map(float),
    st.sampled_from([0.0, 5e-324, -1e-300, LARGEST, -LARGEST]),
)
hand = st.sampled_from(["left", "right", "free", None])
way = st.sampled_from(["left_to_right", "right_to_left", "downward", None])


@st.composite
def any_series(draw: st.DrawFn) -> Series:
    count = draw(st.integers(0, 24))
    values = draw(st.lists(number, min_size=count, max_size=count))
    days = sorted(draw(st.lists(st.integers(0, 60), min_size=count, max_size=count)))
    better = draw(st.sampled_from(["low", "high", "near", "none"]))
    pairs = draw(st.lists(st.tuples(number, number), max_size=9))
    return Series(
        days=np.array(days),
        values=np.array(values),
        better=better,  # type: ignore[arg-type]
        near=draw(number) if better == "near" else None,
        baseline_count=draw(st.sampled_from([None, 0, count // 3, count // 2, count])),
        repeats=np.array(pairs).reshape(-1, 2),
        reliability=draw(
            st.none()
            | st.builds(Reliability, st.floats(0, LARGEST), st.floats(-1, 1), st.booleans())
        ),
        met=tuple(draw(st.lists(st.none() | st.booleans(), max_size=9))),
        met_of=draw(st.none() | st.integers(1, 6)),
        goals=tuple(
            draw(
                st.lists(
                    st.builds(
                        GoalLevel,
                        st.floats(-2, 2),
                        st.floats(0, LARGEST, exclude_min=True),
                        st.booleans(),
                    ),
                    max_size=4,
                )
            )
        ),
        hands=tuple(draw(st.lists(hand, max_size=9))),
        cells=draw(any_cells()),
    )


@st.composite
def any_cells(draw: st.DrawFn) -> tuple[CellTrial, ...]:
    whole = draw(st.sampled_from([0, 2, 3, 6, 12, 13]))
    cells = [CellTrial(*cell, k, draw(number)) for k in range(whole) for cell in CELLS]
    more = st.builds(CellTrial, hand, way, st.integers(0, 15), number)
    return tuple(cells + draw(st.lists(more, max_size=6)))


# Drawing so many parts is slow on a busy machine, which is no fault of the test.
@settings(
    max_examples=200,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(series=any_series())
def test_any_series_gives_a_value_or_a_reason_that_was_announced(series: Series) -> None:
    found = measure_series(series)
    assert list(found) == list(ENTRIES)
    for name, value in found.items():
        check(name, value)


def check(name: str, value: Value) -> None:
    assert (value.number is None) != (value.reason is None)
    if value.number is None:
        assert value.reason in reasons_of(ENTRIES[name])
        assert value.low is None
        return
    assert math.isfinite(value.number)
    least, most = RANGES.get(name, (-math.inf, math.inf))
    assert least <= value.number <= most
    if value.low is None or value.high is None:
        assert name in OFTEN_WITHOUT or not ENTRIES[name].interval
        return
    assert ENTRIES[name].interval
    assert value.low <= value.high
    slack = 1e-9 * max(abs(value.low), abs(value.high))
    # A bootstrap of a few huge values among small ones may miss the mean itself.
    if name not in OFTEN_WITHOUT:
        assert value.low - slack <= value.number <= value.high + slack


@pytest.mark.parametrize("count", range(4))
def test_up_to_three_sessions_have_no_trend(count: int) -> None:
    found = measure_series(
        Series(days=np.arange(count), values=np.arange(count), baseline_count=count // 2)
    )
    for name in ("trend_slope", "trend_test", *PHASES, "two_sd_band", "two_sd_signal_count"):
        assert found[name].reason == "too_few_sessions"


# Whole numbers: adding and multiplying them by powers of two is exact, ties stay ties.
whole = st.lists(st.integers(-50, 50), min_size=6, max_size=16)


def phased(values: Any, better: str = "high", **more: Any) -> dict[str, Value]:
    array = np.asarray(values, dtype=float)
    fields: dict[str, Any] = {"days": 2 * np.arange(len(array)), "baseline_count": 3} | more
    cells = [
        CellTrial(*cell, k, float(value))
        for k, row in enumerate(array[: len(array) // 4 * 4].reshape(-1, 4))
        for cell, value in zip(CELLS, row, strict=True)
    ]
    return measure_series(
        Series(
            values=array,
            better=better,  # type: ignore[arg-type]
            repeats=array[: len(array) // 2 * 2].reshape(-1, 2),
            cells=tuple(cells),
            **fields,
        )
    )


def same(one: Value, other: Value, *, factor: float = 1.0, shift: float = 0.0) -> None:
    assert one.reason == other.reason
    for before, after in (
        (one.number, other.number),
        (one.low, other.low),
        (one.high, other.high),
    ):
        assert (before is None) == (after is None)
        if before is not None:
            assert after == pytest.approx(factor * before + shift, rel=1e-9, abs=1e-9)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(values=whole, shift=st.integers(-1000, 1000))
def test_a_shift_moves_the_band_and_nothing_else(values: list[int], shift: int) -> None:
    plain, moved = phased(values), phased(np.array(values) + shift)
    for name in ENTRIES:
        same(plain[name], moved[name], shift=shift if name == "two_sd_band" else 0.0)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(values=whole, power=st.integers(-3, 12))
def test_a_scale_multiplies_what_has_the_unit(values: list[int], power: int) -> None:
    factor = 2.0**power
    plain, scaled = phased(values), phased(factor * np.array(values))
    for name, entry in ENTRIES.items():
        same(plain[name], scaled[name], factor=factor if "{unit}" in entry.unit else 1.0)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(values=whole, gaps=st.data())
def test_time_run_backwards_flips_the_slope_and_keeps_p(values: list[int], gaps: Any) -> None:
    steps = gaps.draw(st.lists(st.integers(0, 9), min_size=len(values), max_size=len(values)))
    days = np.cumsum(steps)
    forth = measure_series(Series(days=days, values=np.array(values)))
    back = measure_series(Series(days=-days[::-1], values=np.array(values[::-1])))
    slope, turned = forth["trend_slope"], back["trend_slope"]
    assert slope.reason == turned.reason
    if slope.number is not None:
        assert turned.number == pytest.approx(-slope.number)
        assert slope.low is not None
        assert slope.high is not None
        assert (turned.low, turned.high) == pytest.approx((-slope.high, -slope.low))
    same(forth["trend_test"], back["trend_test"])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(values=whole)
def test_the_other_direction_of_improvement_is_the_rest_to_one(values: list[int]) -> None:
    up, down = phased(values, "high"), phased(values, "low")
    assert up["nonoverlap_all_pairs"].number is not None
    same(up["nonoverlap_all_pairs"], down["nonoverlap_all_pairs"], factor=-1, shift=1)
    for name in ("nonoverlap_tau", "tau_u", "reliable_change_index"):
        same(up[name], down[name], factor=-1)
    for name in ENTRIES.keys() - {*PHASES, "reliable_change_index"}:
        same(up[name], down[name])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(values=whole)
def test_tau_is_twice_nonoverlap_less_one(values: list[int]) -> None:
    found = phased(values)
    same(found["nonoverlap_all_pairs"], found["nonoverlap_tau"], factor=2, shift=-1)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(value=st.floats(-LARGEST, LARGEST), count=st.integers(6, 16))
def test_equal_values_change_nothing(value: float, count: int) -> None:
    found = phased([value] * count)
    assert found["trend_slope"] == Value(0.0, None, 0.0, 0.0)
    assert found["trend_test"].reason == "zero_variance"
    assert found["nonoverlap_all_pairs"].number == 0.5
    assert found["nonoverlap_tau"].number == found["tau_u"].number == 0
    assert found["two_sd_band"].reason == "zero_variance"


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    day_sizes=st.lists(st.integers(1, 4), min_size=2, max_size=6).filter(lambda s: sum(s) < 10),
    data=st.data(),
)
def test_the_counted_orders_are_all_and_lie_around_0(day_sizes: list[int], data: Any) -> None:
    count = sum(day_sizes)
    sizes, left = [], count
    while left:
        sizes.append(data.draw(st.integers(1, left)))
        left -= sizes[-1]
    counts = s_counts(tuple(day_sizes), tuple(sizes))
    orders = math.factorial(count)
    for size in sizes:
        orders //= math.factorial(size)
    # Each order of the values over the sessions, equal values not told apart.
    assert sum(counts.values()) == orders
    assert sum(s * ways for s, ways in counts.items()) == 0


@settings(max_examples=60, deadline=None, derandomize=True)
@given(values=st.lists(st.integers(0, 3), min_size=4, max_size=9).filter(lambda v: len(set(v)) > 1))
def test_an_exact_p_is_never_0(values: list[int]) -> None:
    found = trend_test(range(len(values)), values)
    assert found.exact
    assert 0 < found.p <= 1


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"days": [1, 2], "values": [1.0]}, "same length"),
        ({"days": [[1]], "values": [[1.0]]}, "same length"),
        ({"days": [2, 1], "values": [1, 1]}, "in order"),
        ({"days": [0.5], "values": [1]}, "whole"),
        ({"days": [math.nan], "values": [1]}, "whole"),
        ({"days": [math.inf], "values": [1]}, "whole"),
        ({"days": [1], "values": [math.nan]}, "finite"),
        ({"days": [1], "values": [-math.inf]}, "finite"),
        ({"days": [1], "values": [1.01e100]}, "finite"),
        ({"repeats": [[1.0, math.nan]]}, "finite"),
        ({"repeats": [[1.0, 2.0, 3.0]]}, "pairs"),
        ({"repeats": [1.0, 2.0]}, "pairs"),
        ({"better": "near"}, "needs that value"),
        ({"better": "near", "near": math.nan}, "finite"),
        ({"baseline_count": 1}, "baseline_count"),
        ({"baseline_count": -1}, "baseline_count"),
        ({"met_of": 0}, "met_of"),
        ({"cells": (CellTrial("left", "left_to_right", 0, math.inf),)}, "finite"),
    ],
)
def test_what_is_no_series_is_refused_at_once(fields: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Series(**fields)


@pytest.mark.parametrize(
    "make",
    [
        lambda: GoalLevel(2.1),
        lambda: GoalLevel(math.nan),
        lambda: GoalLevel(1, 0),
        lambda: GoalLevel(1, math.inf),
        lambda: Reliability(-1, 0.5, same_condition=True),
        lambda: Reliability(1, 1.1, same_condition=True),
        lambda: Reliability(math.nan, 0.5, same_condition=True),
    ],
)
def test_what_is_no_goal_and_no_reliability_is_refused(make: Any) -> None:
    with pytest.raises(ValueError, match="must"):
        make()


def test_an_error_that_is_all_but_0_is_none() -> None:
    tiny = Reliability(1e-300, 0.5, same_condition=True)
    found = measure_series(Series(days=np.arange(2), values=np.arange(2), reliability=tiny))
    assert found["reliable_change_index"].reason == "zero_variance"
    # Each step is 0.1 but for the last bits of its arithmetic.
    pairs = np.array([[k / 10, (k + 1) / 10] for k in range(9)])
    assert np.ptp(pairs[:, 1] - pairs[:, 0]) > 0
    found = measure_series(Series(repeats=pairs))
    assert found["standard_error_of_measurement"].reason == "zero_variance"


def test_a_series_keeps_its_own_numbers() -> None:
    values = np.array([1.0, 2.0])
    series = Series(days=np.arange(2), values=values)
    values[0] = 9
    assert series.values[0] == 1
    with pytest.raises(ValueError, match="read-only"):
        series.values[0] = 9
