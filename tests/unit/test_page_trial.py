"""The page of a trial: what adults note there, where it leads, its report on paper."""

import html
import re
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from server.page_trial_said import POSITIONS
from server.trial_forms import (
    A_NUMBER,
    HELP_WITH_OK,
    NO_KIND,
    NO_REASON,
    NOTHING_CHOSEN,
    REASON_OF_OK,
    WHOLE_NUMBER,
    AmendmentForm,
    MarkForm,
    Untaken,
    amendment_of,
    mark_of,
)
from tests.accounts import audited, rows
from tests.practice import Practice, drawn

TRIALS = Path(__file__).parents[2] / "fixtures" / "trials"
PAGE = {"Accept": "text/html"}


def sent(practice: Practice, **more: Any) -> str:
    """A new trial of Gull; returns its id."""
    tree = drawn(**more)
    answer = practice.send(practice.tablet(), tree)
    assert answer.status_code == 201, answer.text
    return str(tree["trial_id"])


def plain(page: str) -> str:
    text = html.unescape(re.sub(r"<[^>]*>", " ", page)).replace("\N{NO-BREAK SPACE}", " ")
    return re.sub(r"\s+", " ", text)


def post(client: TestClient, trial_id: str, what: str, **data: str) -> Any:
    data = {"id": str(uuid4())} | data
    return client.post(
        f"/trials/{trial_id}/{what}", data=data, headers=PAGE, follow_redirects=False
    )


def marked(**typed: str) -> Any:
    return mark_of(MarkForm(id=str(uuid4()), **typed).model_dump())


def refused(make: Any, form: Any) -> dict[str, str]:
    with pytest.raises(Untaken) as caught:
        make(form.model_dump())
    return caught.value.troubles


# What an adult says


def test_a_form_means_what_the_row_of_the_tablet_means() -> None:
    cues = {"verbal": 2, "gesture": 0, "demonstration": 0}
    helped = marked(kind="helped", verbal="2", setup="yes")
    assert (helped.outcome, helped.help.given, helped.help.setup) == ("finished", True, True)
    assert helped.help.cues.model_dump() == cues
    assert marked(kind="ok").help is None
    # To set a task up is no help with it.
    assert marked(kind="ok", setup="yes").help.model_dump(exclude_none=True) == {"setup": True}
    # That there was no physical help is something that was seen, and no help.
    seen = marked(kind="ok", physical="none").help.model_dump(exclude_none=True)
    assert seen == {"physical": "none"}
    stopped = marked(kind="stopped", why=" tired arm ", hand_used="left")
    assert (stopped.outcome, stopped.why, stopped.hand_used) == ("stopped", "tired arm", "left")


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({}, "kind", NO_KIND),
        ({"kind": "perfect"}, "kind", NO_KIND),
        ({"kind": "ok", "why": "tired"}, "why", REASON_OF_OK),
        ({"kind": "ok", "verbal": "1"}, "help", HELP_WITH_OK),
        ({"kind": "ok", "hand_over_hand": "yes"}, "help", HELP_WITH_OK),
        ({"kind": "helped", "verbal": "-1"}, "verbal", WHOLE_NUMBER),
        ({"kind": "helped", "gesture": "²"}, "gesture", WHOLE_NUMBER),
        (
            {"kind": "helped", "verbal": "5000"},
            "verbal",
            "This number must be at most 99.",
        ),
        ({"kind": "helped", "physical": "a lot"}, "physical", None),
        ({"kind": "spoilt", "why": "x" * 201}, "why", None),
        ({"kind": "spoilt", "hand_used": "free"}, "hand_used", None),
        ({"kind": "spoilt", "id": "7"}, "id", None),
    ],
)
def test_a_mark_that_cannot_be_taken_says_why_beside_its_field(
    typed: dict[str, str], field: str, sentence: str | None
) -> None:
    troubles = refused(mark_of, MarkForm(**{"id": str(uuid4())} | typed))
    assert list(troubles) == [field]
    assert sentence in (None, troubles[field])


@pytest.mark.parametrize(
    ("typed", "troubles"),
    [
        ({}, {"reason": NO_REASON, "patch": NOTHING_CHOSEN}),
        ({"reason": " \r\n "}, {"reason": NO_REASON, "patch": NOTHING_CHOSEN}),
        ({"reason": "Wrong", "midline": "at"}, {"midline_x_mm": A_NUMBER}),
        (
            {"reason": "Wrong", "midline": "at", "midline_x_mm": "nan"},
            {"midline_x_mm": A_NUMBER},
        ),
        (
            {"reason": "Wrong", "midline": "at", "midline_x_mm": "1e999"},
            {"midline_x_mm": A_NUMBER},
        ),
    ],
)
def test_a_correction_that_cannot_be_taken_says_why(
    typed: dict[str, str], troubles: dict[str, str]
) -> None:
    assert refused(amendment_of, AmendmentForm(id=str(uuid4()), **typed)) == troubles


