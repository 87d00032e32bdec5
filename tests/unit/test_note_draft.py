"""The drafted objective part: what it says, for one and for many, and what it leaves out."""

from datetime import UTC, timedelta
from typing import Any

import pytest

from server.note_draft import TICK_WORDS, objective
from server.store_observations import KINDS, TICK
from tests.practice import Practice
from tests.unit.test_notes_numbers import ON, mark, send

SESSION = {
    "started_at": "2026-03-03T09:10:00+00:00",
    "ended_at": "2026-03-03T09:38:00+00:00",
    "minutes": 28.0,
    "place": "Tidewell School",
    "position": "seated",
    "attendance": "attended",
    "kind": "individual",
}
VERBAL = {"setup": True, "cues": {"verbal": 1, "gesture": 0}, "physical": "none"}


def trial(**change: Any) -> dict[str, Any]:
    """A finished trial of High Bridge that met what was asked, without help."""
    criterion = {"measure": "in_corridor_share", "at_least": 0.8, "at_most": None}
    plain = {
        "trial_id": "t",
        "kind": "trial",
        "task_id": "high-bridge",
        "task_name": "High Bridge",
        "mode": "trace",
        "guide_id": "g1-0",
        "half_width_mm": 6.0,
        "hand_used": "right",
        "travelled": "left_to_right",
        "condition": {"direction": "left_to_right", "position": "seated", "tool": "stylus"},
        "outcome": "finished",
        "why": None,
        "helped": False,
        "help": None,
        "voided": False,
        "flags": [],
        "criterion": criterion | {"met": True, "value": 0.9},
        "counts": None,
        "largest_stray_mm": None,
        "measures": {},
    }
    return plain | change


def missed(**change: Any) -> dict[str, Any]:
    one = trial(**change)
    return one | {"criterion": one["criterion"] | {"met": False}}


def middle(share: float | None, lifts: float | None) -> dict[str, Any]:
    values = {"midline_crossing_share": share, "midline_lift_count": lifts}
    return {name: {"value": value} for name, value in values.items()}


def seen(kind: str, **change: Any) -> dict[str, Any]:
    return {"kind": kind, "text": None, "minutes": None, "help": None, "trial_id": None} | change


def drafted(
    trials: list[dict[str, Any]], *observations: dict[str, Any], **session: Any
) -> list[str]:
    numbers = {"session": SESSION | session, "trials": trials, "observations": list(observations)}
    return objective(numbers, "Gull", lambda moment: moment.astimezone(UTC)).split("\n")


def task_line(*trials: dict[str, Any]) -> str:
    line: str = drafted(list(trials))[2]
    return line


def test_a_whole_session_reads_as_a_person_would_write_it() -> None:
    ltr = [trial(measures=middle(1.0, 0.0)) for _ in range(4)]
    ltr.append(missed(measures=middle(0.0, 1.0)))
    back = {"travelled": "right_to_left", "helped": True}
    rtl = [
        trial(**back, help=VERBAL, measures=middle(1.0, 0.0)),
        *(
            missed(**back, help={"cues": {"verbal": 2}}, measures=middle(0.0, 1.0))
            for _ in range(3)
        ),
    ]
    lost = [
        trial(outcome="stopped"),
        trial(outcome="spoilt", why="another child touched the screen"),
    ]
    activity = seen("activity", text="rolling rope\nlaughed", minutes=8.0, help=VERBAL)
    rest = seen("rest", text="the bell", minutes=6.0)
    assert drafted([*ltr, *rtl, *lost], activity, rest, seen("helper_hand_holds")) == [
        "Gull, 09:10–09:38, 28 min, individual, Tidewell School.",
        "Seated, tool: stylus.",
        "High Bridge, 6 mm each side, right hand. Left to right: on the path for at least 80 % of "
        "its length in 4 of 5 finished trials, no help after set-up; pen lifted at the midline in "
        "1 of 5. Right to left: the same in 1 of 4 finished trials, one or two verbal cues each; "
        "pen lifted at the midline in 3 of 4.",
        "11 trials in all, 9 counted. Kept, not counted: one stopped and one spoilt (another "
        "child touched the screen).",
        "Off the tablet: rolling rope, 8 min, one verbal cue.",
        "Rest: 6 min (the bell).",
        "Seen: helper hand held the paper.",
    ]


