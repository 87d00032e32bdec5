"""Hand, direction and their interaction: closed forms and scipy."""

from collections.abc import Iterable
from itertools import chain, product
from typing import Any

import numpy as np
import pytest
from scipy.stats import bootstrap, permutation_test
from statsmodels.stats.proportion import proportion_confint

from analysis.hand_direction import (
    CELLS,
    EXACT_BLOCKS,
    effect,
    hand_contrast,
    sign_flip_p,
)
from analysis.registry import measure_series
from analysis.series import CellTrial, Series
from analysis.value import Value
from tests.checked import checks

EFFECTS = ("hand_effect", "direction_effect", "across_body_effect")
# (R, LR) = 2, (R, RL) = 3, (L, LR) = 4, (L, RL) = 3
BY_HAND = {
    ("right", "left_to_right"): 2.0,
    ("right", "right_to_left"): 3.0,
    ("left", "left_to_right"): 4.0,
    ("left", "right_to_left"): 3.0,
}


def block(number: int, values: Any = BY_HAND, **more: float) -> list[CellTrial]:
    add = more.get("add", 0.0)
    return [CellTrial(hand, way, number, value + add) for (hand, way), value in values.items()]


def joined(blocks: Iterable[list[CellTrial]]) -> list[CellTrial]:
    return list(chain.from_iterable(blocks))


def of_steps(steps: Any) -> tuple[CellTrial, ...]:
    """Blocks whose hand effects are the steps: the left hand gives them, the right 0."""
    trials = []
    for number, step in enumerate(steps):
        trials += [
            CellTrial(hand, way, number, float(step) if hand == "left" else 0.0)
            for hand, way in CELLS
        ]
    return tuple(trials)


def found_for(cells: Any = (), hands: Any = ()) -> dict[str, Value]:
    return measure_series(Series(cells=tuple(cells), hands=tuple(hands)))


@checks("C", "cells 2, 3, 4, 3: 1, 0, 1", *EFFECTS)
@pytest.mark.parametrize("blocks", [3, 6, 12, 13])
def test_effects_of_four_cells(blocks: int) -> None:
    # What a whole block has more than another is no effect.
    found = found_for(joined(block(k, add=k % 4) for k in range(blocks)))
    by_hand = {"hand_effect": 1.0, "direction_effect": 0.0, "across_body_effect": 1.0}
    for name, expected in by_hand.items():
        assert found[name].number == pytest.approx(expected, abs=1e-12)
        assert (found[name].low is None) == (blocks < 6)
        if blocks >= 6:
            assert (found[name].low, found[name].high) == pytest.approx((expected, expected))


# Left less right: half of 4 + 10 less 2 + 7. To the left less to the right: half of 7 + 10
# less 2 + 4. Across the body less away from it: half of 7 + 4 less 2 + 10.
UNEQUAL = {
    ("right", "left_to_right"): 2.0,
    ("right", "right_to_left"): 7.0,
    ("left", "left_to_right"): 4.0,
    ("left", "right_to_left"): 10.0,
}
UNEQUAL_EFFECTS = {"hand_effect": 2.5, "direction_effect": 5.5, "across_body_effect": -0.5}


@checks("C", "cells 2, 7, 4, 10: 2.5, 5.5, -0.5", *EFFECTS)
@pytest.mark.parametrize("blocks", [3, 6, 13])
def test_three_effects_that_differ_are_not_taken_for_each_other(blocks: int) -> None:
    found = found_for(joined(block(k, UNEQUAL, add=k % 4) for k in range(blocks)))
    for name in ("hand_effect", "direction_effect", "across_body_effect"):
        assert found[name].number == pytest.approx(UNEQUAL_EFFECTS[name], abs=1e-12)


# What each of seven blocks adds to one effect and to no other: each row adds up to 0.
ADDED = {
    "hand_effect": (3.0, -2.0, 1.0, 0.0, -1.0, -2.0, 1.0),
    "direction_effect": (2.0, -3.0, 0.0, 3.0, -1.0, 1.0, -2.0),
    "across_body_effect": (-5.0, 0.0, 2.0, 1.0, 3.0, 0.0, -1.0),
}
# 128 sign flips, of which 3 at either end are less than 2.5 %: the ends of the interval are the
# third least and the third greatest mean of some of the blocks. By hand, what they add:
# for the hand -2, -2, their mean -2; from above 3, the mean 2 of 3 and 1, twice.
# For the direction -3, -2.5 of -3 and -2, -2; and 3, 2.5 of 3 and 2, 2.
# Across the body -5, -3 of -5 and -1, -2.5 of -5 and 0; and 3, 2.5 of 3 and 2, 2.
ENDS = {
    "hand_effect": (2.5 - 2.0, 2.5 + 2.0),
    "direction_effect": (5.5 - 2.0, 5.5 + 2.0),
    "across_body_effect": (-0.5 - 2.5, -0.5 + 2.0),
}


