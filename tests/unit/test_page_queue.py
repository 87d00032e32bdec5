"""The list of notes: what waits for a supervisor, what is one's own, what is missing."""

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from server import note_waiting
from tests.accounts import rows
from tests.practice import ORIGIN, PASSPHRASE, Practice
from tests.unit.test_notes import TEXTS, bring, linked_as, put
from tests.unit.test_notes_numbers import ON, execute, mark, send


def parts(client: TestClient) -> dict[str, str]:
    """The page by its headings; the first is the sentence at its top."""
    answer = client.get("/queue")
    assert answer.status_code == 200, answer.text
    pieces = re.split(r"<h[12]>(.*?)</h[12]>", answer.text)
    top = re.sub(r"<.*?>", "", pieces[1])
    return dict(zip(pieces[1::2], pieces[2::2], strict=True)) | {"": top}


def links(part: str) -> list[str]:
    return re.findall(r'href="/sessions/([^"]+)/note"', part)


def new_session(practice: Practice, day: str, name: str = "Gull", **more: Any) -> str:
    path = f"/api/children/{practice.ids[name]}/sessions"
    attendance = more.pop("attendance", None)
    ferry = practice.desk("ferry")
    made = ferry.post(path, json={"day": day} | more)
    assert made.status_code == 201, made.text
    session_id: str = made.json()["session_id"]
    if attendance is not None:
        change = {"attendance": attendance}
        assert ferry.patch(f"/api/sessions/{session_id}", json=change).status_code == 200
    return session_id


def signed(practice: Practice, session_id: str, **change: Any) -> None:
    ferry, path = practice.desk("ferry"), f"/api/sessions/{session_id}/note"
    revision = ferry.get(path).json()["revision"]
    assert put(ferry, path, revision, **change).status_code == 200
    answer = ferry.post(f"{path}/sign", json={"based_on": revision + 1})
    assert answer.status_code == 200, answer.text


WAITING = "To co-sign, oldest first"
RETURNED = "Returned to you"
DRAFTS = "Your drafts"
MINE = "Waiting for a co-signature"
MISSING = "Sessions without a note, last 14 days"


def test_notes_wait_for_the_author_s_supervisor_oldest_signature_first(practice: Practice) -> None:
    late = new_session(practice, "2026-03-02")
    bring(practice, "signed")
    practice.clock.move(minutes=5)
    signed(practice, late)
    found = parts(practice.desk("harbour"))
    # The day of the session does not matter, but how long it has waited.
    assert links(found[WAITING]) == [practice.ids["Gull session"], late]
    assert found[""] == "Two notes wait for your co-signature"
    assert "Tuesday 3 March 2026, written by ferry" in found[WAITING]
    assert "signed 3 Mar, 12:00" in found[WAITING]
    assert "changed since" not in found[WAITING]
    linked_as(practice, "keeper", {"supervisor"})
    assert links(parts(practice.desk("keeper"))[WAITING]) == []
    practice.desk("harbour").post(f"/api/sessions/{late}/note/cosign", json={})
    assert parts(practice.desk("harbour"))[""] == "One note waits for your co-signature"


def test_what_differs_is_said_in_the_list(practice: Practice) -> None:
    session = practice.ids["Gull session"]
    trial_id = send(practice, practice.tablet(), ON)
    bring(practice, "returned")
    signed(practice, session, assessment=f"{TEXTS['assessment']} Rested twice.")
    waiting = parts(practice.desk("harbour"))[WAITING]
    assert "Signed again after it was returned. Assessment: one sentence added." in waiting
    assert "since it was signed" not in waiting
    mark(practice.tablet(), trial_id, outcome="spoilt")
    waiting = parts(practice.desk("harbour"))[WAITING]
    assert "Changed since it was signed: one trial." in waiting


def statements(practice: Practice, client: TestClient) -> list[str]:
    """What the database is asked for one look at the list."""
    asked: list[str] = []

    def note(*arguments: Any) -> None:
        asked.append(arguments[2])

    engine = practice.app.state.sessions.kw["bind"]
    event.listen(engine, "before_cursor_execute", note)
    try:
        parts(client)
    finally:
        event.remove(engine, "before_cursor_execute", note)
    return asked


def test_more_notes_that_wait_are_not_more_questions_and_no_record_is_read(
    practice: Practice,
) -> None:
    harbour, tablet = practice.desk("harbour"), practice.tablet()
    trial_id = send(practice, tablet, ON)
    bring(practice, "signed")
    mark(tablet, trial_id, outcome="spoilt")
    statements(practice, harbour)
    few = statements(practice, harbour)
    for day in (1, 2):
        signed(practice, new_session(practice, f"2026-03-0{day}"))
    many = statements(practice, harbour)
    assert len(many) == len(few) > 5
    told = parts(harbour)[WAITING]
    assert len(links(told)) == 3
    assert told.count("Changed since it was signed: one trial.") == 1
    assert not [one for one in many if "trial.raw" in one or "result.report" in one]


