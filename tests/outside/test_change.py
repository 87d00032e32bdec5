"""Change since a baseline, noise, goals: closed forms, published examples, other libraries."""

import json
import warnings
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pingouin
import pytest
from scipy.stats import mannwhitneyu
from statsmodels.stats.proportion import proportion_confint

from analysis.control_band import two_sd_band
from analysis.registry import measure_series
from analysis.reliability import (
    Model,
    intraclass_correlation,
    mean_squares,
    minimal_detectable_change,
    reliable_change,
    standard_error,
)
from analysis.series import GoalLevel, Reliability, Series
from analysis.trend import kendall_s
from analysis.value import Better, Refused, Value
from tests.checked import checks

REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"
PHASE_IDS = ("nonoverlap_all_pairs", "nonoverlap_tau", "tau_u")


def reference(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((REFERENCE / name).read_text())
    return found


def phases(a: Any, b: Any, better: Better = "high", near: float | None = None) -> Series:
    values = np.concatenate([a, b]).astype(float)
    return Series(
        days=3 * np.arange(len(values)),
        values=values,
        better=better,
        near=near,
        baseline_count=len(a),
    )


def value(measure_id: str, series: Series) -> Value:
    return measure_series(series)[measure_id]


def number(measure_id: str, series: Series) -> float:
    found = value(measure_id, series)
    assert found.number is not None, (measure_id, found.reason)
    return found.number


EXAMPLES = reference("nonoverlap.json")["examples"]


def share(text: str) -> float:
    above, below = text.split("/")
    return float(Fraction(above) / Fraction(below))


@checks(
    "P",
    "Parker, Vannest & Davis 2011; Tarlow 2017: values in a package's tests",
    "nonoverlap_all_pairs",
    "nonoverlap_tau",
    "tau_u",
)
@checks("M", "Parker & Vannest 2009", "nonoverlap_all_pairs")
@pytest.mark.parametrize("example", EXAMPLES, ids=lambda one: one["name"])
def test_published_examples_of_nonoverlap(example: dict[str, Any]) -> None:
    series = phases(example["a"], example["b"])
    keys = {"nap": "nonoverlap_all_pairs", "tau": "nonoverlap_tau", "tau_u": "tau_u"}
    checked = [key for key in keys if key in example]
    assert checked
    for key in checked:
        assert number(keys[key], series) == pytest.approx(share(example[key]), abs=1e-12)


@checks("C", "A = 2,3,5,3 and B = 4,5,5,7,6 counted by hand", "tau_u", "nonoverlap_tau")
def test_tau_u_divides_by_the_pairs_between_phases() -> None:
    series = phases([2, 3, 5, 3], [4, 5, 5, 7, 6])
    assert kendall_s(range(4), [2, 3, 5, 3]) == 3
    assert number("nonoverlap_tau", series) == pytest.approx(0.80)
    assert number("tau_u", series) == pytest.approx((16 - 3) / 20)
    # The same 13 over all 26 pairs of both phases would be 0.50: another variant.


@checks("C", "a falling baseline, later sessions all higher", "tau_u")
def test_tau_u_may_leave_the_range_of_tau() -> None:
    series = phases([5, 4, 3, 2, 1], [6, 7, 8])
    assert number("tau_u", series) == pytest.approx((15 + 10) / 15)


@checks("X", "scipy.stats.mannwhitneyu", "nonoverlap_all_pairs", "nonoverlap_tau")
@pytest.mark.parametrize("seed", range(6))
def test_nonoverlap_is_the_u_of_mann_and_whitney(seed: int) -> None:
    rng = np.random.default_rng(seed)
    a, b = rng.integers(0, 9, 3 + seed), rng.integers(2, 11, 8)
    u = mannwhitneyu(b, a, method="asymptotic").statistic / (len(a) * len(b))
    assert number("nonoverlap_all_pairs", phases(a, b)) == pytest.approx(u)
    assert number("nonoverlap_tau", phases(a, b)) == pytest.approx(2 * u - 1)


@checks("C", "lower is better; near 1 is better", "nonoverlap_all_pairs", "nonoverlap_tau", "tau_u")
def test_the_direction_of_improvement_turns_the_values_first() -> None:
    falling = ([4.0, 3.0, 5.0], [2.0, 1.0, 2.5])
    for better, nap in (("low", 1.0), ("high", 0.0), ("none", 0.0)):
        assert number("nonoverlap_all_pairs", phases(*falling, better=better)) == nap  # type: ignore[arg-type]
    # Distances to 1: baseline 0.5, 0.5, 0.2; later 0.1, 0.1, 0.3. Two pairs are worse.
    nearer = phases([0.5, 1.5, 0.8], [1.1, 0.9, 1.3], better="near", near=1.0)
    assert number("nonoverlap_all_pairs", nearer) == pytest.approx(8 / 9)
    assert number("nonoverlap_tau", nearer) == pytest.approx(7 / 9)
    # S of the baseline: a tie, then two pairs that come nearer.
    assert number("tau_u", nearer) == pytest.approx((7 - 2) / 9)


@checks("C", "definition", "nonoverlap_all_pairs", "nonoverlap_tau", "tau_u", "two_sd_band")
@pytest.mark.parametrize(
    ("a", "b"), [([], []), ([1], [2, 3, 4]), ([1, 2], [3, 4, 5]), ([1, 2, 3], [4, 5])]
)
def test_a_phase_of_fewer_than_three_sessions_is_refused(a: list[int], b: list[int]) -> None:
    found = measure_series(phases(a, b))
    for name in ("nonoverlap_all_pairs", "nonoverlap_tau", "tau_u"):
        assert found[name].reason == "too_few_sessions"
    assert (found["two_sd_band"].reason == "too_few_sessions") == (len(a) < 3)


def test_without_a_baseline_phase_nothing_is_compared() -> None:
    found = measure_series(Series(days=range(9), values=range(9)))  # type: ignore[arg-type]
    assert {found[name].reason for name in (*PHASE_IDS, "two_sd_band")} == {"too_few_sessions"}


@checks("C", "10, 12, 11, 9, 13", "two_sd_band")
def test_the_band_of_a_baseline() -> None:
    found = value("two_sd_band", phases([10, 12, 11, 9, 13], [11]))
    assert found.number == 11
    assert (found.low, found.high) == pytest.approx((7.838, 14.162), abs=5e-4)
    assert found.high is not None
    assert (found.high - 11) / 2 == pytest.approx(1.58114, abs=1e-5)


@checks("C", "counted by hand", "two_sd_signal_count")
@pytest.mark.parametrize(
    ("later", "count"),
    [
        ([15, 15], 1),
        ([15, 11], 0),
        ([15, 11, 15], 0),
        ([15, 7, 15, 7], 0),
        ([7, 7, 7, 11, 15, 15], 3),
    ],
)
def test_a_signal_is_two_sessions_in_a_row_on_one_side(later: list[int], count: int) -> None:
    assert number("two_sd_signal_count", phases([10, 12, 11, 9, 13], later)) == count


@checks("C", "definition: a run takes two", "two_sd_signal_count")
@pytest.mark.parametrize("later", [[], [15]])
def test_fewer_than_two_later_sessions_cannot_signal(later: list[int]) -> None:
    found = measure_series(phases([10, 12, 11, 9, 13], later))
    assert found["two_sd_signal_count"].reason == "too_few_sessions"


@checks("C", "definition", "two_sd_signal_count", "two_sd_band")
def test_a_baseline_of_equal_values_has_no_band() -> None:
    found = measure_series(phases([4, 4, 4], [5, 6]))
    assert found["two_sd_band"].reason == "zero_variance"
    assert found["two_sd_signal_count"].reason == "zero_variance"


def known(sd: float, coefficient: float, *values: float, better: Better = "low") -> Series:
    return Series(
        days=np.arange(len(values)),
        values=np.array(values),
        better=better,
        reliability=Reliability(sd, coefficient, same_condition=True),
    )


@checks("C", "SD 10, ICC 0.90", "standard_error_of_measurement", "minimal_detectable_change_95")
def test_noise_from_a_known_reliability() -> None:
    series = known(10, 0.90)
    assert number("standard_error_of_measurement", series) == pytest.approx(3.16228, abs=5e-6)
    assert number("minimal_detectable_change_95", series) == pytest.approx(8.76539, abs=5e-6)
    assert minimal_detectable_change(standard_error(10, 0.9)) == pytest.approx(8.76539, abs=5e-6)


@checks("M", "Jacobson & Truax 1991", "reliable_change_index")
def test_the_example_of_jacobson_and_truax() -> None:
    ref = reference("jacobson_truax_1991.json")
    error = standard_error(ref["sd"], ref["reliability"])
    index = reliable_change(ref["before"], ref["after"], error)
    assert np.sqrt(2) * error == pytest.approx(ref["s_diff"], abs=0.005)
    assert index == pytest.approx(ref["index"], abs=0.005)
    assert index == pytest.approx(-3.162, abs=5e-4)
    # Lower is better there, so the measure turns it: more is better.
    series = known(ref["sd"], ref["reliability"], ref["before"], 40.0, ref["after"])
    assert number("reliable_change_index", series) == pytest.approx(3.162, abs=5e-4)


STEPS = [(10, 11), (12, 11), (9, 12), (11, 10), (10, 12)]


@checks(
    "C",
    "differences 1, -1, 3, -1, 2: mean 0.8, sum of squares 12.8, SD sqrt 3.2",
    "standard_error_of_measurement",
    "minimal_detectable_change_95",
    "reliable_change_index",
)
def test_noise_from_repeats_of_one_day() -> None:
    series = Series(
        days=np.array([0, 7]), values=np.array([10.0, 14.0]), better="high", repeats=np.array(STEPS)
    )
    assert number("standard_error_of_measurement", series) == pytest.approx(np.sqrt(1.6))
    assert number("minimal_detectable_change_95", series) == pytest.approx(1.96 * np.sqrt(3.2))
    assert number("reliable_change_index", series) == pytest.approx(4 / np.sqrt(3.2))


@checks(
    "X",
    "pingouin.intraclass_corr (3,1) of pairs: SD of differences over sqrt 2 is the error",
    "standard_error_of_measurement",
)
def test_the_two_ways_to_the_noise_agree_where_they_must() -> None:
    pairs = np.random.default_rng(5).normal(0, 1, (20, 1)) + np.random.default_rng(6).normal(
        0, 0.5, (20, 2)
    )
    icc = other_icc(pairs)["ICC(C,1)"]
    # One variance for both columns: the mean of theirs.
    sd = float(np.sqrt(pairs.var(axis=0, ddof=1).mean()))
    found = number("standard_error_of_measurement", Series(repeats=pairs))
    assert found == pytest.approx(standard_error(sd, icc), rel=1e-9)
    assert found == pytest.approx(np.sqrt(mean_squares(pairs).error))


@checks(
    "C",
    "definition",
    "standard_error_of_measurement",
    "minimal_detectable_change_95",
    "reliable_change_index",
)
@pytest.mark.parametrize(
    ("changes", "reasons"),
    [
        ({}, ("too_few_trials", "too_few_trials")),
        ({"repeats": np.array(STEPS[:4])}, ("too_few_trials", "too_few_trials")),
        ({"repeats": np.ones((6, 2))}, ("zero_variance", "too_few_sessions")),
        ({"repeats": np.array(STEPS)}, (None, "too_few_sessions")),
        (
            {"reliability": Reliability(10, 0.9, same_condition=False)},
            ("too_few_trials", "too_few_trials"),
        ),
        (
            {
                "reliability": Reliability(10, 1.0, same_condition=True),
                "days": np.arange(2),
                "values": np.arange(2),
            },
            ("zero_variance", "zero_variance"),
        ),
    ],
)
def test_noise_that_is_not_known_is_said(
    changes: dict[str, Any], reasons: tuple[str | None, str | None]
) -> None:
    found = measure_series(Series(**changes))
    assert found["standard_error_of_measurement"].reason == reasons[0]
    assert found["minimal_detectable_change_95"].reason == reasons[0]
    assert found["reliable_change_index"].reason == reasons[1]


MODELS: tuple[tuple[Model, bool, str], ...] = (
    ("one_way", False, "ICC(1,1)"),
    ("two_way_random", False, "ICC(A,1)"),
    ("two_way_fixed", False, "ICC(C,1)"),
    ("one_way", True, "ICC(1,k)"),
    ("two_way_random", True, "ICC(A,k)"),
    ("two_way_fixed", True, "ICC(C,k)"),
)


def other_icc(table: Any) -> dict[str, float]:
    rows = np.asarray(table)
    children, times = np.indices(rows.shape)
    frame = pd.DataFrame(
        {"child": children.ravel(), "time": times.ravel(), "value": rows.ravel().astype(float)}
    )
    with warnings.catch_warnings():
        # What pingouin asks of pandas in a way that pandas gives up.
        warnings.filterwarnings("ignore", "The inplace keyword", DeprecationWarning)
        found = pingouin.intraclass_corr(frame, targets="child", raters="time", ratings="value")
    return dict(zip(found["Type"], found["ICC"], strict=True))


# [P] of the function: no measure computes this correlation, so none is named here.
@pytest.mark.parametrize(("model", "average", "name"), MODELS)
def test_the_table_of_shrout_and_fleiss(model: Model, average: bool, name: str) -> None:
    ref = reference("shrout_fleiss_1979.json")
    published = ref["average" if average else "single"][model]
    ours = intraclass_correlation(ref["table"], model, average=average)
    assert ours == pytest.approx(published, abs=0.005)
    assert ours == pytest.approx(other_icc(ref["table"])[name], abs=1e-9)


@pytest.mark.parametrize(
    ("table", "reason"),
    [
        ([[1, 2]], "too_few_trials"),
        ([[1], [2]], "too_few_trials"),
        ([[4, 4], [4, 4]], "zero_variance"),
    ],
)
@pytest.mark.parametrize("model", ["one_way", "two_way_random", "two_way_fixed"])
def test_a_table_without_repeats_or_spread_has_no_correlation(
    table: Any, reason: str, model: Model
) -> None:
    with pytest.raises(Refused, match=reason):
        intraclass_correlation(table, model)


@checks("P", "Newcombe 1998, as quoted in several packages' tests", "criterion_met_share")
@checks("X", "statsmodels proportion_confint", "criterion_met_share")
@pytest.mark.parametrize(("k", "n", "low", "high"), reference("newcombe_1998.json")["intervals"])
def test_the_intervals_of_newcombe(k: int, n: int, low: float, high: float) -> None:
    found = value("criterion_met_share", Series(met=(True,) * k + (False,) * (n - k), met_of=n))
    assert found.number == pytest.approx(k / n)
    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)
    other = proportion_confint(k, n, method="wilson")
    assert (found.low, found.high) == pytest.approx(other, abs=1e-12)


