"""How far a goal has come: what counts, what is left out and why."""

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

import pytest

from server import scoring
from server.store_sessions import create_session
from tests.practice import Practice, drawn

WIDE, LOST = 1.0, 5.0
"""Beside the line by so much: wholly inside a path of 8 mm, and wholly outside. [mm]"""
CONDITIONS = {"corridor_mm": 8.0, "hand": "left", "direction": "left_to_right"}
GOAL = {
    "measure": "in_corridor_share",
    "criterion": {"at_least": 0.8},
    "k": 4,
    "n": 5,
    "conditions": CONDITIONS,
    "purpose": "School.",
}


def set_goal(practice: Practice, **change: Any) -> str:
    address = f"/api/children/{practice.ids['Gull']}/goals"
    answer = practice.desk("harbour").post(address, json=GOAL | change)
    assert answer.status_code == 201, answer.text
    goal_id: str = answer.json()["goal_id"]
    return goal_id


def progress(practice: Practice, goal_id: str, **params: Any) -> dict[str, Any]:
    answer = practice.desk("ferry").get(f"/api/goals/{goal_id}/progress", params=params)
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


class Sender:
    """Sends trials of one child, one after the other."""

    def __init__(self, practice: Practice) -> None:
        self.practice, self.tablet, self.seq = practice, practice.tablet(), 0

    def __call__(
        self,
        beside_mm: float = WIDE,
        change: Callable[[Any], None] | None = None,
        *,
        marked: bool = True,
    ) -> str:
        self.seq += 1
        tree = drawn(beside_mm=beside_mm, seq=self.seq)
        if change is not None:
            change(tree)
        assert self.practice.send(self.tablet, tree).status_code == 201
        trial_id: str = tree["trial_id"]
        if marked:
            self.mark(trial_id, outcome="finished")
        return trial_id

    def mark(self, trial_id: str, **mark: Any) -> None:
        body = {"id": str(uuid4())} | mark
        answer = self.tablet.post(f"/api/trials/{trial_id}/marks", json=body)
        assert answer.status_code == 201, answer.text


@pytest.fixture
def send(practice: Practice) -> Sender:
    return Sender(practice)


def left_out(told: dict[str, Any]) -> dict[str, list[str]]:
    return {one["reason"]: one["trial_ids"] for one in told["left_out"]}


def test_k_of_the_latest_n_with_its_interval(practice: Practice, send: Sender) -> None:
    goal_id = set_goal(practice, days=2)
    send(LOST)
    ids = [send(WIDE), send(WIDE), send(LOST), send(WIDE), send(WIDE)]
    told = progress(practice, goal_id)
    assert told["wanted"] == {"k": 4, "n": 5, "days": 2}
    assert told["counted"] == 6
    latest = told["latest"]
    assert (latest["k"], latest["n"], latest["days"]) == (4, 5, 1)
    # [C] 4 of 5; [P] its Wilson interval is 38 to 96 % (TRADE section 5).
    assert latest["share"] == 0.8
    assert latest["low"] == pytest.approx(0.38, abs=0.005)
    assert latest["high"] == pytest.approx(0.96, abs=0.005)
    assert latest["reason"] is None
    assert [one["trial_id"] for one in latest["trials"]] == ids
    assert [one["value"] for one in latest["trials"]] == [1, 1, 0, 1, 1]  # [C]
    assert [one["met"] for one in latest["trials"]] == [True, True, False, True, True]
    assert told["by_day"] == [{"day": "2026-03-03", "k": 4, "n": 6, "over": 0}]
    assert told["left_out"] == []
    assert told["each_side_mm"] == 4
    assert (told["unit"], told["since"]) == ("1", "2026-03-03")


def test_too_few_trials_give_counts_and_interval_but_no_share(
    practice: Practice, send: Sender
) -> None:
    goal_id = set_goal(practice)
    empty = progress(practice, goal_id)["latest"]
    assert (empty["k"], empty["n"], empty["days"], empty["low"]) == (0, 0, 0, None)
    assert empty["reason"] == "too_few_trials"
    send(WIDE)
    latest = progress(practice, goal_id)["latest"]
    assert (latest["k"], latest["n"], latest["share"]) == (1, 1, None)
    assert latest["reason"] == "too_few_trials"
    # [C] 1 of 1: low = 1/(1 + z²) = 1/(1 + 3.8415), high = 1.
    assert latest["low"] == pytest.approx(0.20655, abs=1e-4)
    assert latest["high"] == 1


def test_a_value_refused_for_technical_reasons_is_left_out_with_the_reason(
    practice: Practice, send: Sender
) -> None:
    goal_id = set_goal(practice, measure="deviation_mean_abs", criterion={"at_most": 2})

    def uncalibrated(tree: Any) -> None:
        tree["device"]["calibrated"] = False

    blind, good = send(change=uncalibrated), send()
    told = progress(practice, goal_id)
    assert [one["trial_id"] for one in told["latest"]["trials"]] == [good]
    assert [(one["reason"], one["because"], one["trial_ids"]) for one in told["left_out"]] == [
        ("not_measured", "not_calibrated", [blind])
    ]
    assert told["left_out"][0]["because_words"].endswith(".")


