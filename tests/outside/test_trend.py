"""Trends over sessions: closed forms, published examples, scipy and pymannkendall."""

import json
from collections import Counter
from fractions import Fraction
from itertools import permutations
from math import factorial, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pymannkendall
import pytest
from scipy.stats import kendalltau, linregress, norm, theilslopes

from analysis.registry import measure_series
from analysis.series import Series
from analysis.trend import (
    kendall_s,
    pairwise_slopes,
    s_counts,
    s_variance,
    trend_slope,
    trend_test,
)
from analysis.value import Refused, Value
from tests.checked import checks

REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"
WEEKS = 7 * np.arange(10)


def reference(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((REFERENCE / name).read_text())
    return found


def value(measure_id: str, days: Any, values: Any) -> Value:
    return measure_series(Series(days=days, values=values))[measure_id]


def ties(numbers: Any) -> tuple[int, ...]:
    return tuple(Counter(sorted(numbers)).values())


@checks("C", "y = 2x + 1, one value of ten far off", "trend_slope")
def test_one_wild_session_moves_no_slope() -> None:
    y = 2.0 * np.arange(10) + 1
    y[7] = 100
    found = value("trend_slope", WEEKS, y)
    assert (found.number, found.low, found.high) == (2.0, 2.0, 2.0)
    assert linregress(np.arange(10), y).slope == pytest.approx(4.576, abs=1e-3)


@checks("P", "Sen 1968, as in the tests of scipy", "trend_slope")
def test_the_example_of_sen() -> None:
    ref = reference("sen_1968.json")
    found = trend_slope(ref["x"], ref["y"], confidence=ref["confidence"])
    assert found.per_week / 7 == pytest.approx(ref["slope"])
    assert found.low_per_week / 7 == pytest.approx(ref["low"], abs=0.005)
    assert found.high_per_week / 7 == pytest.approx(ref["high"], abs=0.005)
    # At 95 % the ends are slopes of the same list, no nearer than those at 93 %.
    wide = value("trend_slope", ref["x"], ref["y"])
    assert wide.number == found.per_week
    assert wide.low is not None
    assert wide.high is not None
    assert wide.low <= found.low_per_week < found.high_per_week <= wide.high


@checks("X", "scipy.stats.theilslopes", "trend_slope")
@pytest.mark.parametrize("count", [5, 6, 9, 14, 40])
@pytest.mark.parametrize("rounded", [0, 3])
def test_slope_and_interval_agree_with_scipy(count: int, rounded: int) -> None:
    rng = np.random.default_rng(count)
    days = np.cumsum(rng.integers(1, 12, count))
    values = np.round(0.05 * days + rng.normal(0, 1, count), rounded)
    found, other = value("trend_slope", days, values), theilslopes(values, days)
    assert found.number == pytest.approx(7 * other.slope, abs=1e-12)
    assert (found.low, found.high) == pytest.approx(
        (7 * other.low_slope, 7 * other.high_slope), abs=1e-12
    )
    assert trend_slope(days, values).intercept == pytest.approx(other.intercept, abs=1e-9)


@checks("M", "Gilbert 1987", "trend_test")
def test_the_example_of_gilbert() -> None:
    ref = reference("gilbert_1987.json")
    y = ref["y"]
    counts = s_counts((1,) * 4, (1,) * 4)
    assert kendall_s(range(4), y) == ref["s"]
    at_least = sum(ways for s, ways in counts.items() if s >= ref["s"])
    assert Fraction(at_least, factorial(4)) == Fraction(ref["one_sided"])
    assert value("trend_test", range(4), y).number == pytest.approx(8 / 24)
    assert np.median(pairwise_slopes(range(4), y)) == pytest.approx(ref["slope"], abs=1e-5)
    # What the normal approximation would have said.
    assert 2 * norm.sf(trend_test(range(4), y).z) == pytest.approx(0.308, abs=1e-3)
    # Four sessions have a test, but no slope.
    assert value("trend_slope", range(4), y).reason == "too_few_sessions"


@checks("C", "ten rising values", "trend_test")
@checks("X", "pymannkendall.original_test", "trend_test")
def test_ten_rising_values() -> None:
    found = trend_test(WEEKS, np.arange(10))
    assert (found.s, found.variance) == (45, 125.0)
    assert found.z == pytest.approx(44 / sqrt(125))
    other = pymannkendall.original_test(np.arange(10.0))
    assert (other.s, other.var_s, other.z) == pytest.approx((found.s, found.variance, found.z))
    assert value("trend_test", WEEKS, np.arange(10)).number == pytest.approx(other.p, rel=1e-6)


@checks("C", "3, 3, 5, 5, 5, 7, 8 with ties of 2 and 3", "trend_test")
@checks("X", "pymannkendall.original_test; all 420 orders", "trend_test")
def test_ties_take_from_the_variance() -> None:
    y = [3, 3, 5, 5, 5, 7, 8]
    found = trend_test(range(7), y)
    assert found.s == 17
    assert found.variance == pytest.approx(39.6667, abs=1e-4)
    assert found.z == pytest.approx(2.54043, abs=1e-5)
    other = pymannkendall.original_test(y)
    assert (other.s, other.var_s, other.z) == pytest.approx((found.s, found.variance, found.z))
    # 5040 / (2! 3!) orders, of which only this one and its reverse are as far out.
    assert value("trend_test", range(7), y).number == pytest.approx(2 / 420)


@checks("P", "worked example of a course, 14 values with one tie", "trend_test")
def test_a_test_done_by_hand() -> None:
    ref = reference("mann_kendall_by_hand.json")
    days = np.arange(len(ref["y"]))
    found = trend_test(days, ref["y"])
    assert found.s == ref["s"]
    assert found.z == pytest.approx(ref["z"], abs=5e-5)
    number = value("trend_test", days, ref["y"]).number
    assert number is not None
    assert number / 2 == pytest.approx(ref["p_one_sided"], abs=5e-5)


@checks("X", "pymannkendall.original_test", "trend_test")
@pytest.mark.parametrize("count", [10, 11, 17, 60])
@pytest.mark.parametrize("rounded", [0, 3])
def test_from_ten_sessions_on_p_is_that_of_pymannkendall(count: int, rounded: int) -> None:
    rng = np.random.default_rng(count)
    y = np.round(0.05 * np.arange(count) + rng.normal(0, 1, count), rounded)
    found, other = value("trend_test", np.arange(count), y), pymannkendall.original_test(y)
    assert found.number == pytest.approx(other.p, abs=1e-12)


@checks("X", "scipy.stats.kendalltau, exact", "trend_test")
@pytest.mark.parametrize("count", range(4, 10))
def test_below_ten_without_ties_p_is_that_of_scipy(count: int) -> None:
    rng = np.random.default_rng(count)
    for _ in range(10):
        y = rng.permutation(count)
        other = kendalltau(np.arange(count), y, method="exact").pvalue
        assert value("trend_test", np.arange(count), y).number == pytest.approx(other)


@checks("C", "every order of the values, one by one", "trend_test")
@pytest.mark.parametrize(
    ("days", "y"),
    [
        ([0, 1, 2, 3], [1, 1, 2, 2]),
        ([0, 1, 2, 3, 4, 5], [2, 1, 1, 3, 2, 3]),
        ([0, 0, 1, 2, 2, 2], [1, 2, 3, 5, 4, 6]),
        ([0, 0, 0, 1, 2, 2, 3], [1, 1, 2, 2, 2, 3, 4]),
    ],
    ids=["two ties", "three ties", "tied days", "both tied"],
)
def test_below_ten_with_ties_p_counts_every_order(days: list[int], y: list[int]) -> None:
    counted = Counter(kendall_s(days, order) for order in permutations(y))
    s = kendall_s(days, y)
    far = sum(ways for other, ways in counted.items() if abs(other) >= abs(s))
    assert value("trend_test", days, y).number == pytest.approx(far / factorial(len(y)))
    ours = s_counts(ties(days), ties(y))
    scale = factorial(len(y)) / sum(ours.values())
    assert {s: scale * ways for s, ways in ours.items()} == counted


@checks("P", "Kendall 1970, example 3.1, as in the tests of a package", "trend_test")
@checks("X", "scipy.stats.kendalltau, asymptotic", "trend_test")
def test_ties_of_days_and_of_values_together() -> None:
    ref = reference("kendall_1970.json")
    x, y = 2 * np.array(ref["x"]), np.array(ref["y"])  # whole days
    found = trend_test(x, y)
    assert found.s == ref["s"]
    assert found.variance == pytest.approx(s_variance(ties(x), ties(y)))
    # scipy has no continuity correction: its p gives its variance.
    z = norm.isf(kendalltau(x, y, method="asymptotic").pvalue / 2)
    assert found.variance == pytest.approx((found.s / z) ** 2, rel=1e-9)
    number = value("trend_test", x, y).number
    assert number == pytest.approx(2 * norm.sf((found.s - 1) * z / found.s))


@checks("C", "definition", "trend_slope", "trend_test")
@pytest.mark.parametrize(
    ("days", "y", "slope", "test"),
    [
        ([], [], "too_few_sessions", "too_few_sessions"),
        ([3], [1.0], "too_few_sessions", "too_few_sessions"),
        ([3, 5, 9], [1, 2, 3], "too_few_sessions", "too_few_sessions"),
        ([3, 5, 7, 9], [1, 2, 3, 4], "too_few_sessions", None),
        ([3] * 6, [1, 2, 3, 4, 5, 6], "too_few_sessions", "too_few_sessions"),
        (range(6), [4.0] * 6, None, "zero_variance"),
        ([3] * 6, [4.0] * 6, "too_few_sessions", "too_few_sessions"),
    ],
)
def test_too_few_sessions_or_equal_values_are_said(
    days: Any, y: Any, slope: str | None, test: str | None
) -> None:
    assert value("trend_slope", days, y).reason == slope
    assert value("trend_test", days, y).reason == test


@checks("C", "all values equal", "trend_slope")
def test_equal_values_have_the_slope_0_for_certain() -> None:
    found = value("trend_slope", [0, 0, 0, 1, 2, 2], [4.0] * 6)
    assert (found.number, found.low, found.high) == (0, 0, 0)


def test_a_slope_of_one_day_is_refused_by_the_function_too() -> None:
    with pytest.raises(Refused):
        trend_slope([1] * 5, range(5))
