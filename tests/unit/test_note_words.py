"""Words beside a note: differences sentence by sentence, what changed since signing, the table."""

from copy import deepcopy
from datetime import timedelta
from typing import Any
from uuid import uuid4

from hypothesis import given
from hypothesis import strategies as st

from server.note_changes_words import FIELD_WORDS, MOST_VALUES, change_lines
from server.note_differences import (
    ADDED,
    TAKEN,
    differences,
    section_changes,
    sentences_of,
    summary,
)
from server.note_facts import goal_changes
from server.note_numbers import groups_of
from server.note_sheet import _table
from server.page_note_numbers import cautions_of, count_changes, number_words
from tests.practice import Practice, drawn
from tests.unit.test_note_draft import middle, missed, trial
from tests.unit.test_notes_numbers import ON, changes, mark, numbers, send, sign, void

TEXTS = dict.fromkeys(("subjective", "objective", "assessment", "plan"), "")
PARTS = st.lists(st.sampled_from(["Even.", "Tired!", "6.35 mm wide.", "Rest: 2 min", "Why?"]))


@given(PARTS, PARTS)
def test_both_texts_can_be_read_back_from_a_difference(old: list[str], new: list[str]) -> None:
    before, after = "\n".join(old), "\n".join(new)
    pieces = differences(before, after)
    assert [one.text for one in pieces if one.kind != ADDED] == sentences_of(before)
    assert [one.text for one in pieces if one.kind != TAKEN] == sentences_of(after)
    assert before != after or all(one.kind not in (ADDED, TAKEN) for one in pieces)


def test_only_sections_that_differ_are_told_and_counted() -> None:
    before = TEXTS | {"plan": "Again. Later.", "assessment": "Even."}
    after = TEXTS | {"plan": "Again. Sooner. Then rest.", "assessment": "Even."}
    found = section_changes(before, after)
    assert [(one.name, one.added, one.taken) for one in found] == [("plan", 2, 1)]
    assert summary(found) == "Plan: two sentences added, one sentence taken out"
    assert summary(section_changes(after, after)) == "the same words as before"


def told(practice: Practice, client: Any, signed: dict[str, Any]) -> list[str]:
    with practice.app.state.sessions() as db:
        from server.note_numbers import numbers_of
        from server.store_sessions import session_by_id

        session = session_by_id(db, practice.ids["Gull session"])
        assert session is not None
        live = numbers_of(db, session)
    return change_lines(changes(practice, client), signed, live)


def test_what_happened_to_trials_since_signing_is_said_trial_by_trial(practice: Practice) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    first, second = (send(practice, tablet, ON, seq=at) for at in (1, 2))
    signed = sign(practice, ferry)
    assert told(practice, ferry, signed) == []
    send(practice, tablet, ON, seq=3)
    mark(tablet, first, outcome="spoilt", why="a sneeze")
    void(practice, second)
    assert told(practice, ferry, signed) == [
        "Trial 1, Quay Edge, was marked again: outcome not said when signed, spoilt now; "
        'reason not said when signed, "a sneeze" now.',
        "Trial 2, Quay Edge, was voided.",
        "Trial 3, Quay Edge, came in after signing.",
    ]
    body = {"id": str(uuid4()), "patch": {"hand_used": "right"}, "reason": "It was the right hand."}
    assert ferry.post(f"/api/trials/{first}/amendments", json=body).status_code == 201
    lines = told(practice, ferry, signed)
    assert "Trial 1, Quay Edge, has one correction more." in lines
    assert any(": left hand when signed, right hand now" in one for one in lines)


def test_values_of_another_release_are_told_with_both_and_not_without_end(
    practice: Practice,
) -> None:
    ferry, tablet = practice.desk("ferry"), practice.tablet()
    send(practice, tablet, ON)
    signed = numbers(practice, ferry)
    later = deepcopy(signed)
    one = later["trials"][0]
    one["analysis_version"] = "99.0"
    one["scores"]["on_path_pct"] = 61.2
    one["criterion"]["met"] = False
    altered = [name for name, row in one["measures"].items() if row["value"] is not None][:9]
    for name in altered:
        one["measures"][name]["value"] = 0.5
    one["measures"][altered[0]] |= {"value": None, "reason": "no_time"}
    from server.note_changes import changed_since

    (line,) = change_lines(changed_since(signed, later), signed, later)
    assert line.startswith("Trial 1, Quay Edge: on the path 100\N{NO-BREAK SPACE}%")
    assert "criterion met when signed, not met now" in line
    # [C] readings, criterion and nine measures, of which four are said.
    assert "; seven more values." in line
    assert line.count(" when signed, ") == MOST_VALUES + 1  # and that of the versions
    assert line.endswith(f"Analysis version {signed['analysis_version']} when signed, 99.0 now.")


