"""What counts towards a goal and what is left out: one rule, for goals and for steps."""

from typing import Any
from uuid import uuid4

import pytest

from server.goal_matching import help_reason
from server.sentences_goals import left_out_words, progress_words
from server.tables import MarkRow
from tests.practice import Practice, raw_of
from tests.unit.test_goals_progress import (
    CONDITIONS,
    LOST,
    WIDE,
    Sender,
    left_out,
    progress,
    set_goal,
)


@pytest.fixture
def send(practice: Practice) -> Sender:
    return Sender(practice)


def void(practice: Practice, trial_id: str) -> None:
    body = {"id": str(uuid4()), "voided": True, "reason": "Another child drew."}
    answer = practice.desk("ferry").post(f"/api/trials/{trial_id}/voids", json=body)
    assert answer.status_code == 201, answer.text


def test_what_is_left_out_is_told_with_its_reason(practice: Practice, send: Sender) -> None:
    goal_id = set_goal(practice)
    spoilt, stopped, undone, some, voided = (send() for _ in range(5))
    silent, hand_only = send(marked=False), send(marked=False)
    send.mark(spoilt, outcome="spoilt", why="A gust.")
    send.mark(stopped, outcome="stopped")
    send.mark(undone, outcome="not_done")
    send.mark(some, outcome="finished", help={"given": True})
    send.mark(hand_only, hand_used="left")
    void(practice, voided)
    good = send()
    told = progress(practice, goal_id)
    assert left_out(told) == {
        "voided": [voided],
        "spoilt": [spoilt],
        "stopped": [stopped],
        "not_done": [undone],
        "help_not_told": [some],
        "help_not_noted": [silent, hand_only],
    }
    assert [one["trial_id"] for one in told["latest"]["trials"]] == [good]
    assert all(one["words"].endswith(".") for one in told["left_out"])
    assert [one["count"] for one in told["left_out"]] == [1] * 5 + [2]


def test_a_finished_trial_with_too_much_help_counts_as_not_met(
    practice: Practice, send: Sender
) -> None:
    goal_id = set_goal(practice, n=3, k=2)
    alone, helped, missed = send(), send(), send(LOST)
    for one in (helped, missed):
        send.mark(one, outcome="finished", help={"cues": {"verbal": 1}})
    told = progress(practice, goal_id)
    assert told["left_out"] == []
    assert (told["latest"]["k"], told["latest"]["n"], told["latest"]["over"]) == (1, 3, 2)
    # [C] One and the same line, once without help: 1 of 2 met, not 1 of 1.
    assert [(one["trial_id"], one["met"], one["over"]) for one in told["latest"]["trials"]] == [
        (alone, True, False),
        (helped, False, True),
        (missed, False, True),
    ]
    assert told["by_day"] == [{"day": "2026-03-03", "k": 1, "n": 3, "over": 2}]
    words = progress_words(told)
    assert "1 of the latest 3 trials" in words
    assert "More help than the goal allows in 2 of these: not met." in words


def test_that_nobody_noted_help_is_said_in_words(practice: Practice, send: Sender) -> None:
    goal_id = set_goal(practice)
    for _ in range(5):
        send(marked=False)
    told = progress(practice, goal_id)
    assert told["counted"] == 0
    assert left_out_words(told) == (
        "Left out: 5 × Nobody noted whether there was help. "
        "Help can still be noted on the page of each trial."
    )


NOTED: list[tuple[dict[str, Any] | None, float]] = [
    ({"outcome": "finished"}, WIDE),
    ({"outcome": "finished"}, LOST),
    ({"outcome": "finished", "help": {"setup": True}}, WIDE),
    ({"outcome": "finished", "help": {"cues": {"verbal": 1}}}, WIDE),
    ({"outcome": "finished", "help": {"cues": {"verbal": 1}}}, LOST),
    ({"outcome": "finished", "help": {"physical": "total"}}, WIDE),
    ({"outcome": "finished", "help": {"given": True}}, WIDE),
    ({"outcome": "finished", "help": {"hand_over_hand": True}}, WIDE),
    ({"outcome": "spoilt"}, WIDE),
    ({"outcome": "stopped"}, LOST),
    ({"outcome": "not_done"}, WIDE),
    ({"outcome": "finished", "hand_used": "left"}, WIDE),
    ({"hand_used": "left"}, WIDE),
    (None, WIDE),
]


@pytest.mark.parametrize("allowed", [{}, {"cues_at_most": {"verbal": 1}}, {"setup": False}])
def test_a_goal_and_its_step_count_the_same_trials_alike(
    practice: Practice, send: Sender, allowed: dict[str, Any]
) -> None:
    conditions = CONDITIONS | {"task_id": "quay-edge"}
    goal_id = set_goal(practice, conditions=conditions, help=allowed, n=50)
    for mark, beside_mm in NOTED:
        one = send(beside_mm, marked=False)
        if mark is not None:
            send.mark(one, **mark)
    void(practice, send())

    def free(tree: Any) -> None:
        tree["condition"]["hand"] = "free"

    send(change=free)

    def blind(tree: Any) -> None:
        tree["device"]["calibrated"] = False

    send(change=blind)
    told = progress(practice, goal_id)
    ferry = practice.desk("ferry")
    ended = ferry.post(f"/api/sessions/{practice.ids['Gull session']}/close")
    assert ended.status_code == 200, ended.text
    steps = ferry.get(f"/api/children/{practice.ids['Gull']}/steps").json()["steps"]
    (session,) = next(one for one in steps if one["goal_id"] == goal_id)["sessions"]
    latest = told["latest"]
    assert (session["met"], session["finished"]) == (latest["k"], latest["n"])
    assert session["over"] == latest["over"]
    assert session["left_out"] == {one["reason"]: one["count"] for one in told["left_out"]}
    assert set(session["left_out"]) >= {"help_not_told", "help_not_noted", "hand_unknown"}


