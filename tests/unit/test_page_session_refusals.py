"""What the forms of a session refuse: said beside the field, with what was typed still there."""

import re
from html import unescape
from typing import Any
from uuid import uuid4

import pytest

from server.routes_desk_session import FactsForm
from server.routes_desk_session_plan import ItemForm
from server.routes_desk_session_seen import ObservationForm, TapForm
from server.trial_forms import TOO_LONG
from tests.accounts import rows
from tests.practice import Practice, drawn
from tests.unit.test_page_session import (
    add_cells,
    at,
    kept,
    mark,
    plan_of,
    post,
    signed,
    text_of,
)

LONG = "k" * 5000
GARBAGE = "<b>&%$'\"\\"
FORMS: dict[str, Any] = {
    "/facts": FactsForm,
    "/plan/items": ItemForm,
    "/observations": ObservationForm,
}
# Fields of another form of the same address, and lines that may hold nearly anything.
BY_THE_WAY = ("place", "position", "activity", "remark", "why", "ticks", "kind", "text")


@pytest.fixture
def tree(practice: Practice) -> dict[str, Any]:
    sent = drawn()
    assert practice.send(practice.tablet(), sent).status_code == 201
    return sent


def is_the_page_again(answer: Any) -> None:
    assert answer.status_code in (409, 413, 422), answer.status_code
    assert 'class="stands"' in answer.text, text_of(answer)[:300]
    assert 'role="alert"' in answer.text


def usual(path: str) -> dict[str, Any]:
    """A form that would be taken."""
    return {
        "/facts": {"place": "Ropewalk Clinic"},
        "/plan/items": {
            "based_on": "1",
            "task_id": "high-bridge",
            "step": "corridor_mm:12.0",
            "hands": "left",
            "directions": "left_to_right",
            "repetitions": "1",
            "seed": "1",
        },
        "/observations": {"id": str(uuid4()), "what": "activity", "activity": "Rolling"},
    }[path]


@pytest.mark.parametrize(
    ("path", "field"),
    [(path, field) for path, form in FORMS.items() for field in form.model_fields],
)
def test_whatever_is_typed_in_a_field_ends_on_the_page_and_never_on_another(
    practice: Practice, path: str, field: str
) -> None:
    ferry, refused = practice.desk("ferry"), 0
    for typed in (LONG, GARBAGE, "9" * 5000, "-1e999", "nan", "\x07"):
        answer = post(ferry, at(practice, path), **usual(path) | {field: typed})
        if answer.status_code != 303:
            is_the_page_again(answer)
            refused += 1
    # Too long and what cannot be written are nobody's facts, minutes, ids or words.
    assert refused >= 3 or field in BY_THE_WAY


@pytest.mark.parametrize("detail", ["", "yes"])
def test_whatever_is_typed_in_a_mark_ends_on_the_page_and_never_on_another(
    practice: Practice, tree: dict[str, Any], detail: str
) -> None:
    ferry, refused = practice.desk("ferry"), set()
    for field in (one for one in TapForm.model_fields if one != "detail"):
        for typed in (LONG, GARBAGE, "9" * 5000):
            sent = {"tap": "spoilt", "detail": detail, field: typed}
            answer = mark(ferry, practice, tree, **sent)
            if answer.status_code != 303:
                is_the_page_again(answer)
                refused.add(field)
    said = {"why", "hand_used", "verbal", "gesture", "demonstration", "physical"}
    assert refused == {"mark_id", "tap"} | (said if detail else set())


@pytest.mark.parametrize("form", ["plan/same-as-last", "plan/items"])
def test_a_version_that_is_none_is_told_of_on_the_page(practice: Practice, form: str) -> None:
    ferry = practice.desk("ferry")
    for based_on in (LONG, "9" * 5000, "9" * 15, "", "-1", "²"):
        sent = usual("/plan/items") | {"based_on": based_on}
        is_the_page_again(post(ferry, at(practice, f"/{form}"), **sent))
    assert plan_of(practice)["version"] == 1


