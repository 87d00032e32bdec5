"""What the forms of a trial's page refuse: said on the page, with what was typed still there."""

from typing import Any
from uuid import uuid4

import pytest

from server.trial_forms import TOO_LONG, AmendmentForm, MarkForm, VoidForm
from tests.practice import Practice, drawn
from tests.unit.test_page_session import post, text_of

LONG = "k" * 5000
USUAL: dict[str, dict[str, str]] = {
    "marks": {"kind": "spoilt"},
    "amendments": {"hand_used": "left", "reason": "Seen from the side."},
    "voids": {"voided": "yes", "reason": "The screen hung."},
}
FORMS: dict[str, Any] = {"marks": MarkForm, "amendments": AmendmentForm, "voids": VoidForm}


@pytest.fixture
def path(practice: Practice) -> str:
    tree = drawn()
    assert practice.send(practice.tablet(), tree).status_code == 201
    return f"/trials/{tree['trial_id']}"


def sent(form: str, **typed: str) -> dict[str, str]:
    return {"id": str(uuid4())} | USUAL[form] | typed


@pytest.mark.parametrize("form", FORMS)
def test_whatever_is_typed_ends_on_the_page_and_never_on_another(
    practice: Practice, path: str, form: str
) -> None:
    ferry, refused = practice.desk("ferry"), set()
    for field in FORMS[form].model_fields:
        for typed in (LONG, "<b>&%$'\"\\", "9" * 5000, "nan"):
            answer = post(ferry, f"{path}/{form}", **sent(form, **{field: typed}))
            if answer.status_code != 303:
                assert answer.status_code in (409, 422), text_of(answer)[:300]
                assert 'id="noted"' in answer.text
                assert 'role="alert"' in answer.text
                refused.add(field)
    # A box is ticked or not.
    free = {"setup", "hand_over_hand"}
    assert refused == FORMS[form].model_fields.keys() - free


@pytest.mark.parametrize(
    ("form", "field", "most"),
    [("marks", "why", 200), ("amendments", "reason", 500), ("voids", "reason", 500)],
)
def test_one_character_too_many_is_refused_beside_the_field_and_kept(
    practice: Practice, path: str, form: str, field: str, most: int
) -> None:
    ferry = practice.desk("ferry")
    answer = post(ferry, f"{path}/{form}", **sent(form, **{field: "k" * (most + 1)}))
    assert answer.status_code == 422
    name = {"marks": "mark", "amendments": "amend", "voids": "void"}[form]
    assert f'aria-describedby="{name}-{field}-trouble"' in answer.text
    assert TOO_LONG.format(max_length=most) in text_of(answer)
    assert f'value="{"k" * (most + 1)}"' in answer.text
    taken = post(ferry, f"{path}/{form}", **sent(form, **{field: "k" * most}))
    assert (taken.status_code, taken.headers["location"]) == (303, f"{path}#noted")


def test_the_end_of_a_line_in_a_reason_counts_as_one_character(
    practice: Practice, path: str
) -> None:
    # [C] 200 letters, 200 ends of lines and 99 letters: 499, sent as 699.
    reason = "k\r\n" * 200 + "k" * 99
    answer = post(practice.desk("ferry"), f"{path}/voids", **sent("voids", reason=reason))
    assert answer.status_code == 303


@pytest.mark.parametrize("form", FORMS)
def test_an_id_that_was_used_for_something_else_is_told_of_and_the_next_one_is_free(
    practice: Practice, path: str, form: str
) -> None:
    ferry, first = practice.desk("ferry"), sent(form)
    assert post(ferry, f"{path}/{form}", **first).status_code == 303
    assert post(ferry, f"{path}/{form}", **first).status_code == 303
    field = "why" if form == "marks" else "reason"
    other = post(ferry, f"{path}/{form}", **first | {field: "Another one."})
    assert other.status_code == 409
    assert 'role="alert"' in other.text
    assert first["id"] not in other.text
    assert 'value="Another one."' in other.text


@pytest.mark.parametrize(
    ("form", "field"), [("amendments", "midline"), ("amendments", "position"), ("voids", "voided")]
)
def test_what_is_not_offered_is_not_taken_for_something_else(
    practice: Practice, path: str, form: str, field: str
) -> None:
    ferry = practice.desk("ferry")
    answer = post(ferry, f"{path}/{form}", **sent(form, **{field: "Upside down"}))
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert ferry.get(f"/api{path}/{form}").json() == {form: []}


@pytest.mark.parametrize(
    ("chosen", "number", "field", "sentence"),
    [
        # [C] The screen of the trial is 207 mm wide.
        ("at", "5001", "midline_x_mm", "in the task area of this trial: from 0 to 207 mm."),
        ("at", "-0.5", "midline_x_mm", "in the task area of this trial: from 0 to 207 mm."),
        ("unknown", "100", "midline", "or take it away if the midline is not known."),
        ("", "100", "midline", "Choose that it is the place, or take it away."),
    ],
)
def test_a_midline_is_one_place_of_the_task_area(
    practice: Practice, path: str, chosen: str, number: str, field: str, sentence: str
) -> None:
    ferry = practice.desk("ferry")
    asked = {"hand_used": "", "position": "", "midline": chosen, "midline_x_mm": number}
    answer = post(ferry, f"{path}/amendments", **sent("amendments", **asked))
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    assert "Choose at least one thing" not in text_of(answer)
    assert f'id="amend-{field}-trouble"' in answer.text
    assert ferry.get(f"/api{path}/amendments").json() == {"amendments": []}
    edge = asked | {"midline": "at", "midline_x_mm": "207"}
    assert post(ferry, f"{path}/amendments", **sent("amendments", **edge)).status_code == 303


def test_scripts_set_no_midline_beside_the_task_area(practice: Practice, path: str) -> None:
    body = {"id": str(uuid4()), "patch": {"midline_x_mm": 5001.0}, "reason": "Tape moved."}
    refused = practice.desk("ferry").post(f"/api{path}/amendments", json=body)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["path"] == "/patch/midline_x_mm"