def test_a_pen_along_a_cutting_line_never_counts(practice: Practice, send: Sender) -> None:
    goal_id = set_goal(practice, conditions={"corridor_mm": 8})

    def cutting(tree: Any) -> None:
        tree["task"]["mode"] = "cut"

    pen = send(change=cutting)
    told = progress(practice, goal_id)
    assert told["counted"] == 0
    assert left_out(told) == {"pen_not_cut": [pen]}


CUT = {
    "format": "linnet-cut/1",
    "cut_id": "44444444-4444-4444-8444-444444444444",
    "task": {"task_id": "crate-card", "mode": "cut"},
    "template": {"points_mm": [[0, 0], [80, 0], [80, 80], [0, 80]], "corridor_mm": 12.7},
    "outline": {"unit": "mm", "points": [[1, 1], [79, 1], [79, 79], [1, 79]]},
    "scale": {"calibrated": True},
    "registration": {"kind": "none"},
}


def test_a_cutting_goal_is_met_by_cut_pieces_only(practice: Practice, send: Sender) -> None:
    conditions = {"task_id": "crate-card", "corridor_mm": 12.7}
    goal_id = set_goal(
        practice,
        measure="cut_within_tolerance_share",
        criterion={"at_least": 0.9},
        conditions=conditions,
    )

    def along(tree: Any) -> None:
        tree["task"] |= {"mode": "cut", "task_id": "crate-card"}
        tree["guide"]["corridor_mm"] = 12.7

    send(change=along)
    told = progress(practice, goal_id)
    assert (told["counted"], told["left_out"]) == (0, [])
    _store_cut(practice)
    told = progress(practice, goal_id)
    (only,) = told["latest"]["trials"]
    # [C] every side lies 1 mm inside the line, and 6.35 mm each side are near enough.
    assert (only["trial_id"], only["value"], only["met"]) == (CUT["cut_id"], 1, True)


def _store_cut(practice: Practice) -> None:
    address = f"/api/cuts/{CUT['cut_id']}?session={practice.ids['Gull session']}"
    ferry = practice.desk("ferry")
    assert ferry.put(address, content=raw_of(CUT)).status_code == 201
    mark = {"id": str(uuid4()), "outcome": "finished"}
    assert ferry.post(f"/api/trials/{CUT['cut_id']}/marks", json=mark).status_code == 201


NONE = {"setup": False, "cues_at_most": {}, "physical_at_most": "none"}
SOME = {"setup": True, "cues_at_most": {"verbal": 2, "gesture": 1}, "physical_at_most": "moderate"}
MOST = {"setup": True, "cues_at_most": {"verbal": 9}, "physical_at_most": "total"}


@pytest.mark.parametrize(
    ("allowed", "noted", "reason"),
    [
        (NONE, None, None),
        (NONE, {}, None),
        (NONE, {"given": False}, None),
        (NONE, {"setup": False, "cues": {"verbal": 0}, "physical": "none"}, None),
        (NONE, {"setup": True}, "help_over"),
        (NONE, {"set_up": True}, "help_over"),
        (NONE, {"cues": {"demonstration": 1}}, "help_over"),
        (NONE, {"physical": "minimal"}, "help_over"),
        (NONE, {"hand_over_hand": True}, "help_over"),
        (NONE, {"given": True}, "help_not_told"),
        (SOME, {"setup": True}, None),
        (SOME, {"given": True, "cues": {"verbal": 2, "gesture": 1}}, None),
        (SOME, {"cues": {"verbal": 3}}, "help_over"),
        (SOME, {"physical": "moderate", "hand_over_hand": True}, None),
        (SOME, {"physical": "maximal"}, "help_over"),
        (SOME, {"hand_over_hand": True}, "help_not_told"),
        (MOST, {"physical": "total"}, None),
        (MOST, {"given": True}, "help_not_told"),
    ],
)
def test_help_is_compared_kind_by_kind(allowed: Any, noted: Any, reason: str | None) -> None:
    assert help_reason(allowed, MarkRow(outcome="finished", help=noted)) == reason


@pytest.mark.parametrize(
    ("mark", "reason"),
    [
        (None, "help_not_noted"),
        (MarkRow(hand_used="left"), "help_not_noted"),
        (MarkRow(help={}), "help_not_noted"),
        (MarkRow(help={"physical": "none"}), None),
        (MarkRow(outcome="finished"), None),
    ],
)
@pytest.mark.parametrize("allowed", [NONE, MOST])
def test_silence_about_help_is_not_no_help(
    allowed: Any, mark: MarkRow | None, reason: str | None
) -> None:
    assert help_reason(allowed, mark) == reason