@pytest.mark.parametrize(
    ("what", "field", "most"),
    [
        ("activity", "activity", 200),
        ("activity", "remark", 2000),
        ("rest", "why", 200),
        ("words", "text", 2000),
    ],
)
def test_as_long_as_may_be_is_taken_and_one_more_is_refused_beside_the_field(
    practice: Practice, what: str, field: str, most: int
) -> None:
    ferry, path = practice.desk("ferry"), at(practice, "/observations")
    sent = {"what": what, "activity": "Rolling", "kind": "said"}
    kept(post(ferry, path, **sent | {"id": str(uuid4()), field: "k" * most}), "observed")
    answer = post(ferry, path, **sent | {"id": str(uuid4()), field: "k" * (most + 1)})
    is_the_page_again(answer)
    named = re.compile(
        rf'name="{field}"[^>]*>[^<]*(?:</textarea>)?\s*<p class="note alarm"[^>]*>([^<]*)'
    )
    assert named.findall(answer.text) == [TOO_LONG.format(max_length=most)]
    assert "k" * (most + 1) in answer.text
    assert rows(practice, "SELECT count(*) FROM observation") == [(1,)]


def test_the_end_of_a_line_counts_as_one_character(practice: Practice) -> None:
    ferry, path = practice.desk("ferry"), at(practice, "/observations")
    # [C] 1000 lines of one letter and 999 ends between them: 1999, which a browser sends as 2998.
    text = "\r\n".join(["k"] * 1000)
    sent = {"id": str(uuid4()), "what": "words", "kind": "remark", "text": text}
    kept(post(ferry, path, **sent), "observed")
    assert rows(practice, "SELECT text FROM observation") == [(text.replace("\r\n", "\n"),)]
    more = sent | {"id": str(uuid4()), "text": f"{text}\r\nkk"}  # [C] 2002
    is_the_page_again(post(ferry, path, **more))


@pytest.mark.parametrize(
    ("path", "field", "value", "sentence"),
    [
        ("/observations", "help", "gold", "Choose what is listed here."),
        ("/facts", "attendance", "asleep", "This must be"),
        ("/facts", "kind", "pair", "This must be"),
        ("/plan/items", "position", "upside_down", "Choose what is listed here."),
        ("/plan/items", "tool", "banana", "Choose what is listed here."),
        ("/plan/items", "step", "colour:7", "This task has no such step."),
    ],
)
def test_what_a_select_does_not_offer_is_refused_beside_it(
    practice: Practice, path: str, field: str, value: str, sentence: str
) -> None:
    sent = usual(path) | {field: value}
    answer = post(practice.desk("ferry"), at(practice, path), **sent)
    is_the_page_again(answer)
    after = re.compile(
        rf'<select[^>]* name="{field}".*?</select>\s*<p class="note alarm"[^>]*>([^<]*)', re.S
    )
    (said,) = after.findall(answer.text)
    assert unescape(said).startswith(sentence)


@pytest.mark.parametrize(
    ("field", "sent"), [("hands", ["left", "third"]), ("directions", ["left_to_right", "sideways"])]
)
def test_a_choice_beside_those_of_the_task_is_not_left_out_silently(
    practice: Practice, field: str, sent: list[str]
) -> None:
    answer = add_cells(practice.desk("ferry"), at(practice, "/plan/items"), **{field: sent})
    is_the_page_again(answer)
    assert "Choose what is listed here." in text_of(answer)
    assert plan_of(practice)["version"] == 1


@pytest.mark.parametrize("path", [*FORMS, "/plan/same-as-last"])
def test_a_form_that_is_not_offered_any_more_says_why_it_is_refused(
    practice: Practice, path: str
) -> None:
    signed(practice)
    ferry = practice.desk("ferry")
    kept(post(ferry, at(practice, "/close")), "content")
    for more in ({"seed": "x", "minutes": "x", "started": "x", "based_on": "x"}, {}):
        sent = {"based_on": "1"} | usual(path if path in FORMS else "/facts") | more
        is_the_page_again(post(ferry, at(practice, path), **sent))


@pytest.mark.parametrize(
    ("path", "field", "name"),
    [
        ("/facts", "place", "facts"),
        ("/facts", "attendance", "facts"),
        ("/plan/items", "seed", "add"),
        ("/plan/items", "tool", "add"),
        ("/observations", "remark", "activity"),
        ("/observations", "help", "activity"),
    ],
)
def test_a_field_is_told_with_its_sentence_and_the_sentence_is_gone_to(
    practice: Practice, path: str, field: str, name: str
) -> None:
    sent = usual(path) | {field: LONG}
    answer = post(practice.desk("ferry"), at(practice, path), **sent)
    place = f"{name}-{field}-trouble"
    (tag,) = re.findall(
        rf'<(?:input|select)[^>]* name="{field}"[^>]*aria-invalid[^>]*>', answer.text
    )
    assert f'aria-describedby="{place}"' in tag
    assert re.findall(r'<p [^>]*id="([^"]+)"[^>]* autofocus>', answer.text) == [place]
