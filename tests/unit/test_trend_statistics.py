"""From trials to the numbers of a series: pairs of one day, hands, directions, blocks."""

from datetime import date, timedelta
from typing import Any

import pytest

from analysis.registry import measure
from analysis.series import CellTrial
from analysis.value import Value
from server.tables import SessionRow
from server.trend_series import Series, series_from
from server.trend_statistics import statistics, statistics_of, values_of
from server.trial_readings import Reading, SeriesKey

DISTANCE = measure("deviation_mean_abs")
# Left hand 1 mm worse; across the body 1 mm worse; directions alike.
BY_HAND = {
    ("right", "left_to_right"): 2.0,
    ("right", "right_to_left"): 3.0,
    ("left", "left_to_right"): 4.0,
    ("left", "right_to_left"): 3.0,
}


def session(number: int) -> SessionRow:
    return SessionRow(id=f"s{number}", day=date(2026, 1, 5) + timedelta(weeks=number))


def reading(
    number: int,
    value: float,
    *,
    hand: str | None = "left",
    travelled: str = "left_to_right",
    free: bool = False,
    **changes: Any,
) -> Reading:
    fields = {
        "mode": "trace",
        "guide_id": "g-1",
        "path_id": "p-1",
        "tool": "stylus",
        "calibration_id": "c-1",
        "midline_offset_mm": 80.0,
    }
    key = SeriesKey(hand=hand, travelled=travelled, **(fields | changes))  # type: ignore[arg-type]
    return Reading(
        trial_id=f"t{number}",
        session_id=f"s{number}",
        key=key,
        free=free,
        hand_taken=None if hand == "free" else hand,
        task_name="Quay Edge",
        position=None,
        corridor_mm=8.0,
        helped=False,
        values={DISTANCE.id: value},
    )


def found_for(readings: list[Reading], sessions: int = 12) -> list[Series]:
    return series_from(readings, [session(number) for number in range(sessions)], DISTANCE)


def designed(blocks: int) -> list[Reading]:
    return [
        reading(number, value + 0.1 * number, hand=hand, travelled=travelled)
        for number in range(blocks)
        for (hand, travelled), value in BY_HAND.items()
    ]


def test_trials_of_a_session_are_paired_two_by_two() -> None:
    values = {0: [1.0, 2.0, 3.0], 1: [4.0], 2: [5.0, 6.0, 7.0, 9.0]}
    (one,) = found_for([reading(n, value) for n, mine in values.items() for value in mine])
    assert one.repeats == ((1.0, 2.0), (5.0, 6.0), (7.0, 9.0))


def test_a_session_is_a_block_of_the_hand_and_direction_design() -> None:
    found = found_for(designed(6))
    assert len(found) == 4
    assert {one.cells for one in found} == {found[0].cells}
    assert CellTrial("left", "right_to_left", 5, 3.5) in found[0].cells
    for one in found:
        values = statistics_of(one)
        # [C] the same step in each of six blocks
        for name, step in (("hand_effect", 1), ("direction_effect", 0), ("across_body_effect", 1)):
            value = values[name]
            assert (value.number, value.low, value.high) == pytest.approx((step, step, step))


@pytest.mark.parametrize(
    "changes",
    [
        {"guide_id": "g-2"},
        {"tool": "finger"},
        {"calibration_id": "c-2"},
        {"mode": "cut"},
    ],
)
def test_other_conditions_are_no_part_of_the_design(changes: dict[str, str]) -> None:
    other = [reading(0, 50.0, hand="right", **changes), reading(0, 60.0, **changes)]
    plain, mixed = found_for(designed(6)), found_for(designed(6) + other)
    assert len(mixed) == 6
    assert {one.cells for one in plain} <= {one.cells for one in mixed}


def test_hands_taken_by_choice_make_the_index_and_no_cell() -> None:
    chosen = [reading(n, 9.0, hand="right", free=True) for n in range(8)]
    chosen += [reading(n, 9.0, free=True) for n in range(2)]
    values = statistics_of(found_for(designed(6) + chosen)[0])
    assert values["laterality_index"].number == 60  # [C] 8 and 2
    assert values["hand_effect"].number == pytest.approx(1)
    unknown = [reading(n, 9.0, hand="free", free=True) for n in range(6)]
    assert statistics_of(found_for(unknown)[0])["laterality_index"] == Value(None, "hand_unknown")


def test_a_hand_that_is_not_known_is_said() -> None:
    readings = [one._replace(hand_taken=None) for one in designed(6)]
    (value,) = {statistics_of(one)["hand_effect"] for one in found_for(readings)}
    assert value == Value(None, "hand_unknown")


def test_days_values_and_direction_of_improvement_are_those_of_the_series() -> None:
    (one,) = found_for([reading(n, 3.0 - n) for n in (0, 2, 3)])
    values = values_of(one)
    assert (values.days - values.days[0]).tolist() == [0, 14, 21]
    assert values.values.tolist() == [3.0, 1.0, 0.0]
    assert (values.better, values.near) == ("low", None)
    assert values.baseline_count is None


def test_units_are_those_of_the_measure_the_series_is_of() -> None:
    told = statistics(found_for([reading(n, float(n)) for n in range(6)])[0])
    units = {name: row["unit"] for name, row in told.items()}
    assert units["trend_slope"] == "mm/wk"
    assert units["minimal_detectable_change_95"] == units["hand_effect"] == "mm"
    assert units["trend_test"] == units["laterality_index"] == "1"
    # [C] one more each week
    slope = told["trend_slope"]
    assert slope == {"value": 1.0, "unit": "mm/wk", "low": 1.0, "high": 1.0}
    assert told["goal_attainment_t"] == {"value": None, "unit": "1", "reason": "too_few_trials"}


def test_a_share_that_rises_by_the_week_has_a_unit_of_its_own() -> None:
    share = measure("in_corridor_share")
    readings = [reading(n, 0.0)._replace(values={share.id: 0.1 * n}) for n in range(6)]
    (one,) = series_from(readings, [session(n) for n in range(6)], share)
    assert statistics(one)["trend_slope"]["unit"] == "1/wk"
    assert statistics(one)["hand_effect"]["unit"] == "1"