def test_a_change_that_cannot_be_read_in_its_digits_is_counted_only() -> None:
    row = {"value": 1.4201, "unit": "mm", "reason": None}
    change = {"what": "value_changed", "trial_id": "a", "name": "deviation_mean_abs"}
    change |= {"signed": row, "now": row | {"value": 1.4202}}
    change |= {"signed_version": "1", "now_version": "1"}
    empty = {"trials": [{"trial_id": "a", "task_name": "Swell", "mode": "trace"}]}
    assert change_lines([change], empty, empty) == [
        "Trial 1, Swell: one value in digits that are not shown."
    ]
    met = change | {"name": "criterion", "signed": {"met": True}, "now": None}
    assert change_lines([change, met], empty, empty) == [
        "Trial 1, Swell: criterion met when signed, not known now; one more value."
    ]
    gone = change | {"name": "of_long_ago", "now": row | {"value": None}}
    assert change_lines([gone], empty, empty) == [
        "Trial 1, Swell: of long ago 1.42 when signed, not known now."
    ]


def test_facts_of_the_session_have_words() -> None:
    was = {"ended_at": "2026-03-03T09:38:00+00:00", "minutes": 28.0, "attendance": None}
    now = {"ended_at": "2026-03-03T09:40:00+00:00", "minutes": 30.0, "attendance": "left_early"}
    asked = [{"what": "session_changed", "trial_id": None, "fields": list(was)}]
    empty: dict[str, Any] = {"trials": []}
    changed = [asked[0] | {"signed": was, "now": now}]
    later = timedelta(hours=1)
    assert change_lines(changed, empty, empty, lambda moment: moment + later) == [
        "Of the session itself: end 10:38 when signed, 10:40 now; minutes "
        "28\N{NO-BREAK SPACE}min when signed, 30\N{NO-BREAK SPACE}min now; "
        "attendance not said when signed, left early now."
    ]
    moved = {"signed": {"day": "2026-03-03"}, "now": {"day": "2026-03-04"}, "fields": ["day"]}
    assert change_lines([asked[0] | moved], empty, empty) == [
        "Of the session itself: day 3 March 2026 when signed, 4 March 2026 now."
    ]
    from server.note_changes import MARKED

    assert set(MARKED) <= set(FIELD_WORDS)


def test_a_count_that_differs_is_said_with_both_numbers() -> None:
    signed = page_numbers(trial(), trial(), missed())
    later = page_numbers(trial(), trial(outcome="spoilt"), missed(), trial(hand_used="left"))
    assert count_changes(signed, signed) == []
    lines = [one.replace("\N{NO-BREAK SPACE}", " ") for one in count_changes(signed, later)]
    # [C] of three that counted one is spoilt now, and one with the other hand is there besides.
    assert lines == [
        "High Bridge, 6 mm each side, right hand, left to right: met in 2 of 3 when signed, met "
        "in 1 of 2 (not counted: 1 spoilt) now.",
        "High Bridge, 6 mm each side, left hand, left to right: not there when signed, met in 1 "
        "of 1 now.",
    ]


def test_two_lines_of_one_name_are_told_apart_and_one_that_vanished_is_told() -> None:
    def two(**first: Any) -> dict[str, Any]:
        return page_numbers(trial(guide_id="a") | first, trial(guide_id="b"))

    signed, spoilt = two(), two(outcome="spoilt")
    names = [row.task.replace("\N{NO-BREAK SPACE}", " ") for row in number_words(signed)["rows"]]
    high = "High Bridge, 6 mm each side, right hand"
    assert names == [high, f"{high} (another size of it)"]

    def said(later: dict[str, Any]) -> list[str]:
        return [one.replace("\N{NO-BREAK SPACE}", " ") for one in count_changes(signed, later)]

    assert said(spoilt) == [
        f"{high}, left to right: met in 1 of 1 when signed, none counted (not counted: 1 spoilt) "
        "now."
    ]
    assert said(page_numbers(trial(guide_id="a"))) == [
        f"{high} (another size of it), left to right: met in 1 of 1 when signed, not there now."
    ]
    # [C] one line is gone, and of the other there is one trial more.
    assert said(page_numbers(trial(guide_id="b"), trial(guide_id="b"))) == [
        f"{high}, left to right: met in 1 of 1 when signed, not there now.",
        f"{high} (another size of it), left to right: met in 1 of 1 when signed, met in 2 of 2 "
        "now.",
    ]


