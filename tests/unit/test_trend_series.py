"""Which trials may be compared with which."""

from datetime import date, timedelta
from typing import Any

import pytest

from analysis.registry import MEASURES
from server.store_sessions import create_session, save_plan
from server.trend_series import Series, series_of
from tests.practice import TODAY, Practice, drawn, plan
from tests.problem_form import assert_problem

DISTANCE = "deviation_mean_abs"


def session(practice: Practice, day: date) -> str:
    """A further session of the same child; gives its plan's id."""
    with practice.app.state.sessions() as db:
        row = create_session(db, child_id=practice.ids["Gull"], day=day)
        save_plan(db, row.id, plan())
        db.commit()
        return row.plan_id


def send(practice: Practice, tree: dict[str, Any], **mark: Any) -> None:
    tablet = practice.tablet()
    assert practice.send(tablet, tree).status_code == 201
    if mark:
        body = {"id": tree["trial_id"]} | mark
        answer = tablet.post(f"/api/trials/{tree['trial_id']}/marks", json=body)
        assert answer.status_code == 201, answer.text


def series(practice: Practice, measure: str = DISTANCE) -> list[Series]:
    with practice.app.state.sessions() as db:
        return series_of(db, practice.ids["Gull"], measure)


def changed(part: str, **values: Any) -> dict[str, Any]:
    tree = drawn()
    tree[part] = tree[part] | values
    return tree


def test_a_session_is_the_median_of_its_trials(practice: Practice) -> None:
    for beside_mm in (1.0, -3.0, 1.5):
        send(practice, drawn(beside_mm=beside_mm))
    (one,) = series(practice)
    assert (one.task_name, one.mode, one.corridor_mm) == ("Quay Edge", "trace", 8.0)
    assert (one.hand, one.travelled, one.tool) == ("left", "left_to_right", "stylus")
    assert (one.calibration_id, one.revision) == ("calibration-1", 1)
    (point,) = one.points
    assert point.day == TODAY
    assert point.value == pytest.approx(1.5, abs=1e-6)  # [C] median of 1, 1.5 and 3 mm
    assert (point.n, point.helps, point.positions) == (3, 0, ("seated",))


@pytest.mark.parametrize(
    ("part", "values"),
    [
        ("condition", {"hand": "right"}),
        ("condition", {"tool": "finger"}),
        ("guide", {"corridor_mm": 12.0}),
        ("device", {"calibration_id": "calibration-2"}),
        ("task", {"mode": "cut"}),
    ],
    ids=["hand", "tool", "width", "calibration", "mode"],
)
def test_trials_under_other_conditions_are_another_series(
    practice: Practice, part: str, values: dict[str, Any]
) -> None:
    send(practice, drawn())
    send(practice, changed(part, **values))
    found = series(practice)
    assert [one.points[0].n for one in found] == [1, 1]
    assert found[0].path_id == found[1].path_id


def test_the_other_direction_is_another_series_by_what_was_drawn(practice: Practice) -> None:
    send(practice, drawn())
    back = drawn()
    for name in ("x_mm", "y_mm"):
        back["samples"][name].reverse()
    send(practice, back)
    assert [one.travelled for one in series(practice)] == ["left_to_right", "right_to_left"]


def test_position_help_and_place_on_the_screen_are_no_other_series(practice: Practice) -> None:
    send(practice, drawn())
    send(practice, changed("condition", position="standing"))
    moved = drawn()
    moved["guide"]["points_mm"] = [[20.0, 80.0], [180.0, 80.0]]
    moved["samples"]["y_mm"] = [79.0] * len(moved["samples"]["y_mm"])
    send(practice, moved, outcome="finished", help={"given": True})
    (one,) = series(practice)
    (point,) = one.points
    assert (point.n, point.helps, point.positions) == (3, 1, ("seated", "standing"))


def test_another_midline_is_another_series_for_midline_measures_only(practice: Practice) -> None:
    send(practice, drawn())
    send(practice, changed("guide", midline_x_mm=120.0))
    assert len(series(practice, DISTANCE)) == 1
    offsets = [one.midline_offset_mm for one in series(practice, "midline_zone_time_share")]
    assert offsets == [80.0, 100.0]  # [C] guide from x = 20, midline at 100 and 120


@pytest.mark.parametrize("outcome", ["spoilt", "stopped", "not_done"])
def test_trials_that_do_not_count_are_left_out(practice: Practice, outcome: str) -> None:
    send(practice, drawn(beside_mm=1.0), outcome="finished")
    send(practice, drawn(beside_mm=3.0), outcome=outcome)
    (one,) = series(practice)
    assert one.points[0].n == 1
    assert one.points[0].value == pytest.approx(1.0, abs=1e-6)  # [C] the counted one


def test_the_hand_that_was_marked_goes_before_the_hand_that_was_asked(
    practice: Practice,
) -> None:
    send(practice, drawn(), hand_used="right")
    assert [one.hand for one in series(practice)] == ["right"]


def test_trials_without_a_value_make_no_point(practice: Practice) -> None:
    send(practice, changed("device", calibrated=False))
    assert series(practice, DISTANCE) == []
    assert len(series(practice, "completion")) == 1


def test_wide_comes_before_narrow(practice: Practice) -> None:
    for width_mm in (6.0, 12.0, 8.0):
        send(practice, changed("guide", corridor_mm=width_mm))
    assert [one.corridor_mm for one in series(practice)] == [12.0, 8.0, 6.0]


def test_the_trend_is_given_with_its_slope_from_five_sessions_on(practice: Practice) -> None:
    tablet = practice.tablet()
    for week in range(5):
        plan_id = session(practice, TODAY - timedelta(weeks=5 - week))
        tree = drawn(beside_mm=3.0 - 0.5 * week, plan_id=plan_id)
        assert practice.send(tablet, tree).status_code == 201
        path = f"/api/children/{practice.ids['Gull']}/trend"
        answer = practice.desk("ferry").get(path, params={"measure": DISTANCE})
        (one,) = answer.json()["series"]
        assert len(one["points"]) == week + 1
        if week < 4:
            assert one["slope"] == {"per_week": None, "reason": "too_few_sessions"}
    assert answer.json()["unit"] == "mm"
    assert one["points"][0]["day"] == "2026-01-27"
    slope = one["slope"]
    assert slope["per_week"] == pytest.approx(-0.5, abs=1e-6)  # [C] 0.5 mm less each week
    assert slope["low_per_week"] <= slope["per_week"] <= slope["high_per_week"]
    told = one["statistics"]
    assert list(told) == [entry.id for entry in MEASURES if entry.scope == "series"]
    assert told["trend_slope"]["value"] == pytest.approx(slope["per_week"])
    assert told["trend_slope"]["low"] == pytest.approx(slope["low_per_week"])
    assert told["trend_slope"]["unit"] == "mm/wk"
    # [C] falling each week: 2 of 5! orders
    assert told["trend_test"] == {"value": pytest.approx(2 / 120), "unit": "1"}
    assert told["standard_error_of_measurement"] == {
        "value": None,
        "unit": "mm",
        "reason": "too_few_trials",
    }
    assert not {"repeats", "cells", "hands"} & one.keys()


def test_a_measure_that_does_not_exist_is_refused(practice: Practice) -> None:
    path = f"/api/children/{practice.ids['Gull']}/trend"
    ferry = practice.desk("ferry")
    assert_problem(ferry.get(path, params={"measure": "composite_total"}), 422, "/measure")
    assert_problem(ferry.get(path), 422, "/measure")
    with pytest.raises(KeyError):
        series(practice, "composite_total")