def test_what_is_null_is_not_said() -> None:
    nothing = dict.fromkeys(SESSION)
    bare = trial(
        task_name=None,
        half_width_mm=None,
        hand_used=None,
        travelled=None,
        condition={"direction": None, "position": None, "tool": None},
        criterion=None,
    )
    assert drafted([bare], seen("activity", text="painting"), seen("rest"), **nothing) == [
        "Gull.",
        "A line, hand not noted. 1 finished trial, no help after set-up.",
        "1 trial in all, 0 counted. Kept, not counted: one without a criterion.",
        "Off the tablet: painting.",
        "Rest: minutes not noted.",
    ]
    assert drafted([], **nothing) == ["Gull.", "No trial came in."]


def test_a_session_that_has_not_ended_or_was_cancelled_says_so() -> None:
    head = drafted([], ended_at=None, minutes=None, attendance="cancelled")[0]
    assert head == "Gull, from 09:10, individual, Tidewell School, cancelled."


def test_times_are_those_of_the_practice() -> None:
    numbers = {"session": SESSION, "trials": [], "observations": []}
    text = objective(numbers, "Gull", lambda moment: moment + timedelta(hours=5))
    assert text.startswith("Gull, 14:10–14:38, 28 min")


# One and many


def test_one_trial_takes_the_singular() -> None:
    assert task_line(trial(measures=middle(1.0, 0.0))) == (
        "High Bridge, 6 mm each side, right hand. Left to right: on the path for at least 80 % of "
        "its length in 1 of 1 finished trial, no help after set-up; midline crossed without "
        "lifting."
    )
    assert drafted([trial()])[3] == "The one trial counted."
    assert drafted([trial(), trial()])[3] == "All 2 trials counted."
    assert (
        "two stopped (tired; the bell)"
        in drafted(
            [trial(outcome="stopped", why="tired"), trial(outcome="stopped", why="the bell.")]
        )[3]
    )


@pytest.mark.parametrize(
    ("helps", "words"),
    [
        ([None, {"setup": True}, {"physical": "none"}], "no help after set-up"),
        ([{"cues": {"verbal": 2}}], "two verbal cues"),
        ([{"cues": {"verbal": 2}}] * 2, "two verbal cues each"),
        ([{"cues": {"verbal": 1}}, {"cues": {"verbal": 4}}], "one to four verbal cues each"),
        (
            [{"cues": {"verbal": 1}}, {"physical": "minimal"}],
            "help in 2 of 2 (one verbal cue in 1, minimal physical help in 1)",
        ),
        ([{"given": True}, None], "help in 1 of 2 (help that was not described)"),
        ([{"hand_over_hand": True}] * 2 + [None], "help in 2 of 3 (hand over hand each)"),
    ],
)
def test_help_stands_in_words_and_counts(helps: list[dict[str, Any] | None], words: str) -> None:
    kinds = ("cues", "given", "hand_over_hand", "physical")
    trials = [
        trial(help=one, helped=any((one or {}).get(kind) not in (None, "none") for kind in kinds))
        for one in helps
    ]
    assert f", {words}." in task_line(*trials)


def test_a_trial_without_a_mark_is_not_said_to_be_without_help() -> None:
    assert ", help not noted." in task_line(trial(outcome=None))
    assert ", help not noted in 1 of 2." in task_line(trial(), trial(outcome=None))


def test_a_midline_that_was_not_crossed_is_no_crossing() -> None:
    two = [trial(measures=middle(0.0, 0.0)), trial(measures=middle(1.0, 0.0))]
    assert "; midline crossed without lifting in 1 of 2." in task_line(*two)
    three = [*two, trial(measures=middle(0.0, 2.0))]
    assert (
        "; pen lifted at the midline in 1 of 3, midline crossed without lifting in 1 of 3."
        in task_line(*three)
    )
    assert "midline not crossed in one go" in task_line(two[0])
    assert "midline" not in task_line(trial(measures=middle(None, 0.0)))


# What is apart


def test_the_same_refers_only_to_what_was_said() -> None:
    line = task_line(trial(outcome="stopped"), trial(travelled="right_to_left"))
    assert "Left to right: no trial that counts. Right to left: on the path for" in line