def seven_blocks() -> list[CellTrial]:
    trials = []
    for number in range(7):
        hand, direction, across = (ADDED[name][number] / 2 for name in EFFECTS)
        for (side, way), value in UNEQUAL.items():
            left = 1 if side == "left" else -1
            to_left = 1 if way == "right_to_left" else -1
            more = left * hand + to_left * direction - left * to_left * across
            trials.append(CellTrial(side, way, number, value + more))
    return trials


@checks("C", "128 sign flips of seven blocks, listed and by hand", *EFFECTS)
@pytest.mark.parametrize("name", EFFECTS)
def test_each_effect_has_the_interval_of_its_own_sign_flips(name: str) -> None:
    found = found_for(seven_blocks())[name]
    assert found.number == pytest.approx(UNEQUAL_EFFECTS[name], abs=1e-12)
    assert found.low is not None
    assert found.high is not None
    assert (found.low, found.high) == pytest.approx(ENDS[name], abs=1e-12)
    # The same by listing them: a centre is kept if more than 2.5 % of the flips of the
    # differences from it add up to at least as much as the differences do.
    steps = [UNEQUAL_EFFECTS[name] + added for added in ADDED[name]]

    def tail(centre: float, side: int) -> float:
        moved = [side * (step - centre) for step in steps]
        sums = [
            sum(sign * one for sign, one in zip(signs, moved, strict=True))
            for signs in product((1, -1), repeat=7)
        ]
        return sum(one >= sum(moved) - 1e-9 for one in sums) / 128

    for end, side in ((found.low, 1), (found.high, -1)):
        assert tail(end + side * 1e-6, side) > 0.025
        assert tail(end - side * 1e-6, side) <= 0.025


@checks("C", "three trials a cell in one block", "hand_effect", "across_body_effect")
def test_a_cell_is_the_mean_of_its_trials() -> None:
    cells = joined(block(0, add=add) for add in (-1.0, 0.0, 4.0))
    cells[0] = CellTrial("right", "left_to_right", 0, 10.0)  # instead of 1
    found = found_for(cells)
    # (R, LR) = (10 + 2 + 6) / 3 = 6 instead of 3; the others are 4, 5, 4.
    assert found["hand_effect"].number == pytest.approx((5 + 4 - 6 - 4) / 2)
    assert found["across_body_effect"].number == pytest.approx((4 + 5 - 6 - 4) / 2)


@checks("C", "incomplete blocks and other conditions left out", *EFFECTS)
@pytest.mark.parametrize("name", EFFECTS)
def test_only_whole_blocks_of_the_four_cells_count(name: str) -> None:
    cells = joined(block(k) for k in range(3))
    more = [
        CellTrial("left", "left_to_right", 7, 99.0),
        CellTrial("free", "left_to_right", 0, 99.0),
        CellTrial("both", "right_to_left", 1, 99.0),
        CellTrial("left", "downward", 1, 99.0),
        CellTrial("left", None, 1, 99.0),
        CellTrial(None, "left_to_right", 1, 99.0),
    ]
    plain, same = found_for(cells), found_for([*cells, *more])
    assert same[name] == plain[name]
    assert plain[name].number is not None


@checks("C", "definition", *EFFECTS)
@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ([], "too_few_trials"),
        (block(0) + block(1), "too_few_trials"),
        (joined(block(k)[:3] for k in range(9)), "too_few_trials"),
        ([CellTrial("left", way, k, 1.0) for k in range(9) for _, way in CELLS], "too_few_trials"),
        ([CellTrial(None, way, k, 1.0) for k in range(3) for _, way in CELLS], "hand_unknown"),
        ([CellTrial(None, way, k, 1.0) for k in range(2) for _, way in CELLS], "too_few_trials"),
        ([CellTrial("free", way, k, 1.0) for k in range(9) for _, way in CELLS], "too_few_trials"),
    ],
    ids=["none", "two", "three cells", "one hand", "unknown", "few unknown", "free"],
)
@pytest.mark.parametrize("name", EFFECTS)
def test_too_few_trials_in_a_cell_are_refused(
    cells: list[CellTrial], reason: str, name: str
) -> None:
    assert found_for(cells)[name].reason == reason


STEPS = [
    np.array([1.0, 2.0, 3.0]),
    np.array([1.0, -2.0, 3.0, 0.5, 0.5]),
    np.array([0.3, 1.2, -0.4, 0.8, 2.2, 1.9, 0.1]),
    np.array([1.0, 1.0, -1.0, 0.0, 0.0, 2.0]),
]