def test_what_changed_in_the_session_or_the_release_is_said_apart(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    send(practice, practice.tablet(), ON)
    bring(practice, "signed")
    harbour, session = practice.desk("harbour"), practice.ids["Gull session"]
    execute(practice, "UPDATE session SET place = 'Elsewhere' WHERE id = ?", session)
    monkeypatch.setattr(note_waiting, "ANALYSIS_VERSION", "99.0")
    said = "Changed since it was signed: facts of the session and the release that computes"
    assert said in parts(harbour)[WAITING]


def test_an_assistant_sees_her_own_by_state(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    draft, back, waits = (new_session(practice, f"2026-03-0{day}") for day in (1, 2, 3))
    put(ferry, f"/api/sessions/{draft}/note", 0)
    for session in (back, waits):
        signed(practice, session)
    harbour = practice.desk("harbour")
    harbour.post(f"/api/sessions/{back}/note/return", json={"reason": "Say more of the rest."})
    found = parts(ferry)
    assert found[""] == "Two notes to write or sign, one of them returned to you"
    assert links(found[RETURNED]) == [back]
    assert "Reason: Say more of the rest." in found[RETURNED]
    assert links(found[DRAFTS]) == [draft]
    assert "saved 3 Mar, 12:00" in found[DRAFTS]
    assert links(found[MINE]) == [waits]
    assert WAITING not in found
    # Notes of others are nobody else's to write.
    linked_as(practice, "lamp", {"assistant"})
    others = parts(practice.desk("lamp"))
    assert [links(others[name]) for name in (RETURNED, DRAFTS, MINE)] == [[], [], []]


def test_sessions_of_two_weeks_that_have_begun_and_have_no_note(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    new_session(practice, "2026-02-17")  # the day before the first of fourteen
    first = new_session(practice, "2026-02-18", place="Ropewalk Clinic", attendance="attended")
    noted = new_session(practice, "2026-02-20")
    put(ferry, f"/api/sessions/{noted}/note", 0)
    new_session(practice, "2026-03-04")  # tomorrow
    new_session(practice, "2026-02-24")  # planned, and nobody came to it
    assert links(parts(ferry)[MISSING]) == [first]
    assert "Wednesday 18 February 2026, Ropewalk Clinic, no trials" in parts(ferry)[MISSING]
    # Today's session is none that lacks a note before it has begun.
    send(practice, practice.tablet(), ON)
    found = parts(ferry)
    assert links(found[MISSING]) == [first, practice.ids["Gull session"]]
    assert "Tidewell School, 1 trial<" in found[MISSING]
    assert found[""] == "Three notes to write or sign"


def test_a_session_that_did_not_take_place_wants_no_note(practice: Practice) -> None:
    ferry, began = practice.desk("ferry"), "2026-02-26T09:10:00+00:00"
    for attendance in ("absent", "cancelled"):
        new_session(practice, "2026-02-26", attendance=attendance)
        new_session(practice, "2026-02-26", attendance=attendance, started_at=began)
    closed = new_session(practice, "2026-02-26")
    assert ferry.post(f"/api/sessions/{closed}/close").status_code == 200
    assert links(parts(ferry)[MISSING]) == []
    assert parts(ferry)[""] == "No notes to write or sign"
    begun = new_session(practice, "2026-02-26", started_at=began)
    assert links(parts(ferry)[MISSING]) == [begun]


def test_a_session_in_which_nothing_was_done_wants_a_note_and_says_so(
    practice: Practice,
) -> None:
    tablet = practice.tablet()
    mark(tablet, send(practice, tablet, ON), outcome="not_done")
    missing = parts(practice.desk("ferry"))[MISSING]
    assert links(missing) == [practice.ids["Gull session"]]
    assert "Tidewell School, 1 trial, 1 not done<" in missing


def test_the_page_is_empty_in_words_and_shows_no_other_child(practice: Practice) -> None:
    bring(practice, "draft")
    found = parts(practice.desk("lantern"))
    assert found[""] == "No notes to write or sign"
    assert "Every session of the last 14 days has a note." in found[MISSING]
    assert "Gull" not in "".join(found.values())


def test_every_child_in_the_list_is_in_the_audit(practice: Practice) -> None:
    bring(practice, "signed")
    parts(practice.desk("harbour"))
    query = "SELECT child_id FROM audit WHERE account_id = ? AND kind = 'notes'"
    assert rows(practice, query, practice.ids["harbour"]) == [(practice.ids["Gull"],)]


def test_the_list_is_a_place_of_therapists_only(practice: Practice) -> None:
    assert 'href="/queue" aria-current="page"' in practice.desk("ferry").get("/queue").text
    assert practice.desk("beacon").get("/queue").status_code == 403
    nobody = TestClient(practice.app, headers=ORIGIN, follow_redirects=False)
    assert nobody.get("/queue").headers["location"] == "/?next=/queue"
    assert PASSPHRASE not in practice.desk("ferry").get("/queue").text
