"""Which notes are due, and from whom: the first page and the list of notes say the same."""

import re
from html import unescape

from fastapi.testclient import TestClient

from server.note_due import Due, due_words
from tests.practice import Practice
from tests.unit.test_notes import bring, linked_as, put
from tests.unit.test_notes_numbers import ON, send
from tests.unit.test_page_queue import MISSING, links, new_session, parts

OTHERS = "Without a note, of those whom you supervise"


def both(client: TestClient) -> tuple[str, str]:
    """What the list of notes says first, and what the first page says of notes."""
    page = unescape(client.get("/caseload").text)
    (summary,) = re.findall(r'<p class="summary">(.*?)<a', page, re.DOTALL)
    sentences = [one.strip() for one in summary.split(".") if "note" in one]
    return parts(client)[""], ". ".join(sentences)


def test_first_page_and_list_say_the_same_to_each_of_them(practice: Practice) -> None:
    ferry, harbour = practice.desk("ferry"), practice.desk("harbour")
    assert both(ferry) == ("No notes to write or sign", "")
    send(practice, practice.tablet(), ON)
    one = "One note to write or sign"
    # The session is the assistant's to write of, and the supervisor sees it without being asked.
    assert both(ferry) == (one, one)
    assert both(harbour) == ("No notes to write, sign or co-sign", "")
    bring(practice, "draft")
    assert both(ferry) == (one, one)
    assert both(harbour) == ("No notes to write, sign or co-sign", "")


def test_a_note_that_waits_is_the_supervisor_s_and_a_returned_one_the_author_s(
    practice: Practice,
) -> None:
    ferry, harbour = practice.desk("ferry"), practice.desk("harbour")
    bring(practice, "signed")
    waits = "One note waits for your co-signature"
    assert both(harbour) == (waits, waits)
    assert both(ferry)[0] == "No notes to write or sign"
    path = f"/api/sessions/{practice.ids['Gull session']}/note"
    assert harbour.post(f"{path}/return", json={"reason": "Say more."}).status_code == 200
    back = "One note to write or sign, returned to you"
    assert both(ferry) == (back, back)
    assert both(harbour)[0] == "No notes to write, sign or co-sign"


def test_yesterday_s_session_counts_on_the_first_page_too(practice: Practice) -> None:
    yesterday = new_session(practice, "2026-03-02", attendance="attended")
    one = "One note to write or sign"
    assert both(practice.desk("ferry")) == (one, one)
    assert links(parts(practice.desk("ferry"))[MISSING]) == [yesterday]


def test_a_colleague_s_draft_is_not_mine_to_sign(practice: Practice) -> None:
    linked_as(practice, "lamp", {"assistant"})
    send(practice, practice.tablet(), ON)
    put(practice.desk("ferry"), f"/api/sessions/{practice.ids['Gull session']}/note", 0)
    assert both(practice.desk("lamp")) == ("No notes to write or sign", "")


def test_sessions_of_those_whom_she_supervises_stand_apart(practice: Practice) -> None:
    send(practice, practice.tablet(), ON)
    found = parts(practice.desk("harbour"))
    assert links(found[MISSING]) == []
    assert links(found[OTHERS]) == [practice.ids["Gull session"]]
    assert OTHERS not in parts(practice.desk("ferry"))


def test_a_session_that_still_runs_is_not_due(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    path = f"/api/sessions/{practice.ids['Gull session']}"
    began = {"started_at": "2026-03-03T11:50:00Z"}
    assert ferry.patch(path, json=began).status_code == 200
    assert both(ferry) == ("No notes to write or sign", "")
    assert ferry.patch(path, json={"ended_at": "2026-03-03T11:58:00Z"}).status_code == 200
    assert both(ferry)[0] == "One note to write or sign"


def test_all_that_is_due_is_said_in_one_clause() -> None:
    pair = (object(), object())
    due = Due([pair] * 2, [pair], [pair], [pair], [])  # type: ignore[list-item]
    assert due_words(due, is_supervisor=True) == (
        "Two notes wait for your co-signature, three notes to write or sign, one of them "
        "returned to you"
    )
