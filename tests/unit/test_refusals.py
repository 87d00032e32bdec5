"""Every measure, every reason it may give: a trial that must be refused with just this reason.

The walk is made from the registry: a measure with a need or a reason of its own for which
`tests.refusals` has no way to spoil a trial fails.
"""

from functools import cache
from itertools import pairwise

import pytest

from analysis.cut_workings import CUT_NEEDS, CutWorkings
from analysis.measures_cut import CUT_MEASURES
from analysis.measures_series import SERIES_MEASURES
from analysis.needs import NEEDS
from analysis.registry import (
    MEASURES,
    TRIAL_MEASURES,
    measure,
    measure_all,
    measure_cut,
    measure_series,
    needs_of,
    reasons_of,
)
from analysis.trial import Mode, Trial
from analysis.value import REASONS, Value, first_reason
from analysis.workings import Workings
from tests import refusals, refusals_series
from tests.refusals import Spoil
from tests.refusals_series import SpoilCut, SpoilSeries

Place = tuple[str, Mode]
"""Id of a measure, and one of its modes."""

PLACES: list[Place] = [
    (entry.id, mode)  # type: ignore[misc]
    for entry in TRIAL_MEASURES
    for mode in sorted(entry.modes)
]


@cache
def bases(mode: Mode) -> tuple[Trial, ...]:
    return refusals.bases(mode)


@cache
def base_values(mode: Mode) -> tuple[dict[str, Value], ...]:
    return tuple(measure_all(Workings(one)) for one in bases(mode))


def base_of(place: Place) -> int:
    """Which base of the mode gives the measure a number."""
    measure_id, mode = place
    found = [values[measure_id] for values in base_values(mode)]
    numbers = [at for at, value in enumerate(found) if value.number is not None]
    assert numbers, f"no sound trial of mode {mode}: {[value.reason for value in found]}"
    return numbers[0]


def spoil_of(need: str, mode: Mode) -> Spoil:
    by_mode = refusals.MODES_SPOILT.get(mode, {})
    return by_mode[need] if need in by_mode else refusals.NEEDS_SPOILT[need]


@cache
def spoilt_values(mode: Mode, base: int, *needs: str) -> dict[str, Value]:
    """Values of a base with several needs spoilt, one after the other."""
    one = bases(mode)[base]
    for need in needs:
        one = spoil_of(need, mode)(one)
    return measure_all(Workings(one))


NEED_CASES = [
    (*place, need)
    for place in PLACES
    for need in NEEDS
    if need in needs_of(measure(place[0])) and (place[1], need) not in refusals.IDLE
]
FUNCTION_CASES = [
    (*place, code) for place in PLACES for code in REASONS if code in measure(place[0]).refuses
]


@pytest.mark.parametrize(("measure_id", "mode"), PLACES)
def test_a_sound_trial_gives_a_number(measure_id: str, mode: Mode) -> None:
    assert base_values(mode)[base_of((measure_id, mode))][measure_id].number is not None


@pytest.mark.parametrize(("measure_id", "mode", "need"), NEED_CASES)
def test_each_need_not_met_is_refused_with_its_reason(
    measure_id: str, mode: Mode, need: str
) -> None:
    found = spoilt_values(mode, base_of((measure_id, mode)), need)[measure_id]
    assert found == Value(None, NEEDS[need][0])


@pytest.mark.parametrize(("measure_id", "mode", "code"), FUNCTION_CASES)
def test_each_reason_of_a_function_is_given(measure_id: str, mode: Mode, code: str) -> None:
    one = bases(mode)[base_of((measure_id, mode))]
    spoil = refusals.FUNCTIONS_SPOILT[measure_id, code]
    assert measure_all(Workings(spoil(one)))[measure_id] == Value(None, code)


@pytest.mark.parametrize(
    ("measure_id", "code", "spoil"),
    refusals.FUNCTIONS_MORE,
    ids=[f"{one}-{code}-{at}" for at, (one, code, _) in enumerate(refusals.FUNCTIONS_MORE)],
)
def test_further_ways_to_a_reason(measure_id: str, code: str, spoil: Spoil) -> None:
    one = bases("trace")[base_of((measure_id, "trace"))]
    assert measure_all(Workings(spoil(one)))[measure_id] == Value(None, code)


CUT_CASES = [
    (entry.id, need) for entry in CUT_MEASURES for need in CUT_NEEDS if need in needs_of(entry)
]
SERIES_CASES = [
    (entry.id, code) for entry in SERIES_MEASURES for code in REASONS if code in entry.refuses
]


@pytest.mark.parametrize("measure_id", [entry.id for entry in CUT_MEASURES])
def test_a_sound_cut_gives_a_number(measure_id: str) -> None:
    assert measure_cut(CutWorkings(refusals_series.sound_cut()))[measure_id].number is not None


@pytest.mark.parametrize(("measure_id", "need"), CUT_CASES)
def test_each_need_of_a_cut_is_refused_with_its_reason(measure_id: str, need: str) -> None:
    one = refusals_series.CUT_SPOILT[need](refusals_series.sound_cut())
    assert measure_cut(CutWorkings(one))[measure_id] == Value(None, CUT_NEEDS[need][0])