def test_a_pen_along_a_scissors_line_never_reads_as_cut() -> None:
    asked = {"measure": "cut_within_tolerance_share", "at_least": 0.8, "at_most": None}
    pen = {
        "task_id": "bunting-curve",
        "task_name": "Bunting Curve",
        "mode": "cut",
        "criterion": asked | {"met": None, "value": None},
    }
    whole = "\n".join(drafted([trial(**pen), trial(**pen), trial(**pen | {"task_name": None})]))
    assert "cut" not in whole.lower()
    assert "Bunting Curve, 6 mm each side, right hand, pen along the scissors line" in whole
    assert "three as pen practice along a scissors line" in whole
    piece = pen | {"kind": "cut", "criterion": asked | {"met": True, "value": 0.9}}
    both = drafted([trial(**pen), trial(**piece)])
    # A pen and scissors on the same line are never counted together.
    assert (
        "edge within the band for at least 80 % of its length in 1 of 1 finished trial" in both[3]
    )
    assert both[4].startswith("2 trials in all, 1 counted.")


def test_what_was_counted_on_paper_stands_attempt_by_attempt() -> None:
    snips = {
        "kind": "entry",
        "task_name": "Ticket Snips",
        "mode": "cut",
        "half_width_mm": None,
        "travelled": None,
        "condition": {"direction": None, "position": None, "tool": None},
        "criterion": {"count": "snips", "at_least": 6.0, "at_most": None, "met": True},
    }
    trials = [
        trial(**snips, counts={"snips": 6}, largest_stray_mm=2.5),
        trial(**snips, counts={"snips": 7}),
    ]
    assert drafted(trials)[2] == (
        "Ticket Snips, right hand, on paper, entered by hand. Snips at least 6 in 2 of 2 finished "
        "trials, no help after set-up; snips 6 and 7; farthest from the line, by ruler, 2.5 mm."
    )


@pytest.mark.parametrize(
    ("mode", "asked", "words"),
    [
        ("join", {"measure": "completion", "at_least": 1.0}, "all of the dots met in 1 of 1"),
        ("trace", {"measure": "completion", "at_least": 0.9}, "at least 90 % of the line drawn"),
        ("tap", {"measure": "hit_share", "at_least": 0.8}, "at least 80 % of the dots hit"),
        ("trace", {"measure": "deviation_mean_abs", "at_most": 3.0}, "at most 3 mm in 1 of 1"),
        ("trace", {"measure": "of_long_ago", "at_most": 3.0}, "of long ago at most 3 in 1 of 1"),
    ],
)
def test_whatever_was_asked_is_said(mode: str, asked: dict[str, Any], words: str) -> None:
    bounds = {"at_least": None, "at_most": None} | asked
    assert words in task_line(trial(mode=mode, criterion=bounds | {"met": True}))


def test_no_share_on_the_path_stands_without_a_width() -> None:
    failed = trial(flags=["scoring_failed"], half_width_mm=None)
    assert "High Bridge, width in mm not known, right" in task_line(failed)
    assert "High Bridge, width in mm not known, right" in task_line(trial(flags=["uncalibrated"]))
    assert "High Bridge, width varies along the line, right" in task_line(trial(half_width_mm=None))


def test_two_sizes_of_one_task_do_not_read_as_one_said_twice() -> None:
    lines = drafted([trial(), trial(guide_id="g1-1")])
    assert lines[2].startswith("High Bridge, 6 mm each side, right hand. ")
    assert lines[3].startswith("High Bridge, 6 mm each side, right hand (another size of it). ")


def test_a_reason_that_judges_is_left_to_the_person() -> None:
    lines = drafted([trial(outcome="spoilt", why="Normally fine, much improved")])
    assert lines[3].endswith("Kept, not counted: one spoilt.")


def test_every_tick_has_its_words() -> None:
    assert set(TICK_WORDS) == {kind for kind, rules in KINDS.items() if rules is TICK}
    often = [seen("trunk_still", trial_id=one) for one in "abb"]
    assert drafted([], *often)[-1] == "Seen: trunk still in 2 trials."


# The door


def test_the_draft_is_there_for_scripts(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    mark(tablet, send(practice, tablet, ON), outcome="finished")
    found = ferry.get(f"/api/sessions/{practice.ids['Gull session']}/note/draft")
    assert found.json() == {
        "objective": "Gull, Tidewell School.\nSeated, tool: stylus.\n"
        "Quay Edge, 4 mm each side, left hand. Left to right: on the path for at least 80 % of its "
        "length in 1 of 1 finished trial, no help after set-up; midline crossed without lifting.\n"
        "The one trial counted."
    }
    # Nothing is stored by looking.
    assert ferry.get(f"/api/sessions/{practice.ids['Gull session']}/note").json()["revision"] == 0
