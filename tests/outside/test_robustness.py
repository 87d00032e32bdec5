"""What rate, noise, coarse positions and lost reports do to every measure, held to what it was.

The kept values are our own output: they guard against change and prove nothing. What they
should be is held by the other tests of this folder.
"""

import json
from functools import cache
from typing import Any

import pytest

from analysis.registry import MEASURES
from tests.benchmarks.robustness import EXCUSED, FIRST, FIRST_CUTS, KEPT, LIMIT, of_attempt, of_cut
from tests.checked import checks

NOISE_OF_PLATFORMS = 1e-6
"""Another processor rounds otherwise; what is iterated over thousands of samples shows it."""


@cache
def kept() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(KEPT.read_text(encoding="utf-8"))
    return found


attempt, piece = cache(of_attempt), cache(of_cut)

OF_TRIALS, OF_CUTS = (
    tuple(entry.id for entry in MEASURES if entry.scope == scope) for scope in ("trial", "cut")
)
HOW = "Linnet itself: python -m tests.benchmarks.robustness --keep"


def same(value: float | str, then: float | str) -> bool:
    if isinstance(value, float) and isinstance(then, float):
        return value == pytest.approx(then, rel=NOISE_OF_PLATFORMS, abs=NOISE_OF_PLATFORMS)
    return value == then


Found = dict[str, dict[str, Any]]


def changed(name: str, found: Found, before: Found) -> list[str]:
    """Conditions under which a measure is not what it was."""
    assert found.keys() == before.keys()
    return [
        f"{name} at {condition} is {values[name]}, was {before[condition][name]}"
        for condition, values in found.items()
        if name in values and not same(values[name], before[condition][name])
    ]


@checks("N", HOW, *OF_TRIALS)
@pytest.mark.parametrize("name", OF_TRIALS)
def test_attempts_give_what_they_gave(name: str) -> None:
    for number in FIRST:
        assert changed(name, attempt(number), kept()["first"][str(number)]) == []


@checks("N", HOW, *OF_CUTS)
@pytest.mark.parametrize("name", OF_CUTS)
def test_cut_pieces_give_what_they_gave(name: str) -> None:
    for number in FIRST_CUTS:
        assert changed(name, piece(number), kept()["first_cuts"][str(number)]) == []


def test_the_same_measures_are_kept_as_are_computed() -> None:
    for number in FIRST:
        before = kept()["first"][str(number)]
        for condition, values in attempt(number).items():
            assert values.keys() == before[condition].keys(), condition


def test_every_measure_of_trials_and_cuts_is_in_the_table() -> None:
    names = {name for group in kept()["trial"].values() for name in group} | set(kept()["cut"])
    constant = {"hand_switch_count"}
    assert {*OF_TRIALS, *OF_CUTS} - names <= constant


def test_what_60_hz_spreads_too_far_is_known_with_its_reason() -> None:
    for group, measures in kept()["trial"].items():
        for name, one in measures.items():
            if one.get("spread_share", 0.0) > LIMIT:
                assert one["kept_because"], (group, name)
                assert one["kept_because"] == EXCUSED[group, name]