def test_both_ways_of_one_line_have_its_name_without_more() -> None:
    back = trial(travelled="right_to_left")
    rows = number_words(page_numbers(trial(), back))["rows"]
    assert [row.direction for row in rows] == ["left to right", "right to left"]
    assert rows[0].task == rows[1].task


def test_goals_that_came_or_went_since_signing_are_told() -> None:
    def goals(*told: tuple[str, int, int]) -> dict[str, Any]:
        return {
            "goals": [
                {"goal_id": name, "task": name, "met": met, "of": of, "left_out": 0}
                for name, met, of in told
            ]
        }

    signed = goals(("Swell", 2, 2), ("Buoy", 1, 1))
    assert goal_changes(signed, signed) == []
    assert goal_changes(signed, goals(("Swell", 1, 2), ("Kite", 0, 1))) == [
        "Goal on Swell: met in 2 of 2 trials that count when signed, met in 1 of 2 trials that "
        "count now.",
        "Goal on Buoy: met in 1 of 1 trials that count when signed, not worked on now.",
        "Goal on Kite: not worked on when signed, met in 0 of 1 trials that count now.",
    ]
    # Signed by a release that kept no goals.
    assert goal_changes({}, signed) == []


# The table


def page_numbers(*trials: dict[str, Any]) -> dict[str, Any]:
    listed = [one | {"trial_id": str(at)} for at, one in enumerate(trials)]
    return {"trials": listed, "groups": groups_of(listed)}


def test_the_table_holds_k_of_n_with_its_interval_and_what_was_left_out() -> None:
    trials = [*(trial() for _ in range(4)), missed(), trial(outcome="stopped")]
    words = number_words(page_numbers(*trials))
    (row,) = words["rows"]
    assert (row.met, row.interval.replace("\N{NO-BREAK SPACE}", " ")) == (
        "4 of 5",
        "38–96 %",
    )  # TRADE
    assert row.left_out == "1 stopped"
    assert words["some_left_out"]
    assert words["asked"].replace("\N{NO-BREAK SPACE}", " ") == (
        "On the path for at least 80 % of its length"
    )


def test_on_paper_k_of_n_never_stands_without_its_interval_and_what_was_asked() -> None:
    wide = trial(criterion=trial()["criterion"] | {"at_least": 0.5})
    lines = [_table(number_words(page_numbers(*some))) for some in ([trial()], [trial(), wide])]
    assert [len(one.head) for one in lines] == [2, 2]
    assert lines[0].rows[0][1].replace("\N{NO-BREAK SPACE}", " ") == "1 of 1 (21–100 %)"
    assert lines[0].rows[0][0].split("\n")[1:] == ["no help after set-up"]
    asked = [row[0].replace("\N{NO-BREAK SPACE}", " ").split("\n")[1] for row in lines[1].rows]
    assert asked == [
        "On the path for at least 80 % of its length",
        "On the path for at least 50 % of its length",
    ]
    stopped = _table(number_words(page_numbers(trial(), trial(outcome="stopped"))))
    assert stopped.rows[0][2] == "1 stopped"


def test_a_pen_and_scissors_on_one_line_have_rows_of_their_own() -> None:
    asked = {"measure": "cut_within_tolerance_share", "at_least": 0.8, "at_most": None}
    pen = trial(mode="cut", criterion=asked | {"met": None})
    piece = trial(mode="cut", kind="cut", criterion=asked | {"met": True})
    rows = number_words(page_numbers(pen, piece, pen))["rows"]
    assert [(one.met, one.left_out) for one in rows] == [
        ("–", "pen practice, not counted"),
        ("1 of 1", ""),
    ]


def test_cautions_follow_what_was_measured() -> None:
    plain, middled = page_numbers(trial()), page_numbers(trial(measures=middle(1.0, 0.0)))
    assert len(cautions_of(plain)) == 1
    assert cautions_of(middled)[1].startswith("Midline: assumes that the tablet did not move")
    asked = {"measure": "pressure_in_band_share", "at_least": 0.8, "at_most": None, "met": True}
    pressed = page_numbers(trial(criterion=asked))
    assert cautions_of(pressed)[1] == "Pressure: share of this pen's range, not force."


def test_drawn_trials_are_as_the_tests_of_drafts_build_them(practice: Practice) -> None:
    """The invented trials above have no key that real ones lack, and none other."""
    practice.send(practice.tablet(), drawn())
    real = numbers(practice, practice.desk("ferry"))["trials"][0]
    assert trial().keys() <= real.keys()
