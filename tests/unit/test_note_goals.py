"""The goals of a note: of one session, open on its day, by the rule of the page of a goal."""

import dataclasses
from datetime import UTC, date, datetime
from typing import Any
from uuid import uuid4

import pytest

from server.note_goals import note_numbers_of
from server.store_sessions import create_session, save_plan, session_by_id
from tests.practice import TODAY, Practice, drawn, plan
from tests.unit.test_goals_progress import CONDITIONS, GOAL, LOST, WIDE, Sender, progress, set_goal
from tests.unit.test_notes import TEXTS

SIGNING = {"based_on": "0", "do": "sign", "read": "yes", "started": "09:00", "ended": "10:00"}


@pytest.fixture
def send(practice: Practice) -> Sender:
    return Sender(practice)


def told(practice: Practice) -> list[dict[str, Any]]:
    """The goals that the note of Gull's session would keep if it were signed now."""
    with practice.app.state.sessions() as db:
        session = session_by_id(db, practice.ids["Gull session"])
        assert session is not None
        goals: list[dict[str, Any]] = note_numbers_of(db, session, practice.app.state.settings)[
            "goals"
        ]
        return goals


def counts(practice: Practice) -> list[tuple[int, int, int]]:
    return [(one["met"], one["of"], one["left_out"]) for one in told(practice)]


def send_elsewhere(practice: Practice, send: Sender, *beside_mm: float, day: date = TODAY) -> None:
    """Send marked trials of another session of the same child."""
    plan_id = str(uuid4())
    with practice.app.state.sessions() as db:
        child_id = practice.ids["Gull"]
        row = create_session(db, child_id=child_id, day=day, place="Quay", plan_id=plan_id)
        save_plan(db, row.id, plan())
        db.commit()
    for number, beside in enumerate(beside_mm, start=1):
        tree = drawn(beside_mm=beside, seq=number, plan_id=plan_id)
        assert practice.send(send.tablet, tree).status_code == 201
        send.mark(tree["trial_id"], outcome="finished")


def end(practice: Practice, goal_id: str, status: str = "met", based_on: int = 1) -> None:
    body = GOAL | {"based_on": based_on, "status": status}
    answer = practice.desk("harbour").post(f"/api/goals/{goal_id}/versions", json=body)
    assert answer.status_code == 201, answer.text


def test_a_note_counts_the_trials_of_its_own_session_only(practice: Practice, send: Sender) -> None:
    set_goal(practice)
    send(WIDE)
    send(WIDE)
    before = counts(practice)
    send_elsewhere(practice, send, LOST, LOST, LOST)
    assert before == counts(practice) == [(2, 2, 0)]


def test_a_goal_that_only_another_session_worked_on_is_not_listed(
    practice: Practice, send: Sender
) -> None:
    set_goal(practice)

    def right(tree: Any) -> None:
        tree["condition"]["hand"] = "right"

    send(WIDE, right)
    send_elsewhere(practice, send, WIDE)
    assert told(practice) == []


def test_a_trial_of_another_session_changes_no_signed_note(
    practice: Practice, send: Sender
) -> None:
    set_goal(practice)
    send(WIDE)
    path, ferry = f"/sessions/{practice.ids['Gull session']}/note", practice.desk("ferry")
    answer = ferry.post(path, data=TEXTS | SIGNING, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    send_elsewhere(practice, send, LOST)
    page = ferry.get(path).text
    assert "Met in 1 of 1 trials that count in this session." in page
    assert "when signed" not in page


@pytest.mark.parametrize(("zone", "hour"), [("Etc/GMT+8", 2), ("Etc/GMT-10", 20)])
def test_the_day_of_a_goal_is_that_of_the_practice(
    practice: Practice, zone: str, hour: int
) -> None:
    """Set at 18:00 of 3 March eight hours behind, and at 06:00 of 4 March ten hours before."""
    settings = dataclasses.replace(practice.app.state.settings, time_zone=zone)
    practice.app.state.settings = settings
    day = 4 if hour < 12 else 3
    practice.clock.now = datetime(2026, 3, day, hour, tzinfo=UTC)
    goal_id = set_goal(practice)
    Sender(practice)(WIDE)
    by_day = progress(practice, goal_id)["by_day"]
    assert [one["day"] for one in by_day] == (["2026-03-03"] if day == 4 else [])
    assert counts(practice) == [(one["k"], one["n"], 0) for one in by_day]


@pytest.mark.parametrize(("day", "counted"), [("2026-03-02", True), ("2026-03-03", False)])
def test_the_day_of_the_baseline_is_no_progress_in_a_note_either(
    practice: Practice, send: Sender, day: str, counted: bool
) -> None:
    goal_id = set_goal(practice, baseline={"k": 1, "n": 5, "day": day})
    send(WIDE)
    assert bool(progress(practice, goal_id)["by_day"]) is counted
    assert counts(practice) == ([(1, 1, 0)] if counted else [])


@pytest.mark.parametrize("days", [0, 3])
def test_a_goal_that_ended_before_the_note_was_written_stands_in_it(
    practice: Practice, send: Sender, days: int
) -> None:
    goal_id = set_goal(practice)
    send(WIDE)
    practice.clock.move(days=days)
    end(practice, goal_id)
    assert [(one["version"], one["met"], one["of"]) for one in told(practice)] == [(1, 1, 1)]
    page = practice.desk("ferry").get(f"/sessions/{practice.ids['Gull session']}/note").text
    assert "No trial of this session counts towards an open goal." not in page
    assert "Met in 1 of 1 trials that count in this session." in page


def test_a_goal_that_was_not_open_on_that_day_is_not_listed(
    practice: Practice, send: Sender
) -> None:
    practice.clock.move(days=-2)
    goal_id = set_goal(practice)
    practice.clock.move(days=1)
    end(practice, goal_id)
    practice.clock.move(days=1)
    send(WIDE)
    assert told(practice) == []
    # Opened again later, it was closed on the day of the session all the same.
    practice.clock.move(days=1)
    end(practice, goal_id, "open", based_on=2)
    assert told(practice) == []


def test_a_goal_counts_as_it_was_on_the_day_of_the_session(
    practice: Practice, send: Sender
) -> None:
    goal_id = set_goal(practice)
    send(WIDE)
    practice.clock.move(days=1)
    later = GOAL | {"based_on": 1, "conditions": CONDITIONS | {"hand": "right"}}
    address = f"/api/goals/{goal_id}/versions"
    assert practice.desk("harbour").post(address, json=later).status_code == 201
    assert [(one["version"], one["met"], one["of"]) for one in told(practice)] == [(1, 1, 1)]


def test_a_goal_set_after_the_session_is_not_listed(practice: Practice, send: Sender) -> None:
    send(WIDE)
    practice.clock.move(days=1)
    set_goal(practice)
    assert told(practice) == []


def test_trials_that_a_goal_leaves_out_are_counted_as_left_out(
    practice: Practice, send: Sender
) -> None:
    set_goal(practice)
    send(WIDE, marked=False)
    assert counts(practice) == [(0, 0, 1)]
