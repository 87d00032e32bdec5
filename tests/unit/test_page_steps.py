"""The suggested steps in words: counts with their interval, widths, and who judges."""

from typing import Any

import pytest

from server.numbers import NO_BREAK
from server.page_steps import RULE, StepWords, step_lines
from server.step_suggestion import SessionCount, suggestion
from tests.practice import TODAY, Practice
from tests.unit.test_store_steps import GOAL, LOST, WIDE, Sittings, ago


@pytest.fixture
def sittings(practice: Practice) -> Sittings:
    return Sittings(practice)


def told(practice: Practice) -> StepWords:
    with practice.app.state.sessions() as db:
        lines = step_lines(db, practice.ids["Gull"], TODAY)
    (line,) = [*lines["told"], *lines["open"]]
    return StepWords(**{k: plain(v) for k, v in line._asdict().items()})


def plain(words: Any) -> Any:
    return words.replace(NO_BREAK, " ") if isinstance(words, str) else words


def test_every_count_stands_beside_its_interval(practice: Practice, sittings: Sittings) -> None:
    sittings.sit(ago(9), *[WIDE] * 4, LOST)
    sittings.sit(ago(2), *[WIDE] * 5)
    # [P] Wilson 1927, 4 of 5: 37.55 to 96.38 %, 5 of 5: 56.55 to 100 %.
    assert told(practice).counts == (
        "Last two sessions: 4 of 5 met on 22 February 2026 (95 % interval 38 to 96 %) and "
        "5 of 5 met on 1 March 2026 (95 % interval 57 to 100 %)."
    )


def test_no_finished_trial_has_no_interval(practice: Practice, sittings: Sittings) -> None:
    sittings.sit(ago(2), WIDE, marks={0: {"outcome": "spoilt"}})
    assert told(practice).counts == (
        "One session: no trial counted on 1 March 2026. Not counted: one spoilt."
    )


def test_trials_that_do_not_count_are_told_and_what_can_be_done(
    practice: Practice, sittings: Sittings
) -> None:
    given = {"outcome": "finished", "help": {"given": True}}
    sittings.sit(ago(2), WIDE, WIDE, WIDE, marks={0: given}, unmarked=(1, 2))
    assert told(practice).counts == (
        "One session: no trial counted on 1 March 2026. Not counted: one with help that was not "
        "described and two of which nobody noted whether there was help. "
        "Help can still be noted on the page of each trial."
    )


@pytest.mark.parametrize(
    ("hand", "status", "about"),
    [
        (None, None, "No open goal: counted by the task's own criterion"),
        ("right", "open", "No open goal is about these trials: counted by the task's own"),
        ("right", "stopped", "No open goal: counted by the task's own criterion"),
        ("left", "open", "Counted by the open goal: "),
    ],
)
def test_what_trials_are_counted_by(
    practice: Practice, sittings: Sittings, hand: str | None, status: str | None, about: str
) -> None:
    sittings.sit(ago(2), WIDE)
    harbour = practice.desk("harbour")
    if hand is not None:
        body = GOAL | {"conditions": GOAL["conditions"] | {"hand": hand}}  # type: ignore[operator]
        address = f"/api/children/{practice.ids['Gull']}/goals"
        goal = harbour.post(address, json=body).json()
        version = body | {"based_on": 1, "status": status}
        if status != "open":
            address = f"/api/goals/{goal['goal_id']}/versions"
            assert harbour.post(address, json=version).status_code == 201
    assert told(practice).about.startswith(about)


@pytest.mark.parametrize(
    ("calibrated", "title"),
    [
        ((True, True), "Quay Edge, 4 mm each side"),
        ((False, False), "Quay Edge, width in mm not known"),
        ((True, False), "Quay Edge, 4 mm each side, width in mm not known in some trials"),
    ],
)
def test_a_width_in_mm_is_said_of_calibrated_trials_only(
    practice: Practice, sittings: Sittings, calibrated: tuple[bool, ...], title: str
) -> None:
    for number, one in enumerate(calibrated):
        sittings.sit(ago(9 - number), WIDE, calibrated=one)
    assert told(practice).title == title


def test_the_rule_says_what_holds_where_up_and_down_hold_at_once() -> None:
    row = [SessionCount(5, 5, helped=helped) for helped in (0, 1, 2)]
    assert suggestion(row).verdict == "stay"
    assert "Where up and down hold at once it stays." in RULE
