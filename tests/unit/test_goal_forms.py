"""The form of a goal says the same as the JSON door, in the units people write."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from sqlalchemy.orm import Session

from server.goal_bodies import content_of
from server.goal_forms import body_of, ended_body, troubles_of, version_of
from server.goal_typed import GoalForm, fresh, typed_of
from server.numbers import NO_BREAK
from server.problems import Problem
from server.sentences_goals import goal_sentence
from server.tables import GoalRow
from tests.practice import Practice
from tests.unit.test_goals import GOAL

TODAY = date(2026, 3, 3)


def row(**change: Any) -> GoalRow:
    known: dict[str, Any] = GOAL | {"due": date(2026, 5, 1), "status": "open"} | change
    return GoalRow(id="g", version=1, child_id="c", account_id="a", **known)


@pytest.fixture
def db(practice: Practice) -> Iterator[Session]:
    with practice.app.state.sessions() as session:
        yield session


def faults(db: Session, form: GoalForm, *, version: bool = False) -> dict[str, str]:
    with pytest.raises(Problem) as refused:
        content_of(db, version_of(form) if version else body_of(form), TODAY)
    assert refused.value.status == 422
    return troubles_of(refused.value)


def test_a_goal_that_is_shown_and_sent_again_is_the_same_goal() -> None:
    body = version_of(typed_of(row()))
    sent = body.model_dump(mode="json", exclude_none=True)
    expected = GOAL | {"based_on": 1, "status": "open"}
    expected["help"] = {
        "setup": False,
        "cues_at_most": {"verbal": 1, "gesture": 0, "demonstration": 0},
        "physical_at_most": "minimal",
    }
    assert sent == expected


@pytest.mark.parametrize("typed", ["57", "57.0", "57,0", " 57 "])
def test_shares_are_typed_in_percent_and_kept_as_shares(typed: str) -> None:
    form = fresh().model_copy(update={"at_least": typed, "purpose": "school", "half_mm": "4"})
    body = body_of(form)
    # [C] 57 percent, 2 × 4 mm; 0.01 × 57 is not 0.57 in binary.
    assert (body.criterion.at_least, body.conditions.corridor_mm) == (0.57, 8.0)


def test_lengths_are_typed_as_they_are() -> None:
    change = {
        "measure": "deviation_mean_abs",
        "at_least": "",
        "at_most": "2,5",
        "purpose": "school",
    }
    body = body_of(fresh().model_copy(update=change))
    assert (body.criterion.at_least, body.criterion.at_most) == (None, 2.5)


@pytest.mark.parametrize(
    ("measure", "bounds", "said"),
    [
        ("deviation_mean_abs", {"at_least": "80", "at_most": ""}, {"at_least": "Less is better"}),
        ("deviation_mean_abs", {"at_least": "1", "at_most": "80"}, {}),
        ("in_corridor_share", {"at_least": "", "at_most": "80"}, {"at_most": "More is better"}),
        ("duration", {"at_least": "80", "at_most": ""}, {}),
    ],
)
def test_a_criterion_does_not_ask_for_the_worse_side_alone(
    db: Session, measure: str, bounds: dict[str, str], said: dict[str, str]
) -> None:
    form = fresh().model_copy(update={"measure": measure, "purpose": "s", "half_mm": "6"} | bounds)
    if not said:
        assert body_of(form).measure == measure
        return
    found = faults(db, form)
    assert {name: text[: len(said[name])] for name, text in found.items()} == said


def test_every_field_that_does_not_fit_is_told_beside_it(db: Session) -> None:
    form = GoalForm(
        measure="in_corridor_share",
        at_least="much",
        half_mm="wide",
        k="4.5",
        n="",
        days="2",
        verbal="-1",
        hand="paw",
        due="tomorrow",
        baseline_k="1",
    )
    told = faults(db, form)
    assert told["at_least"] == "This must be a number."
    assert told["half_mm"] == "This must be a number."
    assert told["k"] == "This must be a whole number."
    assert told["n"] == told["purpose"] == told["baseline_n"] == "This is needed."
    assert told["verbal"] == "This number must be at least 0."
    assert told["due"].startswith("This must be a day")
    assert "hand" in told
    assert told["baseline_day"] == "This is needed."


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"at_least": "180"}, "at_least", "percentage from 0 to 100"),
        ({"at_least": ""}, "at_least", "at least, at most or both"),
        ({"at_most": "10"}, "at_most", "below the other bound"),
        ({"half_mm": ""}, "half_mm", "without the width"),
        ({"k": "6"}, "k", "number of trials"),
        ({"days": "9"}, "days", "number of trials"),
        ({"measure": "snip_count"}, "measure", "practice"),
        (
            {"baseline_k": "3", "baseline_n": "2", "baseline_day": "2026-03-01"},
            "baseline_k",
            "trials",
        ),
        (
            {"baseline_k": "1", "baseline_n": "2", "baseline_day": "2026-04-01"},
            "baseline_day",
            "come",
        ),
        ({"at_least": "nan"}, "at_least", "does not fit"),
        ({"at_least": "inf"}, "at_least", "does not fit"),
        ({"position": "at the table!"}, "position", "Letters and digits only."),
        ({"k": "1_0"}, "k", "whole number"),
        ({"at_least": "8_0"}, "at_least", "a number"),
        ({"k": "9" * 5000}, "k", "whole number"),
        ({"purpose": "x" * 5000}, "purpose", "500"),
        ({"measure": "nothing"}, "measure", "one of these"),
        ({"measure": "turning_total"}, "measure", "whoever draws on it"),
        ({"due": "2026-03-02"}, "due", "is over"),
        ({"due": "2026-03-03"}, "due", "fewer days"),
        ({"task_id": "nothing"}, "task_id", "no such task"),
        ({"task_id": "portholes"}, "measure", "not taken in this task"),
        (
            {"task_id": "quay-edge", "direction": "clockwise"},
            "direction",
            "left to right or right",
        ),
        ({"task_id": "quay-edge", "hand": "both"}, "hand", "left hand, right hand or free"),
        ({"task_id": "portholes", "measure": "hit_share"}, "half_mm", "no path with a width"),
    ],
)
def test_what_the_door_refuses_the_form_refuses_in_its_own_words(
    db: Session, change: dict[str, str], field: str, words: str
) -> None:
    sound = {"purpose": "school", "half_mm": "4"}
    told = faults(db, fresh().model_copy(update=sound | change))
    assert words in told[field]


def test_a_position_may_be_typed_as_people_write_it() -> None:
    form = fresh().model_copy(update={"purpose": "x", "half_mm": "4", "position": "Half kneeling"})
    assert body_of(form).conditions.position == "half_kneeling"


def test_ending_a_goal_moves_none_of_its_numbers() -> None:
    third = row(criterion={"at_least": 1 / 3, "unit": "1"})
    body = ended_body(third, "met", "1")
    assert (body.criterion.at_least, body.status, body.based_on) == (1 / 3, "met", 1)
    for status, based_on in (("gone", "1"), ("", "1"), ("met", ""), ("met", "x")):
        with pytest.raises(Problem) as refused:
            ended_body(third, status, based_on)
        assert refused.value.status == 422


def test_a_goal_is_one_sentence() -> None:
    said = goal_sentence(row(), "Gull", "Quay Edge").replace(NO_BREAK, " ")
    assert said == (
        "By 1 May 2026, during Writing the menu of the harbour kitchen, Gull will stay on the path "
        "of Quay Edge, within 4 mm each side, for at least 80 % of the line, left hand, left to "
        "right, seated, stylus, with at most one verbal cue and minimal physical help, in 4 of 5 "
        "finished trials on 2 days."
    )


def test_a_goal_without_conditions_says_no_more_than_it_asks() -> None:
    bare = row(
        measure="deviation_mean_abs",
        criterion={"at_most": 3.0, "unit": "mm"},
        conditions={},
        help={},
        due=None,
        days=1,
    )
    said = goal_sentence(bare, "Gull", None).replace(NO_BREAK, " ")
    assert said == (
        "During Writing the menu of the harbour kitchen, Gull will do any task, with the mean "
        "distance from the line at most 3 mm, with no help but set-up, in 4 of 5 finished trials."
    )