@checks("X", "scipy.stats.permutation_test of one sample, exact", "hand_effect")
@pytest.mark.parametrize("steps", STEPS, ids=len)
def test_sign_flips_are_those_of_scipy(steps: Any) -> None:
    other = permutation_test(
        (steps,), np.mean, permutation_type="samples", n_resamples=np.inf, alternative="two-sided"
    )
    assert sign_flip_p(steps) == pytest.approx(other.pvalue)
    found = effect(of_steps(steps), hand_contrast)
    assert found.p == pytest.approx(other.pvalue)
    assert found_for(of_steps(steps))["hand_effect"].number == pytest.approx(steps.mean())


@checks(
    "C",
    "every sign flip, one by one: the ends of the interval are where p passes 2.5 %",
    "hand_effect",
)
@pytest.mark.parametrize("count", [6, 7, 9])
def test_the_interval_holds_the_centres_that_sign_flips_do_not_reject(count: int) -> None:
    steps = np.random.default_rng(count).normal(0.4, 1, count)
    found = found_for(of_steps(steps))["hand_effect"]
    assert found.low is not None
    assert found.high is not None
    flips = np.array(list(product((1, -1), repeat=count)))

    def tail(centre: float, side: int) -> float:
        moved = side * (steps - centre)
        return float((flips @ moved >= moved.sum() - 1e-12).mean())

    for end, side in ((found.low, 1), (found.high, -1)):
        assert tail(end + side * 1e-6, side) > 0.025
        assert tail(end - side * 1e-6, side) <= 0.025


@checks("C", "six blocks: the ends are the smallest and the largest block", "hand_effect")
def test_with_six_blocks_the_interval_is_their_range() -> None:
    steps = [0.5, -0.25, 1.0, 2.0, 0.75, 1.25]
    found = found_for(of_steps(steps))["hand_effect"]
    assert (found.number, found.low, found.high) == (0.875, -0.25, 2.0)


@checks("X", "scipy.stats.bootstrap, percentile", "hand_effect")
def test_beyond_twelve_blocks_the_interval_is_that_of_a_bootstrap() -> None:
    steps = np.random.default_rng(3).normal(1, 1, 30)
    found = found_for(of_steps(steps))["hand_effect"]
    other = bootstrap(
        (steps,), np.mean, method="percentile", n_resamples=20_000, rng=np.random.default_rng(4)
    ).confidence_interval
    length = other.high - other.low
    assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=0.05 * length)
    assert found_for(of_steps(steps))["hand_effect"] == found
    reseeded = effect(of_steps(steps), hand_contrast, seed=2)
    assert reseeded.low != found.low
    assert reseeded.low == pytest.approx(found.low, abs=0.08 * length)


@checks("X", "the exact interval of twelve blocks beside the bootstrap of the same", "hand_effect")
def test_both_ways_to_an_interval_say_much_the_same() -> None:
    steps = np.random.default_rng(8).normal(1, 1, EXACT_BLOCKS)
    found = found_for(of_steps(steps))["hand_effect"]
    other = bootstrap(
        (steps,), np.mean, method="percentile", rng=np.random.default_rng(4)
    ).confidence_interval
    # Percentile intervals of twelve values are known to be short; never longer than exact ones.
    assert found.low is not None
    assert found.high is not None
    assert 0.75 < (other.high - other.low) / (found.high - found.low) < 1.0


@checks("C", "R = 8, L = 2: 60", "laterality_index")
@checks("X", "statsmodels proportion_confint", "laterality_index")
def test_the_hand_taken_by_choice() -> None:
    found = found_for(hands=("right",) * 8 + ("left",) * 2)["laterality_index"]
    assert found.number == 60
    assert (found.low, found.high) == pytest.approx((-1.97, 88.66), abs=0.005)
    low, high = proportion_confint(8, 10, method="wilson")
    assert (found.low, found.high) == pytest.approx((200 * low - 100, 200 * high - 100))


@checks("C", "definition", "laterality_index")
@pytest.mark.parametrize(
    ("hands", "number", "reason"),
    [
        ((), None, "too_few_trials"),
        (("right",) * 4, None, "too_few_trials"),
        (("right",) * 4 + ("both",), None, "too_few_trials"),
        (("right",) * 4 + (None,), None, "hand_unknown"),
        ((None,) * 9, None, "hand_unknown"),
        (("right",) * 5 + (None,), 100.0, None),
        (("left",) * 5, -100.0, None),
        (("left", "right") * 3, 0.0, None),
    ],
)
def test_choices_that_are_known_count(hands: Any, number: float | None, reason: str | None) -> None:
    found = found_for(hands=hands)["laterality_index"]
    assert (found.number, found.reason) == (number, reason)
    if number is not None:
        assert found.low is not None
        assert found.high is not None
        assert -100 <= found.low <= number <= found.high <= 100