@checks("X", "statsmodels proportion_confint", "criterion_met_share")
@pytest.mark.parametrize(
    ("k", "n", "low", "high"),
    [(4, 5, 0.376, 0.964), (5, 5, 0.566, 1), (8, 10, 0.490, 0.943), (16, 20, 0.584, 0.919)],
)
def test_the_intervals_of_usual_goals(k: int, n: int, low: float, high: float) -> None:
    found = value("criterion_met_share", Series(met=(False,) * (n - k) + (True,) * k, met_of=n))
    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-4)
    assert (found.low, found.high) == pytest.approx(proportion_confint(k, n, method="wilson"))


@checks("C", "all sequences of a guesser at one in two", "criterion_met_share")
@pytest.mark.parametrize(("k", "n", "chance"), [(4, 5, 0.1875), (8, 10, 0.0547)])
def test_a_guesser_meets_a_criterion_as_often_as_the_page_warns(
    k: int, n: int, chance: float
) -> None:
    # Through the measure: which of all 2^n sequences it would say meets k of n.
    runs = [Series(met=run, met_of=n) for run in product((False, True), repeat=n)]
    reached = sum(number("criterion_met_share", run) >= k / n - 1e-12 for run in runs)
    assert reached / 2**n == pytest.approx(chance, abs=5e-5)


