"""What a child's page says beside its series: their width, and which goal's baseline they have."""

from datetime import date
from typing import Any

import pytest

from analysis.registry import measure
from server.child_attempts import readings_with
from server.numbers import NO_BREAK
from server.page_grid import hand_grid
from server.page_trend import baseline_until, trend_words
from server.sentences import widths_words
from server.store_attempts import attempts_of_child
from server.store_results import values_of
from server.store_sessions import sessions_of
from server.trend_bands import NO_BASELINES
from server.trend_series import series_of
from tests.practice import Practice, drawn
from tests.unit.test_goals import GOAL, set_goal

SHARE = "in_corridor_share"
DAY = date(2026, 3, 2)


def send(practice: Practice, **parts: dict[str, Any]) -> None:
    tree = drawn()
    for part, values in parts.items():
        tree[part] |= values
    assert practice.send(practice.tablet(), tree).status_code == 201


def untils(practice: Practice) -> dict[tuple[str | None, float | None], date]:
    with practice.app.state.sessions() as db:
        series = series_of(db, practice.ids["Gull"], SHARE)
        found = baseline_until(db, practice.ids["Gull"], SHARE, series)
    return {(one.hand, one.corridor_mm): until for one, until in found.items()}


def test_a_baseline_is_that_of_the_series_the_goal_is_about(practice: Practice) -> None:
    send(practice)
    send(practice, condition={"hand": "right"})
    send(practice, guide={"corridor_mm": 12.0})
    assert untils(practice) == {}
    set_goal(practice)
    assert untils(practice) == {("left", 8.0): DAY}
    # Of two goals about a series the first baseline counts.
    set_goal(practice, baseline={"k": 1, "n": 5, "day": "2026-03-01"})
    assert untils(practice) == {("left", 8.0): date(2026, 3, 1)}
    set_goal(practice, conditions={"task_id": "quay-edge", "corridor_mm": 12.0})
    assert untils(practice) == {("left", 8.0): date(2026, 3, 1), ("left", 12.0): DAY}


@pytest.mark.parametrize("status", ["met", "continued", "changed", "stopped"])
def test_a_closed_goal_has_no_baseline_on_the_picture(practice: Practice, status: str) -> None:
    send(practice)
    goal_id = set_goal(practice)["goal_id"]
    body = GOAL | {"based_on": 1, "status": status}
    answer = practice.desk("harbour").post(f"/api/goals/{goal_id}/versions", json=body)
    assert answer.status_code == 201, answer.text
    assert untils(practice) == {}


def test_a_goal_on_another_task_or_measure_has_no_baseline_here(practice: Practice) -> None:
    send(practice)
    set_goal(practice, conditions={"task_id": "swell", "corridor_mm": 8.0})
    set_goal(practice, measure="deviation_mean_abs", criterion={"at_most": 3.0})
    assert untils(practice) == {}


@pytest.mark.parametrize(
    ("calibrated", "width"),
    [(True, "4 mm each side"), (False, "width in mm not known")],
)
def test_a_width_in_mm_is_said_of_calibrated_trials_only(
    practice: Practice, calibrated: bool, width: str
) -> None:
    send(practice, device={"calibrated": calibrated})
    entry = measure(SHARE)
    with practice.app.state.sessions() as db:
        series = series_of(db, practice.ids["Gull"], SHARE)
        attempts = attempts_of_child(db, practice.ids["Gull"])
        values = values_of(db, (one.result for one in attempts), {entry.id})
        readings = readings_with(attempts, values, entry.id)
        sessions = sessions_of(db, practice.ids["Gull"])
        told = trend_words("c", entry, series, readings, NO_BASELINES)
        grid = hand_grid(readings, sessions, entry, series[0].path_id)
    assert told is not None
    for (line,) in (told["lines"], told["spread"]):
        assert line.width.replace(NO_BREAK, " ") == width
    assert f"Quay Edge, {width};" in grid["caption"].replace(NO_BREAK, " ")


def facts(half_mm: float | None, on_path_pct: float | None, *, calibrated: bool) -> dict[str, Any]:
    return {
        "half_width_mm": half_mm,
        "calibrated": calibrated,
        "scores": {"on_path_pct": on_path_pct},
    }


def test_a_width_that_varies_is_said_and_none_is_said_of_no_corridor() -> None:
    varies = facts(None, 0.0, calibrated=True)
    assert widths_words([varies]) == "width varies along the line"
    assert widths_words([varies | {"calibrated": False}]) == "width in mm not known"
    assert widths_words([facts(None, None, calibrated=True)]) == ""
    assert widths_words([]) == ""