def test_a_correction_carries_only_what_was_chosen() -> None:
    form = AmendmentForm(
        id=str(uuid4()), position="standing", midline="unknown", reason="Seen\r\nlate"
    )
    body = amendment_of(form.model_dump())
    assert dict(body.patch) == {"position": "standing", "midline_x_mm": None}
    assert body.reason == "Seen\nlate"
    at = AmendmentForm(id=str(uuid4()), midline="at", midline_x_mm="103,5", reason="Measured")
    assert dict(amendment_of(at.model_dump()).patch) == {"midline_x_mm": 103.5}


def test_a_mark_is_added_and_what_was_noted_before_stays(practice: Practice) -> None:
    trial_id, ferry = sent(practice), practice.desk("ferry")
    first = post(ferry, trial_id, "marks", kind="spoilt", why="palm on the screen")
    assert (first.status_code, first.headers["location"]) == (303, f"/trials/{trial_id}#noted")
    assert post(ferry, trial_id, "marks", kind="helped", verbal="2").status_code == 303
    page = plain(ferry.get(f"/trials/{trial_id}").text)
    assert "Spoilt: palm on the screen. ferry, 3 March 2026, 12:00" in page
    assert "Finished. Help: two verbal cues. ferry, 3 March 2026, 12:00 · this one counts" in page
    assert ("ferry", "marked", trial_id) in audited(practice, "trial")
    whole = ferry.get(f"/api/trials/{trial_id}").json()
    assert [mark["outcome"] for mark in whole["marks"]] == ["spoilt", "finished"]


def test_the_form_of_marks_begins_with_what_was_said_last(practice: Practice) -> None:
    trial_id, ferry = sent(practice), practice.desk("ferry")
    post(ferry, trial_id, "marks", kind="helped", gesture="3", hand_used="left")
    page = ferry.get(f"/trials/{trial_id}").text
    assert re.search(r'value="helped" checked', page)
    assert re.search(r'name="gesture"[^>]* value="3"', page)
    assert '<option value="left" selected>left hand</option>' in page


def test_no_physical_help_stays_said_and_cues_of_zero_are_no_help(practice: Practice) -> None:
    trial_id, ferry = sent(practice), practice.desk("ferry")
    zero = {"verbal": 0, "gesture": 0, "demonstration": 0}
    noted = {"id": str(uuid4()), "outcome": "finished", "help": {"cues": zero, "physical": "none"}}
    assert ferry.post(f"/api/trials/{trial_id}/marks", json=noted).status_code == 201
    page = ferry.get(f"/trials/{trial_id}").text
    assert re.search(r'value="ok" checked', page)
    assert '<option value="none" selected>none</option>' in page


def test_a_mark_sent_twice_is_one_mark_and_another_under_its_id_is_refused(
    practice: Practice,
) -> None:
    trial_id, ferry, one = sent(practice), practice.desk("ferry"), str(uuid4())
    for _ in range(2):
        assert post(ferry, trial_id, "marks", id=one, kind="ok").status_code == 303
    clash = post(ferry, trial_id, "marks", id=one, kind="stopped", why="bell")
    assert clash.status_code == 409
    assert "Another mark is already stored under this id." in plain(clash.text)
    # What was typed is kept, under an id that is free.
    assert 'value="bell"' in clash.text
    assert one not in clash.text
    assert len(rows(practice, "SELECT * FROM mark WHERE trial_id = ?", trial_id)) == 1


def test_a_refused_form_keeps_what_was_typed_and_stores_nothing(practice: Practice) -> None:
    trial_id, ferry = sent(practice), practice.desk("ferry")
    answer = post(ferry, trial_id, "amendments", position="standing", reason="")
    assert answer.status_code == 422
    assert '<option value="standing" selected>standing</option>' in answer.text
    assert 'aria-describedby="amend-reason-trouble"' in answer.text
    assert NO_REASON in plain(answer.text)
    other = post(ferry, trial_id, "marks", kind="ok", why="<b>tired</b>")
    assert other.status_code == 422
    assert 'value="&lt;b&gt;tired&lt;/b&gt;"' in other.text
    for table in ("mark", "amendment", "void"):
        assert rows(practice, f"SELECT * FROM {table}") == []