def test_too_little_traced_counts_as_not_met(practice: Practice, send: Sender) -> None:
    goal_id = set_goal(practice, measure="deviation_mean_abs", criterion={"at_most": 2})

    def short(tree: Any) -> None:
        tree["samples"] = {name: column[:60] for name, column in tree["samples"].items()}

    little = send(change=short)
    latest = progress(practice, goal_id)["latest"]
    assert [(one["trial_id"], one["value"], one["met"]) for one in latest["trials"]] == [
        (little, None, False)
    ]


@pytest.mark.parametrize(
    "change",
    [
        lambda tree: tree["condition"].update(hand="right"),
        lambda tree: tree["guide"].update(corridor_mm=8.1),
        lambda tree: tree["task"].update(task_id="swell"),
        lambda tree: tree["condition"].update(position="floor"),
        lambda tree: tree["condition"].update(tool="finger"),
        lambda tree: tree["samples"]["x_mm"].reverse(),
    ],
    ids=["hand", "width", "task", "position", "tool", "direction"],
)
def test_trials_of_other_conditions_are_no_part_of_the_goal(
    practice: Practice, send: Sender, change: Callable[[Any], None]
) -> None:
    asked = {"task_id": "quay-edge", "position": "seated", "tool": "stylus"}
    goal_id = set_goal(practice, conditions=CONDITIONS | asked)
    mine = send()
    send(change=change)
    told = progress(practice, goal_id)
    assert [one["trial_id"] for one in told["latest"]["trials"]] == [mine]
    assert told["left_out"] == []


def test_a_goal_for_one_guide_takes_that_guide_only(practice: Practice, send: Sender) -> None:
    mine = send()
    report = practice.desk("ferry").get(f"/api/trials/{mine}/report").json()
    conditions = {"guide_id": report["guide_id"], "corridor_mm": 8}
    goal_id = set_goal(practice, conditions=conditions)

    def longer(tree: Any) -> None:
        tree["guide"]["points_mm"] = [[20.0, 60.0], [181.0, 60.0]]

    send(change=longer)
    told = progress(practice, goal_id)
    assert [one["trial_id"] for one in told["latest"]["trials"]] == [mine]


def test_the_hand_that_drew_goes_before_the_hand_that_was_asked(
    practice: Practice, send: Sender
) -> None:
    goal_id = set_goal(practice)

    def free(tree: Any) -> None:
        tree["condition"]["hand"] = "free"

    def right(tree: Any) -> None:
        tree["condition"]["hand"] = "right"

    other, unknown, chosen, swapped = (
        send(),
        send(change=free),
        send(change=free),
        send(change=right),
    )
    send.mark(other, outcome="finished", hand_used="right")
    send.mark(chosen, outcome="finished", hand_used="left")
    send.mark(swapped, outcome="finished", hand_used="left")
    told = progress(practice, goal_id)
    assert [one["trial_id"] for one in told["latest"]["trials"]] == [chosen, swapped]
    assert left_out(told) == {"hand_unknown": [unknown]}
    own_choice = set_goal(practice, conditions={"corridor_mm": 8, "hand": "free"})
    told = progress(practice, own_choice)
    assert [one["trial_id"] for one in told["latest"]["trials"]] == [unknown, chosen]


def _session_on(practice: Practice, day: date) -> str:
    with practice.app.state.sessions() as db:
        session = create_session(db, child_id=practice.ids["Gull"], day=day)
        db.commit()
        plan_id: str = session.plan_id
        return plan_id


def test_days_are_those_of_the_sessions_and_the_baseline_is_no_progress(
    practice: Practice, send: Sender
) -> None:
    for day in (date(2026, 2, 27), date(2026, 3, 2)):
        plan_id = _session_on(practice, day)
        send(change=lambda tree, plan_id=plan_id: tree["plan"].update(plan_id=plan_id))
    send()
    goal_id = set_goal(practice)
    assert progress(practice, goal_id)["by_day"] == [
        {"day": "2026-03-03", "k": 1, "n": 1, "over": 0}
    ]
    whole = progress(practice, goal_id, since="2026-02-27")
    assert [one["day"] for one in whole["by_day"]] == ["2026-02-27", "2026-03-02", "2026-03-03"]
    assert whole["latest"]["days"] == 3
    based = set_goal(practice, baseline={"k": 1, "n": 5, "day": "2026-03-03"})
    told = progress(practice, based)
    assert (told["since"], told["counted"]) == ("2026-03-04", 0)


def test_a_failed_computation_is_told(
    practice: Practice, send: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    goal_id = set_goal(practice)

    def broken(_workings: Any) -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as patch:
        patch.setattr(scoring, "make_report", broken)
        lost = send()
        told = progress(practice, goal_id)
        assert left_out(told) == {"scoring_failed": [lost]}
    # It is computed again at the next look.
    assert progress(practice, goal_id)["counted"] == 1


def test_progress_of_a_changed_goal_is_that_of_its_newest_version(
    practice: Practice, send: Sender
) -> None:
    goal_id = set_goal(practice)
    send(LOST)
    address = f"/api/goals/{goal_id}/versions"
    easier = GOAL | {"based_on": 1, "criterion": {"at_least": 0.0}}
    assert practice.desk("harbour").post(address, json=easier).status_code == 201
    told = progress(practice, goal_id)
    assert (told["version"], told["latest"]["k"]) == (2, 1)


def test_a_since_that_is_no_day_is_refused(practice: Practice) -> None:
    goal_id = set_goal(practice)
    answer = practice.desk("ferry").get(
        f"/api/goals/{goal_id}/progress", params={"since": "puffin"}
    )
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["path"] == "/since"
    assert "puffin" not in answer.text