@checks("C", "definition", "criterion_met_share")
def test_only_the_last_trials_that_could_be_judged_count() -> None:
    met = (True, True, False, None, True, None, False, True)
    assert number("criterion_met_share", Series(met=met, met_of=4)) == 0.5
    assert number("criterion_met_share", Series(met=met, met_of=6)) == pytest.approx(4 / 6)
    assert value("criterion_met_share", Series(met=met, met_of=7)).reason == "too_few_trials"
    assert value("criterion_met_share", Series(met=met)).reason == "too_few_trials"


@checks("C", "the formula by hand; 63.7 and 36.3 as tabled", "goal_attainment_t")
@pytest.mark.parametrize("score", reference("kiresuk_sherman_1968.json")["scores"], ids=str)
def test_goal_attainment(score: dict[str, Any]) -> None:
    levels = [GoalLevel(x, w) for x, w in zip(score["x"], score["w"], strict=True)]
    found = number("goal_attainment_t", Series(goals=tuple(levels)))
    assert found == pytest.approx(score["t"], abs=5e-4)


@checks("C", "definition", "goal_attainment_t")
def test_no_goals_and_goals_rescored_afterwards_have_no_score() -> None:
    assert value("goal_attainment_t", Series()).reason == "too_few_trials"
    rescored = (GoalLevel(1), GoalLevel(2, rescored=True))
    assert value("goal_attainment_t", Series(goals=rescored)).reason == "too_few_trials"


def test_a_band_of_the_function_is_that_of_the_measure() -> None:
    band = two_sd_band([10, 12, 11, 9, 13])
    found = value("two_sd_band", phases([10, 12, 11, 9, 13], []))
    assert (found.number, found.low, found.high) == (band.mean, band.low, band.high)