def test_a_correction_is_computed_with_and_the_record_stays(practice: Practice) -> None:
    trial_id, ferry = sent(practice), practice.desk("ferry")
    raw = ferry.get(f"/api/trials/{trial_id}/raw").content
    answer = post(
        ferry,
        trial_id,
        "amendments",
        midline="at",
        midline_x_mm="40",
        position="kneeling",
        reason="The tablet lay to the side.",
    )
    assert answer.status_code == 303, answer.text
    page = plain(ferry.get(f"/trials/{trial_id}").text)
    assert "Position: kneeling. Midline: 40 mm from the left edge of the task area." in page
    assert "Reason: The tablet lay to the side. ferry, 3 March 2026, 12:00" in page
    assert "Corrected: this page counts the corrections; the record is as it was drawn." in page
    replay = ferry.get(f"/trials/{trial_id}/replay.json").json()
    assert replay["midline_x_mm"] == 40.0
    assert ferry.get(f"/api/trials/{trial_id}/raw").content == raw
    assert ("ferry", "amended", trial_id) in audited(practice, "trial")


def test_a_trial_moves_to_another_session_of_its_child_only(practice: Practice) -> None:
    trial_id, ferry, harbour = sent(practice), practice.desk("ferry"), practice.desk("harbour")
    made = ferry.post(f"/api/children/{practice.ids['Gull']}/sessions", json={"day": "2026-03-02"})
    other = made.json()["session_id"]
    page = ferry.get(f"/trials/{trial_id}").text
    assert f'<option value="{other}"' in page
    assert practice.ids["Wren session"] not in page
    foreign = post(
        harbour, trial_id, "amendments", session_id=practice.ids["Wren session"], reason="Mixed up."
    )
    assert foreign.status_code == 422
    assert "This must be another session of the same child." in plain(foreign.text)
    moved = post(ferry, trial_id, "amendments", session_id=other, reason="Mixed up.")
    assert moved.status_code == 303
    assert f'href="/sessions/{other}"' in ferry.get(f"/trials/{trial_id}").text


def test_a_void_is_taken_back_with_a_reason_of_its_own(practice: Practice) -> None:
    trial_id, ferry = sent(practice), practice.desk("ferry")
    assert post(ferry, trial_id, "voids", reason="Tried out.", voided="yes").status_code == 303
    page = ferry.get(f"/trials/{trial_id}").text
    assert "Voided: it is kept and not counted." in plain(page)
    assert "In this trial: not counted." in plain(page)
    assert '<input type="hidden" name="voided" value="no">' in page
    assert post(ferry, trial_id, "voids", reason="It was Gull.", voided="no").status_code == 303
    again = plain(ferry.get(f"/trials/{trial_id}").text)
    assert "Voided: it is kept and not counted." not in again
    assert "Voided: kept and not counted. Reason: Tried out." in again
    assert "Used again. Reason: It was Gull." in again
    verbs = [verb for _, verb, thing in audited(practice, "trial") if thing == trial_id]
    assert [verb for verb in verbs if verb in ("voided", "restored")] == ["voided", "restored"]


def test_positions_are_such_as_a_document_takes() -> None:
    assert all(re.fullmatch(r"[a-z][a-z0-9_]*", one) for one in POSITIONS)


# Links


def test_the_page_leads_to_its_child_and_its_session(practice: Practice) -> None:
    page = practice.desk("ferry").get(f"/trials/{sent(practice)}").text
    assert f'href="/children/{practice.ids["Gull"]}"' in page
    assert f'href="/sessions/{practice.ids["Gull session"]}"' in page


def test_without_a_script_no_empty_replay_is_shown(practice: Practice) -> None:
    page = practice.desk("ferry").get(f"/trials/{sent(practice)}").text
    assert re.search(r'<section id="replay"[^>]* hidden>', page)


def test_the_width_stands_beside_every_share_on_the_path(practice: Practice) -> None:
    page = plain(practice.desk("ferry").get(f"/trials/{sent(practice)}").text)
    assert "at least 80 %, 4 mm each side." in page
    assert "4 mm each side. Share of the guide's whole length" in page


# The report on paper


def test_the_report_is_a_pdf_under_a_random_name_and_is_noted(practice: Practice) -> None:
    trial_id, ferry = sent(practice), practice.desk("ferry")
    answer = ferry.get(f"/trials/{trial_id}/report.pdf")
    assert answer.content.startswith(b"%PDF-")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["cache-control"] == "no-store"
    name = answer.headers["content-disposition"]
    assert re.fullmatch(r'attachment; filename="linnet-trial-[0-9a-f-]{36}\.pdf"', name)
    assert trial_id not in name
    assert ("ferry", "exported", trial_id) in audited(practice, "trial")
    assert f'href="/trials/{trial_id}/report.pdf"' in ferry.get(f"/trials/{trial_id}").text
