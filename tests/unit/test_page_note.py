"""The page of a note: every state it is in, every form of it, and every refusal."""

import re
import subprocess
from html import unescape
from itertools import pairwise
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from server.trial_forms import SENT_BEFORE
from tests.accounts import audited, rows
from tests.practice import ORIGIN, TELLING, Practice
from tests.rights_requests import GOAL
from tests.unit.test_notes import TEXTS, bring, linked_as, put
from tests.unit.test_notes_numbers import OFF, ON, execute, mark, send

RESPONSIBLE = "You are responsible for every sentence."
FORM = {"based_on": "0", **TEXTS}


def path_of(practice: Practice) -> str:
    return f"/sessions/{practice.ids['Gull session']}/note"


def seen(client: TestClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return answer.text


def post(client: TestClient, path: str, **data: Any) -> Any:
    return client.post(path, data=data, follow_redirects=False)


def field(page: str, name: str) -> str:
    """What stands in a text area, as a browser reads it."""
    (found,) = re.findall(rf'<textarea id="{name}"[^>]*>(.*?)</textarea>', page, re.DOTALL)
    return unescape(found).removeprefix("\n")


def trouble(page: str, name: str) -> str:
    (found,) = re.findall(rf'id="{name}-trouble">(.*?)</p>', page)
    return unescape(found)


def stored(practice: Practice) -> Any:
    return rows(practice, "SELECT state, revision, subjective, assessment FROM note")


def saved(practice: Practice, client: TestClient, **change: Any) -> None:
    answer = post(client, path_of(practice), **FORM | change)
    assert (answer.status_code, answer.headers["location"]) == (303, path_of(practice))


# Writing


def test_an_empty_page_holds_the_draft_and_nothing_else_written(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    mark(practice.tablet(), send(practice, practice.tablet(), ON), outcome="finished")
    page = seen(ferry, path_of(practice))
    draft = ferry.get(f"/api{path_of(practice)}/draft").json()["objective"]
    assert field(page, "objective") == draft
    assert [field(page, name) for name in ("subjective", "assessment", "plan")] == [""] * 3
    assert page.count("A person writes this part") == 3
    assert RESPONSIBLE in page
    assert 'name="based_on" value="0"' in page
    assert "It is not stored until you save." in page
    # Looking stores nothing, and a copy of what is not stored is not offered.
    assert stored(practice) == []
    assert "note.txt" not in page


def test_what_is_written_is_stored_and_stands_there_again(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    saved(practice, ferry, assessment="Even.\r\nTired\tat the end.")
    assert stored(practice) == [("draft", 1, TEXTS["subjective"], "Even.\nTired at the end.")]
    page = seen(ferry, path_of(practice))
    assert field(page, "objective") == TEXTS["objective"]
    assert "Draft of ferry, saved on 3 March 2026, 12:00." in page
    assert "It is not stored until you save." not in page
    assert ("ferry", "wrote", "Gull session") in audited(practice, "note")


def test_a_new_draft_stands_beside_the_text_and_replaces_nothing(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    saved(practice, ferry)
    typed = FORM | {"based_on": "1", "objective": "My own words.", "plan": "Typed, not saved."}
    answer = post(ferry, path_of(practice), **typed, do="draft")
    assert answer.status_code == 200
    assert field(answer.text, "objective") == "My own words."
    assert field(answer.text, "plan") == "Typed, not saved."
    assert "Gull, Tidewell School." in answer.text.split('id="new-draft"')[1]
    assert stored(practice)[0][1] == 1
    # The same once more says that there is nothing to choose from.
    draft = ferry.get(f"/api{path_of(practice)}/draft").json()["objective"]
    again = post(ferry, path_of(practice), **typed | {"objective": draft}, do="draft")
    assert "A new draft says the same" in again.text


def test_of_two_texts_both_are_shown_and_the_next_save_is_a_choice(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    saved(practice, ferry)
    saved(practice, ferry, based_on="1", plan="From the other window.")
    answer = post(ferry, path_of(practice), **FORM | {"based_on": "1", "plan": "From this window."})
    assert answer.status_code == 409
    assert "in the meantime" in answer.text
    assert field(answer.text, "plan") == "From this window."
    assert "From the other window." in answer.text
    assert 'name="based_on" value="2"' in answer.text
    # Where both say the same, it stands there once.
    assert answer.text.count("Stored meanwhile") == 1
    saved(practice, ferry, based_on="2", plan="From this window.")
    assert rows(practice, "SELECT plan_text, revision FROM note") == [("From this window.", 3)]


def test_what_cannot_be_kept_is_refused_beside_its_field_and_stays_typed(
    practice: Practice,
) -> None:
    ferry = practice.desk("ferry")
    answer = post(ferry, path_of(practice), **FORM | {"plan": "A bell \x07 rang."})
    assert answer.status_code == 422
    assert trouble(answer.text, "plan")
    assert field(answer.text, "subjective") == TEXTS["subjective"]
    assert stored(practice) == []


def test_line_ends_of_browsers_do_not_count_twice(practice: Practice) -> None:
    text = "\r\n".join(["a" * 79] * 100)
    assert len(text) > 8000
    saved(practice, practice.desk("ferry"), plan=text)
    assert rows(practice, "SELECT length(plan_text) FROM note") == [(7999,)]


def test_words_of_a_form_stand_there_as_words(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    saved(practice, ferry, plan="</textarea><script>x</script>")
    page = seen(ferry, path_of(practice))
    assert "<script>x" not in page
    assert field(page, "plan") == "</textarea><script>x</script>"


# Signing


@pytest.mark.parametrize("assessment", ["", "  \r\n "])
def test_nothing_is_signed_without_an_assessment(practice: Practice, assessment: str) -> None:
    ferry = practice.desk("ferry")
    form = FORM | {"assessment": assessment, "plan": "Typed."}
    answer = post(ferry, path_of(practice), **form, do="sign", read="yes")
    assert answer.status_code == 422
    assert "an assessment, which a person writes" in trouble(answer.text, "assessment")
    assert field(answer.text, "plan") == "Typed."
    assert stored(practice) == []


def began(practice: Practice, client: TestClient, **times: str) -> str:
    """Let Gull's session begin; returns its path."""
    session = path_of(practice).removesuffix("/note")
    body = {"started_at": "2026-03-03T09:10:00Z"} | times
    assert client.patch(f"/api{session}", json=body).status_code == 200
    return session


def ended_at(practice: Practice) -> Any:
    query = "SELECT started_at, ended_at FROM session WHERE id = ?"
    return rows(practice, query, practice.ids["Gull session"])[0]


def clock(page: str, name: str) -> str:
    (found,) = re.findall(rf'<input id="{name}" name="{name}" type="time" value="([^"]*)"', page)
    return found


def test_a_session_without_an_end_is_given_one_in_the_step_that_signs(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    began(practice, ferry)
    page = seen(ferry, path_of(practice))
    # Today's session without a trial that says when: now.
    assert clock(page, "ended") == "12:00"
    assert 'name="started"' not in page
    form = FORM | {"do": "sign", "read": "yes"}
    refused = post(ferry, path_of(practice), **form)
    assert refused.status_code == 422
    assert "Say when this session ended" in trouble(refused.text, "ended")
    assert field(refused.text, "plan") == TEXTS["plan"]
    assert stored(practice) == []
    for text, why in (("99:99", "a time as in"), ("09:00", "ends after it starts"), ("23:00", "")):
        answer = post(ferry, path_of(practice), **form | {"ended": text})
        assert answer.status_code == 422
        assert why in trouble(answer.text, "ended")
        assert clock(answer.text, "ended") == text
        assert stored(practice) == []
    saved(practice, ferry, do="sign", read="yes", ended="09:38")
    assert stored(practice)[0][0] == "signed"
    assert ended_at(practice)[1].startswith("2026-03-03 09:38:00")
    assert ("ferry", "changed", "Gull session") in audited(practice, "session")
    page = unescape(seen(ferry, path_of(practice)))
    assert "<dt>Time</dt><dd>09:10–09:38, 28\N{NO-BREAK SPACE}min</dd>" in page


def test_what_a_trial_says_of_the_time_is_where_the_form_begins(practice: Practice) -> None:
    """The document says 09:14:07 and its samples last 4.5 s."""
    ferry = practice.desk("ferry")
    send(practice, practice.tablet(), ON)
    page = seen(ferry, path_of(practice))
    assert (clock(page, "started"), clock(page, "ended")) == ("09:14", "09:15")
    saved(practice, ferry, do="sign", read="yes", started="09:14", ended="09:15")
    assert [one[:19] for one in ended_at(practice)] == [
        "2026-03-03 09:14:00",
        "2026-03-03 09:15:00",
    ]


def test_a_session_that_began_in_this_minute_ends_now(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    practice.clock.move(seconds=20)
    began(practice, ferry, started_at="2026-03-03T12:00:10Z")
    saved(practice, ferry, do="sign", read="yes", ended="12:00")
    assert ended_at(practice)[1].startswith("2026-03-03 12:00:20")


@pytest.mark.parametrize("started_at", [None, "2026-03-03T23:59:20Z"])
def test_a_time_just_before_midnight_is_one_that_can_be_signed(
    practice: Practice, started_at: str | None
) -> None:
    """A minute after the trial is the next day, which no clock time of this day can say."""
    practice.clock.move(hours=12, minutes=30)
    ferry = practice.desk("ferry")
    send(practice, practice.tablet(), ON, started_at="2026-03-03T23:59:30+00:00")
    if started_at is not None:
        began(practice, ferry, started_at=started_at)
    page = seen(ferry, path_of(practice))
    times = {"ended": clock(page, "ended")}
    times |= {"started": clock(page, "started")} if started_at is None else {}
    assert set(times.values()) == {"23:59"}
    saved(practice, ferry, do="sign", read="yes", **times)
    begin, end = ended_at(practice)
    assert "2026-03-03 23:59:00" <= begin <= end < "2026-03-04"


def test_an_end_that_another_window_gave_stays(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    began(practice, ferry)
    assert clock(seen(ferry, path_of(practice)), "ended")
    began(practice, ferry, ended_at="2026-03-03T09:30:00Z")
    saved(practice, ferry, do="sign", read="yes", ended="11:00")
    assert ended_at(practice)[1].startswith("2026-03-03 09:30:00")


@pytest.mark.parametrize("attendance", ["absent", "cancelled"])
def test_of_a_child_that_did_not_come_no_time_is_asked(practice: Practice, attendance: str) -> None:
    ferry = practice.desk("ferry")
    session = path_of(practice).removesuffix("/note")
    assert ferry.patch(f"/api{session}", json={"attendance": attendance}).status_code == 200
    assert 'name="ended"' not in seen(ferry, path_of(practice))
    saved(practice, ferry, do="sign", read="yes")
    page = unescape(seen(ferry, path_of(practice)))
    assert f"<dt>Attendance</dt><dd>{attendance.capitalize()}</dd>" in page
    assert "<dt>Time</dt><dd>Not noted</dd>" in page


def test_nothing_is_signed_unread(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    answer = post(ferry, path_of(practice), **FORM, do="sign")
    assert answer.status_code == 422
    assert "tick this" in trouble(answer.text, "read")
    assert stored(practice) == []


def test_signing_stores_what_is_typed_and_closes_the_form(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    saved(practice, ferry)
    saved(practice, ferry, based_on="1", assessment="Typed last.", do="sign", read="yes")
    assert stored(practice) == [("signed", 2, TEXTS["subjective"], "Typed last.")]
    assert [verb for _, verb, _ in audited(practice, "note") if verb != "saw"] == [
        "wrote",
        "wrote",
        "signed",
    ]
    page = seen(ferry, path_of(practice))
    assert 'id="assessment"' not in page
    assert "Typed last." in page
    assert "It waits for the co-signature of harbour." in page
    assert "Numbers as signed" in page
    assert re.search(r"Signed</dt><dd>.*ferry.*3 March 2026, 12:00", page)


def test_signing_that_is_sent_twice_is_done_once_and_says_no_more(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    for _ in range(2):
        saved(practice, ferry, do="sign", read="yes")
    assert stored(practice)[0][:2] == ("signed", 1)
    assert [verb for _, verb, _ in audited(practice, "note")] == ["wrote", "signed"]
    other = FORM | {"plan": "Other words.", "do": "sign", "read": "yes"}
    answer = post(ferry, path_of(practice), **other)
    assert answer.status_code == 409
    assert "Other words." in answer.text


@pytest.mark.parametrize(
    ("typed", "where"),
    [
        ({"plan": "a" * 8001}, "plan"),
        ({"objective": "\r\n".join(["a" * 79] * 101)}, "objective"),
        ({"do": "sign", "read": "perhaps"}, "read"),
    ],
)
def test_what_no_browser_sends_is_refused_on_the_page_and_stays_typed(
    practice: Practice, typed: dict[str, str], where: str
) -> None:
    ferry = practice.desk("ferry")
    answer = post(ferry, path_of(practice), **FORM | typed)
    assert answer.status_code == 422
    assert trouble(answer.text, where)
    for name in TEXTS:
        assert field(answer.text, name) == (FORM | typed)[name].replace("\r\n", "\n")
    assert stored(practice) == []


@pytest.mark.parametrize("revision", ["", "abc", "-1", "9" * 40, "1.5", "²"])
def test_a_revision_that_is_none_never_overwrites(practice: Practice, revision: str) -> None:
    bring(practice, "draft")
    answer = post(practice.desk("ferry"), path_of(practice), **FORM | {"based_on": revision})
    assert answer.status_code == 409
    assert stored(practice)[0][:2] == ("draft", 1)


def test_another_than_the_author_neither_signs_nor_loses_what_was_typed(
    practice: Practice,
) -> None:
    bring(practice, "draft")
    harbour = practice.desk("harbour")
    page = seen(harbour, path_of(practice))
    assert 'value="sign"' not in page
    assert "Only the author signs this note." in page
    form = FORM | {"based_on": "1", "plan": "Harbour's plan."}
    answer = post(harbour, path_of(practice), **form, do="sign", read="yes")
    assert answer.status_code == 403
    assert field(answer.text, "plan") == "Harbour's plan."
    assert stored(practice)[0][:2] == ("draft", 1)


def test_what_was_typed_into_a_note_signed_meanwhile_is_not_lost(practice: Practice) -> None:
    bring(practice, "signed")
    form = FORM | {"based_on": "1", "plan": "Too late."}
    answer = post(practice.desk("ferry"), path_of(practice), **form)
    assert answer.status_code == 409
    assert "What you typed, not stored" in answer.text
    assert "Too late." in answer.text
    assert stored(practice)[0][:2] == ("signed", 1)


def test_a_colleague_reads_a_note_that_is_not_hers(practice: Practice) -> None:
    bring(practice, "draft")
    linked_as(practice, "lamp", {"assistant"})
    page = seen(practice.desk("lamp"), path_of(practice))
    assert TEXTS["assessment"] in page
    assert 'action="/sessions' not in page
    answer = post(practice.desk("lamp"), path_of(practice), **FORM | {"based_on": "1"})
    assert answer.status_code == 403
    assert "Only the author of this note" in answer.text


# Deciding


def test_a_supervisor_returns_with_a_reason_and_the_author_sees_it(practice: Practice) -> None:
    bring(practice, "signed")
    harbour, path = practice.desk("harbour"), path_of(practice)
    refused = post(harbour, f"{path}/return", reason=" \n")
    assert refused.status_code == 422
    assert "Say why" in trouble(refused.text, "reason")
    assert post(harbour, f"{path}/return", reason="Say more.\r\nOf the rest.").status_code == 303
    page = seen(practice.desk("ferry"), path)
    assert "Returned to ferry by harbour on 3 March 2026, 12:00. Reason: Say more." in page
    assert field(page, "assessment") == TEXTS["assessment"]


def test_the_differences_to_the_returned_text_are_marked_in_words(practice: Practice) -> None:
    bring(practice, "returned")
    ferry, harbour = practice.desk("ferry"), practice.desk("harbour")
    words = "Steadier than last week. Rested twice."
    saved(practice, ferry, based_on="1", assessment=words, plan="", do="sign", read="yes")
    page = seen(harbour, path_of(practice))
    assert "Reason for returning it: Say more." in page
    assert re.search(r"<ins><span[^>]*>added:</span> Rested twice\.</ins>", page)
    assert re.search(r"<del><span[^>]*>taken out:</span> The same again\.</del>", page)
    assert post(harbour, f"{path_of(practice)}/cosign", read="yes").status_code == 303
    # Then the note comes first, and what had changed is folded away.
    closed = seen(harbour, path_of(practice))
    assert closed.index("Assessment</h2>") < closed.index("<ins>")


def test_a_co_signature_needs_reading_and_closes_the_note(practice: Practice) -> None:
    bring(practice, "signed")
    harbour, path = practice.desk("harbour"), path_of(practice)
    assert RESPONSIBLE in seen(harbour, path)
    assert "tick this" in trouble(post(harbour, f"{path}/cosign").text, "read")
    assert stored(practice)[0][0] == "signed"
    assert post(harbour, f"{path}/cosign", read="yes").status_code == 303
    page = seen(harbour, path)
    assert "Signed and co-signed." in page
    assert "/cosign" not in page
    assert "/return" not in page
    second = post(harbour, f"{path}/cosign", read="yes")
    assert second.status_code == 409
    assert "not waiting for a co-signature" in second.text


def test_only_the_author_s_supervisor_is_asked_to_decide(practice: Practice) -> None:
    bring(practice, "signed")
    linked_as(practice, "keeper", {"supervisor"})
    page = seen(practice.desk("keeper"), path_of(practice))
    assert "Your decision" not in page
    assert (
        post(practice.desk("keeper"), f"{path_of(practice)}/cosign", read="yes").status_code == 403
    )
    assert "Your decision" not in seen(practice.desk("ferry"), path_of(practice))


def test_a_supervisor_s_own_note_ends_when_it_is_signed(practice: Practice) -> None:
    bring(practice, "signed", author="harbour")
    page = seen(practice.desk("harbour"), path_of(practice))
    assert "Signed. It stays as it is" in page
    assert "Your decision" not in page


# Afterwards


def test_numbers_stay_as_signed_and_what_changed_is_listed(practice: Practice) -> None:
    tablet = practice.tablet()
    trial_id = send(practice, tablet, ON)
    bring(practice, "signed")
    mark(tablet, trial_id, outcome="spoilt", why="a sneeze")
    page = seen(practice.desk("ferry"), path_of(practice))
    assert "Changed since signing" in page
    words = unescape(page).replace("\N{NO-BREAK SPACE}", " ")
    assert "Trial 1, Quay Edge, was marked again: outcome not said when signed, spoilt now" in words
    assert (
        "Quay Edge, 4 mm each side, left hand, left to right: met in 1 of 1 when signed, none "
        "counted (not counted: 1 spoilt) now." in words
    )
    assert "1 of 1" in page  # as it was signed


def test_an_addendum_stands_under_the_note_once(practice: Practice) -> None:
    bring(practice, "signed")
    ferry, path = practice.desk("ferry"), path_of(practice)
    (given,) = re.findall(r'name="id" value="([^"]+)"', seen(ferry, path))
    assert "Write what" in trouble(post(ferry, f"{path}/addenda", id=given, text=" ").text, "text")
    for _ in range(2):
        sent = post(ferry, f"{path}/addenda", id=given, text="The window was open.")
        assert sent.status_code == 303
    page = seen(ferry, path)
    assert page.count("added to by ferry") == 3  # among the addenda, in the history, in the copy
    assert rows(practice, "SELECT count(*) FROM note_event WHERE kind = 'addendum'") == [(1,)]
    assert [verb for _, verb, _ in audited(practice, "note")].count("added_to") == 1
    other = post(ferry, f"{path}/addenda", id=given, text="Other words.")
    assert other.status_code == 409
    assert field(other.text, "text") == "Other words."
    assert SENT_BEFORE in trouble(other.text, "text")
    assert f'name="id" value="{given}"' not in other.text


def test_a_draft_takes_no_addendum(practice: Practice) -> None:
    bring(practice, "draft")
    sent = post(practice.desk("ferry"), f"{path_of(practice)}/addenda", id=str(uuid4()), text="x")
    assert sent.status_code == 409
    assert "Only a signed note takes an addendum" in sent.text


# Text and paper


@pytest.mark.parametrize("end", [".txt", ".pdf"])
def test_a_note_that_is_taken_away_is_noted_as_exported(practice: Practice, end: str) -> None:
    ferry, path = practice.desk("ferry"), path_of(practice)
    exported = ("ferry", "exported", "Gull session")
    seen(ferry, path)
    assert exported not in audited(practice, "note")
    for times in (1, 2):
        assert ferry.get(f"{path}{end}").status_code == 200
        assert audited(practice, "note").count(exported) == times
    query = "SELECT DISTINCT child_id FROM audit WHERE verb = 'exported'"
    assert rows(practice, query) == [(practice.ids["Gull"],)]


def test_the_text_is_what_is_stored_with_its_signature(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), path_of(practice)
    assert "Objective\n(empty)\n" in seen(ferry, f"{path}.txt")
    bring(practice, "signed")
    answer = ferry.get(f"{path}.txt")
    assert answer.headers["content-type"] == "text/plain; charset=utf-8"
    assert answer.headers["cache-control"] == "no-store"
    assert answer.text.startswith("Note: Gull, Tuesday 3 March 2026\nSigned.")
    for name, text in TEXTS.items():
        assert f"\n{name.capitalize()}\n{text}\n" in answer.text
    assert "Signed: ferry, 3 March 2026, 12:00" in answer.text
    assert "Not a standardised test, a norm or a diagnosis." in answer.text
    hidden = re.findall(r'<pre id="stored-note" hidden>(.*?)</pre>', seen(ferry, path), re.DOTALL)
    assert [unescape(one) for one in hidden] == [answer.text]


def test_the_facts_of_the_session_stand_in_page_text_and_pdf_as_signed(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), path_of(practice)
    goal = {**GOAL, "k": 1, "n": 2, "days": 1, "due": None}
    made = practice.desk("harbour").post(f"/api/children/{practice.ids['Gull']}/goals", json=goal)
    assert made.status_code == 201, made.text
    tablet = practice.tablet()
    sent = [send(practice, tablet, beside) for beside in (ON, OFF)]
    for trial_id in sent:
        mark(tablet, trial_id, outcome="finished", help={"setup": True})
    facts = {"attendance": "left_early", "kind": "group", "position": "standing"}
    assert ferry.patch(f"/api{path.removesuffix('/note')}", json=facts).status_code == 200
    bring(practice, "signed")
    # What is kept is what was signed, whatever the database says later.
    execute(practice, "UPDATE session SET place = 'Elsewhere' WHERE id = ?", session_of(practice))
    text = ferry.get(f"{path}.txt").text
    facts_said = (
        "Day: Tuesday 3 March 2026",
        "Time: 09:10–09:38, 28 min",
        "Place: Tidewell School",
        "Attendance: Left early",
        "Individual or group: In a group",
        "Position: Standing and seated",
        "Tool: Stylus",
    )
    for line in facts_said:
        assert f"\n{line}\n" in text
    goals = [one for one in text.splitlines() if one.startswith("Goal: ")]
    assert len(goals) == 1
    # [C] one of two on the path.
    assert goals[0].endswith(
        "in 1 of 2 finished trials. Met in 1 of 2 trials that count in this session."
    )
    assert "Met in 1 of 2" in text
    assert "no help after set-up: 1 of 2 (9–91 %)" in text
    page = unescape(seen(ferry, path)).replace("\N{NO-BREAK SPACE}", " ")
    paper = paper_words(ferry.get(f"{path}.pdf").content)
    for line in facts_said:
        label, words = line.split(": ", 1)
        assert f"<dt>{label}</dt><dd>{words}</dd>" in page
        assert f"{label} {words}" in paper
    assert goals[0].removeprefix("Goal: ") in page
    assert goals[0].removeprefix("Goal: ") in paper
    assert "place Tidewell School when signed, Elsewhere now" in page
    mark(tablet, sent[0], outcome="spoilt")
    page = unescape(seen(ferry, path))
    was = "met in 1 of 2 trials that count when signed"
    assert f"Goal on any task: {was}, met in 0 of 1 trials that count, 1 left out now." in page


def test_a_count_with_help_that_nobody_noted_says_of_how_many(practice: Practice) -> None:
    """The counts of a note take such trials, goals leave them out: both are said."""
    ferry, tablet, path = practice.desk("ferry"), practice.tablet(), path_of(practice)
    goal = {**GOAL, "k": 1, "n": 2, "days": 1, "due": None}
    made = practice.desk("harbour").post(f"/api/children/{practice.ids['Gull']}/goals", json=goal)
    assert made.status_code == 201, made.text
    noted = send(practice, tablet, ON)
    send(practice, tablet, ON, seq=2)
    set_up = send(practice, tablet, ON, seq=3)
    mark(tablet, noted, outcome="finished")
    # No word of how it ended, but of the help: there was none beyond set-up.
    mark(tablet, set_up, help={"setup": True})
    page = unescape(seen(ferry, path)).replace("\N{NO-BREAK SPACE}", " ")
    text = ferry.get(f"{path}.txt").text
    paper = paper_words(ferry.get(f"{path}.pdf").content)
    assert "help not noted in 1 of 3" in field(page, "objective")
    for shown in (page, text, paper):
        assert "elp not noted in 1 of 3" in shown
        assert "3 of 3" in shown
        assert "Met in 2 of 2 trials that count, 1 left out in this session." in shown


def session_of(practice: Practice) -> str:
    return practice.ids["Gull session"]


def paper_words(pdf: bytes) -> str:
    asked = ["pdftotext", "-layout", "-", "-"]
    done = subprocess.run(asked, input=pdf, check=True, capture_output=True)
    return " ".join(done.stdout.decode().split())


def test_typed_words_are_not_copied_as_if_they_were_stored(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), path_of(practice)
    saved(practice, ferry)
    page = post(ferry, path, **FORM | {"based_on": "1", "plan": "Not saved."}, do="draft").text
    (hidden,) = re.findall(r'<pre id="stored-note" hidden>(.*?)</pre>', page, re.DOTALL)
    assert "Not saved." not in hidden


@pytest.mark.parametrize("state", ["none", "draft", "signed", "returned", "cosigned"])
def test_the_pdf_tells_nothing_in_its_name(practice: Practice, state: str) -> None:
    send(practice, practice.tablet(), ON)
    bring(practice, state)
    answer = practice.desk("ferry").get(f"{path_of(practice)}.pdf")
    assert answer.status_code == 200
    assert answer.content.startswith(b"%PDF-")
    assert answer.headers["content-type"] == "application/pdf"
    name = answer.headers["content-disposition"]
    assert re.fullmatch(r'attachment; filename="linnet-note-[0-9a-f-]{36}\.pdf"', name)
    assert not any(word in name for word in (*TELLING, practice.ids["Gull"]))


# Who


@pytest.mark.parametrize("ending", ["", ".txt", ".pdf"])
def test_looks_are_noted_and_strangers_find_nothing(practice: Practice, ending: str) -> None:
    seen_by = practice.desk("ferry").get(path_of(practice) + ending)
    assert seen_by.status_code == 200
    verbs = ["saw", "exported"] if ending else ["saw"]
    assert audited(practice, "note") == [("ferry", verb, "Gull session") for verb in verbs]
    assert practice.desk("lantern").get(path_of(practice) + ending).status_code == 404
    assert practice.desk("purser").get(path_of(practice) + ending).status_code == 403


def test_a_form_of_another_site_is_refused(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    headers = ORIGIN | {"Origin": "http://elsewhere.example"}
    answer = ferry.post(path_of(practice), data=FORM, headers=headers)
    assert answer.status_code == 403
    assert stored(practice) == []


@pytest.mark.parametrize("state", ["none", "draft", "signed", "returned", "cosigned"])
def test_headings_go_down_step_by_step(practice: Practice, state: str) -> None:
    bring(practice, state)
    for name in ("ferry", "harbour"):
        levels = [
            int(one)
            for one in re.findall(r"<h([1-6])", seen(practice.desk(name), path_of(practice)))
        ]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after <= before + 1 for before, after in pairwise(levels)), levels


def test_a_note_as_others_write_it_is_the_same_note(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    assert put(ferry, f"/api{path_of(practice)}", 0).status_code == 200
    saved(practice, ferry, based_on="1", plan="By hand.")
    assert ferry.get(f"/api{path_of(practice)}").json()["plan"] == "By hand."
