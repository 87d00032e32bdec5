"""From stored trials to the counts that a step is suggested by."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest

from server import scoring
from server.store_observations import add_observation
from server.store_sessions import create_session, save_plan
from tests.practice import TODAY, Practice, drawn, plan

WIDE, LOST = 1.0, 5.0
"""Beside the line by so much: wholly inside a path of 8 mm, and wholly outside. [mm]"""
GOAL = {
    "measure": "deviation_mean_abs",
    "criterion": {"at_most": 0.5},
    "k": 4,
    "n": 5,
    "conditions": {"task_id": "quay-edge", "corridor_mm": 8.0},
    "help": {"cues_at_most": {"verbal": 1}},
    "purpose": "school",
}


class Sittings:
    """Sessions of one child, each with trials at a width."""

    def __init__(self, practice: Practice) -> None:
        self.practice, self.tablet, self.seq = practice, practice.tablet(), 0
        self.sessions: list[str] = []
        self.sent: list[str] = []

    def sit(
        self,
        day: date,
        *lines_mm: float,
        width_mm: float = 8.0,
        marks: dict[int, dict[str, Any]] | None = None,
        ended: bool = True,
        calibrated: bool = True,
        unmarked: tuple[int, ...] = (),
    ) -> str:
        with self.practice.app.state.sessions() as db:
            plan_id = str(uuid4())
            session = create_session(
                db,
                child_id=self.practice.ids["Gull"],
                day=day,
                plan_id=plan_id,
                closed_at=self.practice.clock.now if ended else None,
            )
            save_plan(db, session.id, plan())
            session_id = session.id
            db.commit()
        self.sessions.append(session_id)
        for number, beside_mm in enumerate(lines_mm):
            self.seq += 1
            tree = drawn(plan_id=plan_id, beside_mm=beside_mm, seq=self.seq)
            tree["guide"]["corridor_mm"] = width_mm
            tree["device"]["calibrated"] = calibrated
            assert self.practice.send(self.tablet, tree).status_code == 201
            self.sent.append(tree["trial_id"])
            if number not in unmarked:
                body = {"id": str(uuid4()), "outcome": "finished", **(marks or {}).get(number, {})}
                answer = self.tablet.post(f"/api/trials/{tree['trial_id']}/marks", json=body)
                assert answer.status_code == 201, answer.text
        return session_id

    def steps(self) -> list[dict[str, Any]]:
        answer = self.practice.desk("ferry").get(f"/api/children/{self.practice.ids['Gull']}/steps")
        assert answer.status_code == 200, answer.text
        found: list[dict[str, Any]] = answer.json()["steps"]
        return found


@pytest.fixture
def sittings(practice: Practice) -> Sittings:
    return Sittings(practice)


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def void(practice: Practice, trial_id: str) -> None:
    body = {"id": str(uuid4()), "voided": True, "reason": "The screen hung."}
    answer = practice.desk("ferry").post(f"/api/trials/{trial_id}/voids", json=body)
    assert answer.status_code == 201, answer.text


def counts(step: dict[str, Any]) -> list[tuple[int, int]]:
    return [(one["met"], one["finished"]) for one in step["sessions"]]


def test_counts_step_and_those_beside_it(sittings: Sittings) -> None:
    sittings.sit(ago(9), WIDE, WIDE, WIDE, LOST, LOST)
    sittings.sit(ago(2), WIDE, WIDE, WIDE, WIDE, LOST, LOST)
    (step,) = sittings.steps()
    assert (step["task_name"], step["half_width_mm"]) == ("Quay Edge", 4.0)
    assert step["suggestion"] == "stay"
    assert counts(step) == [(3, 5), (4, 6)]
    # [C] The ladder of Quay Edge is 24, 18, 12, 8, 6 mm.
    names = ("easier", "step", "harder")
    assert [step[name]["value"] for name in names] == [12.0, 8.0, 6.0]
    assert step["goal_id"] is None


def test_up_and_down_come_from_two_sessions(sittings: Sittings) -> None:
    sittings.sit(ago(9), *[WIDE] * 5)
    assert sittings.steps()[0]["suggestion"] == "too little to say"
    sittings.sit(ago(8), *[WIDE] * 4, LOST)
    assert sittings.steps()[0]["suggestion"] == "up"
    for day in (3, 2):
        sittings.sit(ago(day), WIDE, *[LOST] * 4)
    assert sittings.steps()[0]["suggestion"] == "down"


def test_what_does_not_count_is_left_out_with_its_reason(sittings: Sittings) -> None:
    marks = {0: {"outcome": "spoilt"}, 1: {"outcome": "stopped"}, 2: {"outcome": "finished"}}
    sittings.sit(ago(2), LOST, LOST, WIDE, WIDE, WIDE, WIDE, marks=marks)
    (step,) = sittings.steps()
    assert counts(step) == [(4, 4)]
    assert step["sessions"][0]["left_out"] == {"spoilt": 1, "stopped": 1}


def test_help_beyond_setting_up_keeps_from_up_unless_the_goal_allows_it(
    practice: Practice, sittings: Sittings
) -> None:
    cue = {0: {"outcome": "finished", "help": {"cues": {"verbal": 1}}}}
    setup = {0: {"outcome": "finished", "help": {"setup": True}}}
    sittings.sit(ago(9), *[WIDE] * 5, marks=setup)
    sittings.sit(ago(2), *[WIDE] * 5, marks=cue)
    (step,) = sittings.steps()
    assert step["suggestion"] == "stay"
    assert [(one["over"], one["helped"]) for one in step["sessions"]] == [(0, 0), (1, 1)]
    assert [(one["met"], one["reached"]) for one in step["sessions"]] == [(5, 5), (4, 5)]
    address = f"/api/children/{practice.ids['Gull']}/goals"
    body = GOAL | {"criterion": {"at_most": 3.0}}
    assert practice.desk("harbour").post(address, json=body).status_code == 201
    (step,) = sittings.steps()
    assert step["suggestion"] == "up"
    assert [(one["over"], one["helped"]) for one in step["sessions"]] == [(0, 0), (0, 1)]


def test_trials_of_which_nobody_noted_the_help_are_not_counted(sittings: Sittings) -> None:
    for day in (9, 2):
        sittings.sit(ago(day), *[WIDE] * 6, unmarked=(0, 1))
    (step,) = sittings.steps()
    assert counts(step) == [(4, 4), (4, 4)]
    assert [one["left_out"] for one in step["sessions"]] == [{"help_not_noted": 2}] * 2
    assert step["suggestion"] == "too little to say"


def test_help_that_rises_without_a_description_suggests_a_step_down(sittings: Sittings) -> None:
    given = {"outcome": "finished", "help": {"given": True}}
    for day, count in ((9, 0), (5, 1), (2, 2)):
        sittings.sit(ago(day), *[WIDE] * 7, marks=dict.fromkeys(range(count), given))
    (step,) = sittings.steps()
    assert step["suggestion"] == "down"
    assert [one["not_told"] for one in step["sessions"]] == [0, 1, 2]


def test_fewer_than_five_that_count_are_too_little_though_help_rose(sittings: Sittings) -> None:
    given = {"outcome": "finished", "help": {"given": True}}
    for day, count in ((9, 0), (5, 2), (2, 4)):
        sittings.sit(ago(day), *[WIDE] * 6, marks=dict.fromkeys(range(count), given))
    (step,) = sittings.steps()
    assert step["suggestion"] == "too little to say"
    assert counts(step) == [(6, 6), (4, 4), (2, 2)]
    assert "Help was given and not described in six trials: not counted." in step["reasons"]


def test_an_open_goal_judges_by_its_own_criterion_and_a_closed_one_does_not(
    practice: Practice, sittings: Sittings
) -> None:
    for day in (9, 2):
        sittings.sit(ago(day), *[WIDE] * 5)
    harbour = practice.desk("harbour")
    address = f"/api/children/{practice.ids['Gull']}/goals"
    goal = harbour.post(address, json=GOAL).json()
    (step,) = sittings.steps()
    # [C] 1 mm beside the line is more than the 0.5 mm that the goal allows.
    assert (counts(step), step["suggestion"]) == ([(0, 5), (0, 5)], "down")
    assert step["goal_id"] == goal["goal_id"]
    harbour.post(
        f"/api/goals/{goal['goal_id']}/versions", json=GOAL | {"based_on": 1, "status": "met"}
    )
    (step,) = sittings.steps()
    assert (counts(step), step["suggestion"], step["goal_id"]) == ([(5, 5), (5, 5)], "up", None)


def test_trials_that_a_goal_is_not_about_stand_apart(
    practice: Practice, sittings: Sittings
) -> None:
    sittings.sit(ago(2), *[WIDE] * 5)
    other = GOAL | {"conditions": {"task_id": "quay-edge", "corridor_mm": 8.0, "hand": "right"}}
    address = f"/api/children/{practice.ids['Gull']}/goals"
    assert practice.desk("harbour").post(address, json=other).status_code == 201
    (step,) = sittings.steps()
    assert (step["goal_id"], counts(step)) == (None, [(5, 5)])


def test_distress_anywhere_in_a_session_keeps_from_up(
    practice: Practice, sittings: Sittings
) -> None:
    for day in (9, 2):
        sittings.sit(ago(day), *[WIDE] * 5)
    assert sittings.steps()[0]["suggestion"] == "up"
    with practice.app.state.sessions() as db:
        add_observation(
            db,
            observation_id=str(uuid4()),
            session_id=sittings.sessions[0],
            account_id=practice.ids["ferry"],
            at=practice.clock.now,
            values={
                "trial_id": None,
                "kind": "distress",
                "text": None,
                "minutes": None,
                "help": None,
            },
        )
        db.commit()
    (step,) = sittings.steps()
    assert step["suggestion"] == "stay"
    assert [one["distress"] for one in step["sessions"]] == [1, 0]


def test_another_step_in_between_breaks_the_row(sittings: Sittings) -> None:
    sittings.sit(ago(9), *[WIDE] * 5)
    sittings.sit(ago(5), *[WIDE] * 5, width_mm=12.0)
    sittings.sit(ago(2), *[WIDE] * 5)
    (step,) = sittings.steps()
    assert (step["half_width_mm"], counts(step)) == (4.0, [(5, 5)])
    assert step["suggestion"] == "too little to say"


def test_a_voided_trial_moves_no_step_and_breaks_no_row(
    practice: Practice, sittings: Sittings
) -> None:
    sittings.sit(ago(9), *[WIDE] * 5)
    sittings.sit(ago(5), WIDE, width_mm=12.0)
    void(practice, sittings.sent[-1])
    sittings.sit(ago(2), *[WIDE] * 5)
    (step,) = sittings.steps()
    assert (step["suggestion"], counts(step)) == ("up", [(5, 5), (5, 5)])
    # Nor is the newest session one of the other step, or one of this step with nothing to count.
    sittings.sit(ago(1), WIDE, width_mm=12.0)
    void(practice, sittings.sent[-1])
    sittings.sit(ago(1), WIDE)
    void(practice, sittings.sent[-1])
    (step,) = sittings.steps()
    assert (step["suggestion"], counts(step)) == ("up", [(5, 5), (5, 5)])


def test_a_voided_trial_beside_others_is_told_as_left_out(
    practice: Practice, sittings: Sittings
) -> None:
    sittings.sit(ago(2), *[WIDE] * 6)
    void(practice, sittings.sent[0])
    (step,) = sittings.steps()
    assert counts(step) == [(5, 5)]
    assert step["sessions"][0]["left_out"] == {"voided": 1}


def test_a_task_of_voided_trials_only_has_no_step(practice: Practice, sittings: Sittings) -> None:
    sittings.sit(ago(2), WIDE)
    void(practice, sittings.sent[0])
    assert sittings.steps() == []


def test_a_trial_that_could_not_be_scored_moves_no_step(
    sittings: Sittings, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_workings: Any) -> None:
        raise ZeroDivisionError

    for day in (9, 2):
        sittings.sit(ago(day), *[WIDE] * 5)
    assert sittings.steps()[0]["suggestion"] == "up"
    with monkeypatch.context() as patch:
        patch.setattr(scoring, "make_report", broken)
        sittings.sit(ago(5), WIDE)
        sittings.sit(ago(1), WIDE)
        (step,) = sittings.steps()
    assert (step["suggestion"], counts(step)) == ("up", [(5, 5), (5, 5)])


def test_a_session_without_the_task_does_not_break_the_row(sittings: Sittings) -> None:
    sittings.sit(ago(9), *[WIDE] * 5)
    sittings.sit(ago(5))
    sittings.sit(ago(2), *[WIDE] * 5)
    assert sittings.steps()[0]["suggestion"] == "up"


def test_a_session_of_today_is_counted_once_it_has_ended(
    practice: Practice, sittings: Sittings
) -> None:
    for day in (9, 2):
        sittings.sit(ago(day), *[WIDE] * 5)
    today = sittings.sit(TODAY, LOST, ended=False)
    assert counts(sittings.steps()[0]) == [(5, 5), (5, 5)]
    assert practice.desk("ferry").post(f"/api/sessions/{today}/close").status_code == 200
    assert counts(sittings.steps()[0]) == [(5, 5), (5, 5), (0, 1)]
    assert sittings.steps()[0]["suggestion"] == "too little to say"


def test_a_width_that_is_no_step_of_the_task_is_counted_without_steps_beside_it(
    sittings: Sittings,
) -> None:
    for day in (9, 2):
        sittings.sit(ago(day), *[WIDE] * 5, width_mm=7.0)
    (step,) = sittings.steps()
    assert (step["step"], step["easier"], step["harder"]) == (None, None, None)
    assert step["suggestion"] == "up"


def test_nobody_else_reads_the_steps(practice: Practice) -> None:
    address = f"/api/children/{practice.ids['Gull']}/steps"
    assert practice.desk("ferry").get(address).json() == {"steps": []}
    for name, status in (("lantern", 404), ("beacon", 403), ("purser", 403)):
        assert practice.desk(name).get(address).status_code == status