@pytest.mark.parametrize(("code", "spoil"), refusals_series.CUT_MORE)
def test_further_ways_to_a_reason_of_a_cut(code: str, spoil: SpoilCut) -> None:
    found = measure_cut(CutWorkings(spoil(refusals_series.sound_cut())))
    assert set(found.values()) == {Value(None, code)}


@pytest.mark.parametrize("measure_id", [entry.id for entry in SERIES_MEASURES])
def test_a_sound_series_gives_a_number(measure_id: str) -> None:
    assert measure_series(refusals_series.sound_series())[measure_id].number is not None


@pytest.mark.parametrize(("measure_id", "code"), SERIES_CASES)
def test_each_reason_of_a_series_is_given(measure_id: str, code: str) -> None:
    one = refusals_series.SERIES_SPOILT[measure_id, code](refusals_series.sound_series())
    assert measure_series(one)[measure_id] == Value(None, code)


@pytest.mark.parametrize(("measure_id", "code", "spoil"), refusals_series.SERIES_MORE)
def test_further_ways_to_a_reason_of_a_series(
    measure_id: str, code: str, spoil: SpoilSeries
) -> None:
    found = measure_series(spoil(refusals_series.sound_series()))
    assert found[measure_id] == Value(None, code)


def pairs_tested() -> set[tuple[str, str]]:
    """Measures and reasons that the tests above construct."""
    by_need = {(one, NEEDS[need][0]) for one, _, need in NEED_CASES}
    by_cut_need = {(one, CUT_NEEDS[need][0]) for one, need in CUT_CASES}
    return (
        by_need | by_cut_need | {(one, code) for one, _, code in FUNCTION_CASES} | {*SERIES_CASES}
    )


def test_every_measure_and_every_reason_it_may_give_is_tested() -> None:
    possible = {(entry.id, code) for entry in MEASURES for code in reasons_of(entry)}
    assert pairs_tested() == possible


def test_every_need_is_somewhere_spoilt_and_belongs_to_a_measure() -> None:
    assert {need for _, _, need in NEED_CASES} == set(NEEDS)
    assert {need for _, need in CUT_CASES} == set(CUT_NEEDS)


def test_functions_spoilt_are_those_of_the_registry() -> None:
    assert set(refusals.FUNCTIONS_SPOILT) == {(one, code) for one, _, code in FUNCTION_CASES}
    assert set(refusals_series.SERIES_SPOILT) == set(SERIES_CASES)


FLAGS = ("calibrated", "hand", "clock", "time", "pressure_sensor", "pressure_band")
"""Needs whose spoiling leaves everything else as it was."""

CLOCKED = frozenset(
    {"moving", "moving_twice", "long_strokes", "many_bends", "long_piece", "held"}
    | {"whole", "together", "within_an_hour", "pressure_time", "pressure_long"}
    | {"pressure_varies", "pressure_range"}
)
"""Needs that cannot be judged without a clock to believe: the clock's reason is given."""


def expected(needs: tuple[str, str], mode: Mode, measure_id: str) -> str:
    """Reason that comes first of those that two spoilings leave."""
    spoilt, flag = needs
    if flag in {"clock", "time"} and spoilt in CLOCKED and flag in needs_of(measure(measure_id)):
        return NEEDS[flag][0]
    return first_reason([NEEDS[spoilt][0], NEEDS[flag][0]])


@pytest.mark.parametrize(("measure_id", "mode"), PLACES)
def test_of_two_reasons_the_first_is_given(measure_id: str, mode: Mode) -> None:
    needs = [need for place, at, need in NEED_CASES if (place, at) == (measure_id, mode)]
    for spoilt in needs:
        for flag in FLAGS:
            if flag == spoilt or flag not in needs:
                continue
            found = spoilt_values(mode, base_of((measure_id, mode)), spoilt, flag)[measure_id]
            wanted = expected((spoilt, flag), mode, measure_id)
            assert found.reason == wanted, (spoilt, flag)


NEVER_TOGETHER = {
    ("midline_deviation_ratio", "zero_variance", "midline_unknown"): "without a midline there are "
    "no flanks that could lie too near to the line",
}
"""Measure, reason of its function and later reason of a need: why they never hold at once."""


def test_what_a_function_refuses_by_itself_comes_after_its_needs() -> None:
    """Else the need's reason, looked at before, would hide the function's earlier one."""
    rank = {code: at for at, code in enumerate(REASONS)}
    hidden = {
        (entry.id, code, needed)
        for entry in TRIAL_MEASURES
        for code in entry.refuses
        for needed in (NEEDS[name][0] for name in needs_of(entry))
        if rank[needed] > rank[code]
    }
    assert hidden == set(NEVER_TOGETHER)


def test_reasons_are_told_in_the_order_of_precedence() -> None:
    for entry in MEASURES:
        codes = [list(REASONS).index(code) for code in reasons_of(entry)]
        assert all(a < b for a, b in pairwise(codes)), entry.id
