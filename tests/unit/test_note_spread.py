"""What a draft says of a session against the child's own earlier ones."""

from datetime import timedelta
from typing import Any

from fastapi.testclient import TestClient

from server.note_draft import objective
from tests.documents import sound
from tests.practice import TODAY, Practice, drawn
from tests.unit.test_note_draft import SESSION, missed, trial
from tests.unit.test_notes_numbers import mark

WITHIN, BEYOND = "within the spread of repeat trials", "beyond the spread of repeat trials"
TOO_FEW = "not enough repeat trials to compare with earlier sessions"
DISTANCE = {"measure": "deviation_mean_abs", "at_most": 3.0}


def session_on(practice: Practice, client: TestClient, days_before: int) -> str:
    day = (TODAY - timedelta(days=days_before)).isoformat()
    path = f"/api/children/{practice.ids['Gull']}/sessions"
    session_id: str = client.post(path, json={"day": day}).json()["session_id"]
    return session_id


def send(practice: Practice, client: TestClient, session_id: str, *beside_mm: float) -> list[str]:
    """Send trials whose criterion is on the distance from the line."""
    ids = []
    for seq, beside in enumerate(beside_mm, start=1):
        task = sound()["task"] | {"criterion": DISTANCE}
        tree = drawn(beside_mm=beside, seq=seq, task=task)
        del tree["plan"]
        answer = practice.send(client, tree, params={"session": session_id})
        assert answer.status_code == 201, answer.text
        ids.append(tree["trial_id"])
    return ids


def draft(client: TestClient, session_id: str) -> str:
    found: str = client.get(f"/api/sessions/{session_id}/note/draft").json()["objective"]
    return found


def three_sessions(practice: Practice, *now_mm: float) -> tuple[TestClient, str]:
    """Five pairs of repeat trials in two sessions, 0.2 mm up, down, up, down, none; one more."""
    ferry = practice.desk("ferry")
    send(practice, ferry, session_on(practice, ferry, 14), 1.0, 1.2, 1.2, 1.0, 1.0, 1.2)
    send(practice, ferry, session_on(practice, ferry, 7), 1.2, 1.0, 1.1, 1.1)
    last = session_on(practice, ferry, 0)
    send(practice, ferry, last, *now_mm)
    return ferry, last


def test_a_session_inside_the_spread_is_within_and_one_outside_beyond(practice: Practice) -> None:
    """[C] SD of the differences 0.2 mm: the least change is 1.96 × 0.2 = 0.39 mm, about 1.1 mm."""
    ferry, last = three_sessions(practice, 1.4)
    text = draft(ferry, last)
    assert "1.4 mm, 1.1 mm in the first session (17 February 2026): " + WITHIN in text
    assert "(0.4 mm)" in text
    send(practice, ferry, last, 1.6, 1.8)
    assert "mean distance from the line 1.6 mm (median), 1.1 mm in the first session" in draft(
        ferry, last
    )
    assert BEYOND in draft(ferry, last)
    assert WITHIN not in draft(ferry, last)


def test_the_page_says_the_same_as_the_draft_of_scripts(practice: Practice) -> None:
    ferry, last = three_sessions(practice, 1.4)
    assert WITHIN in ferry.get(f"/sessions/{last}/note").text


def test_later_sessions_and_spoilt_trials_are_not_looked_at(practice: Practice) -> None:
    ferry, last = three_sessions(practice, 1.4)
    tomorrow = session_on(practice, ferry, -1)
    send(practice, ferry, tomorrow, *(0.2, 3.0) * 5)
    assert "(0.4 mm)" in draft(ferry, last)
    (spoilt,) = send(practice, ferry, last, 7.0)
    mark(ferry, spoilt, outcome="spoilt", why="the bell")
    assert "1.4 mm, 1.1 mm in the first session" in draft(ferry, last)


def test_with_fewer_than_five_pairs_that_is_said_and_nothing_else(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    first = session_on(practice, ferry, 14)
    send(practice, ferry, first, 1.0, 1.2, 1.0, 1.2)
    assert TOO_FEW not in draft(ferry, first)
    last = session_on(practice, ferry, 0)
    send(practice, ferry, last, 4.0)
    text = draft(ferry, last)
    assert TOO_FEW in text
    assert "spread" not in text


def test_where_no_pair_differs_there_is_no_spread_and_that_is_said(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    send(practice, ferry, session_on(practice, ferry, 7), *(1.0,) * 10)
    last = session_on(practice, ferry, 0)
    send(practice, ferry, last, 4.0)
    assert "no two repeat trials differ, so there is no spread" in draft(ferry, last)


def test_a_clause_stands_with_the_trials_it_is_about() -> None:
    numbers: dict[str, Any] = {"session": SESSION, "observations": []}
    one, other = trial(trial_id="a"), missed(trial_id="b", travelled="right_to_left")
    text = objective(
        numbers | {"trials": [one, other]}, "Gull", lambda moment: moment, {"b": "as before"}
    )
    assert "in 0 of 1 finished trial, no help after set-up; as before." in text
    assert text.count("as before") == 1
    two = trial(trial_id="b")
    mixed = objective(
        numbers | {"trials": [one, two]}, "Gull", lambda moment: moment, {"b": "as before"}
    )
    assert "as before" not in mixed
