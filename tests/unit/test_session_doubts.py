"""What does not go together in a session is refused, or said, and not signed."""

import re
from typing import Any
from uuid import uuid4

import pytest

from server.attendance import WAS_BUSY, WAS_THERE
from server.store_sessions import SIGNED
from tests.practice import Practice, drawn
from tests.problem_form import assert_problem
from tests.unit.test_page_session import at, kept, observe, plan_of, post, signed, text_of
from tests.unit.test_page_session_refusals import is_the_page_again, usual

NOTE = {"subjective": "", "objective": "As noted.", "assessment": "Steady.", "plan": ""}
TIMES = {"started": "09:10", "ended": "09:38"}


def api(practice: Practice, more: str = "") -> str:
    return f"/api{at(practice, more)}"


def test_a_note_of_a_child_who_was_absent_and_drew_is_not_signed(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    kept(post(ferry, at(practice, "/facts"), attendance="absent", **TIMES), "content")
    assert "noted as absent" not in text_of(ferry.get(at(practice)))
    tree = drawn()
    assert practice.send(practice.tablet(), tree).status_code == 201
    said = f"This session is noted as absent. {WAS_THERE}"
    assert said in text_of(ferry.get(at(practice)))
    assert said in text_of(ferry.get(at(practice, "/note")))
    sent = NOTE | {"based_on": "0", "do": "sign", "read": "yes"}
    answer = post(ferry, at(practice, "/note"), **sent)
    assert answer.status_code == 409
    assert said in text_of(answer)
    assert "As noted." in answer.text
    revision = ferry.put(api(practice, "/note"), json=NOTE | {"based_on": 0}).json()["revision"]
    refused = ferry.post(api(practice, "/note/sign"), json={"based_on": revision})
    assert said in assert_problem(refused, 409)["detail"]
    # Either one may be mended.
    void = {"id": str(uuid4()), "voided": True, "reason": "A sibling drew."}
    ferry.post(f"/api/trials/{tree['trial_id']}/voids", json=void)
    assert "noted as absent" not in text_of(ferry.get(at(practice)))
    back = void | {"id": str(uuid4()), "voided": False}
    ferry.post(f"/api/trials/{tree['trial_id']}/voids", json=back)
    kept(post(ferry, at(practice, "/facts"), attendance="late", **TIMES), "content")
    taken = ferry.post(api(practice, "/note/sign"), json={"based_on": revision})
    assert taken.status_code == 200, taken.text


@pytest.mark.parametrize(
    ("what", "fields"), [("activity", {"activity": "Net"}), ("rest", {"minutes": "4"})]
)
def test_nobody_is_absent_who_was_busy(
    practice: Practice, what: str, fields: dict[str, str]
) -> None:
    ferry = practice.desk("ferry")
    # Words may be about a child who did not come.
    kept(observe(ferry, practice, "words", kind="said", text="The ferry is late."), "observed")
    kept(post(ferry, at(practice, "/facts"), attendance="cancelled"), "content")
    kept(post(ferry, at(practice, "/facts")), "content")
    kept(observe(ferry, practice, what, **fields), "observed")
    answer = post(ferry, at(practice, "/facts"), attendance="absent")
    is_the_page_again(answer)
    assert WAS_BUSY in text_of(answer)
    refused = assert_problem(ferry.patch(api(practice), json={"attendance": "cancelled"}), 422)
    assert refused["errors"] == [{"path": "/attendance", "detail": WAS_BUSY}]
    *_, one = ferry.get(api(practice, "/observations")).json()["observations"]
    kept(post(ferry, at(practice, f"/observations/{one['id']}/remove")), "observed")
    kept(post(ferry, at(practice, "/facts"), attendance="absent"), "content")


def unsaved(answer: Any) -> list[tuple[str, str]]:
    part = answer.text.partition("What you typed, not stored</h2>")[2].partition("/note#text")[0]
    return re.findall(r'<h3>(.*?)</h3>\s*<p class="typed">(.*?)</p>', part)


def test_what_was_typed_when_the_note_was_signed_elsewhere_is_not_lost(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    signed(practice)
    facts = {
        "place": "Rope <loft>",
        "started": "12:00",
        "ended": "11:28",
        "attendance": "left_early",
    }
    answer = post(ferry, at(practice, "/facts"), **facts)
    assert answer.status_code == 409
    assert SIGNED in text_of(answer)
    assert set(unsaved(answer)) >= {("Place", "Rope &lt;loft&gt;"), ("Attendance", "left early")}
    more = {"activity": "Net", "minutes": "5", "help": "minimal", "remark": "Laughed."}
    answer = observe(ferry, practice, "activity", **more)
    assert answer.status_code == 409
    said = [("Activity", "Net"), ("Minutes", "5"), ("Help", "minimal physical help")]
    assert unsaved(answer) == [*said, ("Remark", "Laughed.")]
    answer = observe(ferry, practice, "words", kind="remark", text="Held\r\ntight.")
    assert ("Which", "remark") in unsaved(answer)
    assert 'id="text"' in ferry.get(at(practice, "/note")).text
    answer = observe(ferry, practice, "ticks", ticks=["thumb_up", "distress"])
    assert unsaved(answer) == [("Seen", "Thumb up in the scissors, Distress")]
    assert unsaved(ferry.get(at(practice))) == []


def test_a_rest_lasts_half_a_minute_and_one_that_outlasts_the_session_is_told_of(
    practice: Practice,
) -> None:
    ferry = practice.desk("ferry")
    kept(post(ferry, at(practice, "/facts"), **TIMES), "content")
    short = observe(ferry, practice, "rest", minutes="0.0001")
    is_the_page_again(short)
    assert "This number must be at least 0.5." in text_of(short)
    kept(observe(ferry, practice, "rest", minutes="0.5"), "observed")
    # [C] 09:10 to 09:38
    kept(observe(ferry, practice, "rest", minutes="28"), "observed")
    assert "Look at both." not in text_of(ferry.get(at(practice)))
    kept(observe(ferry, practice, "activity", activity="Net", minutes="28,5"), "observed")
    said = "An activity of 28.5 min is noted, and the session lasted 28 min. Look at both."
    assert said in text_of(ferry.get(at(practice)))


def test_a_short_rest_that_a_tablet_timed_is_taken(practice: Practice) -> None:
    body = {"id": str(uuid4()), "plan_id": drawn()["plan"]["plan_id"], "kind": "rest"}
    answer = practice.tablet().post("/api/tablet/observations", json=body | {"minutes": 0.1})
    assert answer.status_code == 201, answer.text


@pytest.mark.parametrize("hands", [["left"], ["left", "right"]])
def test_the_same_form_adds_its_pictures_once(practice: Practice, hands: list[str]) -> None:
    ferry, form = practice.desk("ferry"), usual("/plan/items") | {"id": str(uuid4())}
    before = len(plan_of(practice)["items"])
    for based_on in ("1", "1", "2"):
        sent = form | {"hands": hands, "based_on": based_on}
        kept(post(ferry, at(practice, "/plan/items"), **sent), "plan")
    assert len(plan_of(practice)["items"]) == before + len(hands)
    again = form | {"hands": hands, "based_on": "2", "id": str(uuid4())}
    kept(post(ferry, at(practice, "/plan/items"), **again), "plan")
    assert len(plan_of(practice)["items"]) == before + 2 * len(hands)
    refused = post(ferry, at(practice, "/plan/items"), **again | {"id": "x"})
    assert refused.status_code == 422
    one = re.findall(
        r'name="id" value="([^"]*)"', ferry.get(at(practice, "?task=high-bridge")).text
    )
    assert one
    assert "x" not in one
