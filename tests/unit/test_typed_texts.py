"""What was typed in a form that was not taken is shown once more, and nothing else of the form."""

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode
from uuid import uuid4

import pytest

import web
from server.typed_texts import NOT_TYPED, SECRETS, typed_of
from tests.practice import Practice, drawn
from tests.problem_form import assert_problem
from tests.unit.test_page_session import post, text_of

PAGES = Path(web.__file__).parent / "desk"
# Typed on one page, chosen on another.
BOTH = {"position"}


def fields() -> dict[str, set[str]]:
    """Return how each field of the pages is filled in, by its name."""
    found: dict[str, set[str]] = {}
    for path in PAGES.glob("*.html"):
        for tag, rest in re.findall(r"<(input|textarea|select|button)\b([^>]*)>", path.read_text()):
            name = re.search(r'\bname="(\w+)"', rest)
            kind = re.search(r'\btype="(\w+)"', rest)
            if name is not None:
                how = kind[1] if kind is not None and tag == "input" else tag
                found.setdefault(name[1], set()).add(how)
    return found


def test_every_field_of_a_page_is_typed_chosen_or_secret() -> None:
    found = fields()
    assert len(found) > 40
    for name, how in found.items():
        is_typed = bool(how & {"input", "textarea", "time", "number", "text", "date"})
        if "password" in how or name in SECRETS:
            assert name in SECRETS
        elif name not in BOTH:
            assert (name in NOT_TYPED) is not is_typed, (name, how)


def test_ids_secrets_and_what_was_chosen_are_not_shown() -> None:
    form = {
        "passphrase": "a rope in the rain",
        "help": "minimal",
        "what": "rest",
        "x": str(uuid4()),
    }
    assert typed_of(form.items()) == []
    assert typed_of([*form.items(), ("why", "to\0o loud"), ("minutes", "0,5")]) == [
        ("Why", "too loud"),
        ("Minutes", "0,5"),
    ]


@pytest.mark.parametrize("accept", ["text/html", "application/json"])
def test_whoever_lost_the_child_while_writing_keeps_the_own_words_and_sees_no_more(
    practice: Practice, accept: str
) -> None:
    lantern, ids = practice.desk("lantern"), practice.ids
    path = f"/sessions/{ids['Gull session']}"
    sent = {"id": str(uuid4()), "what": "words", "kind": "remark", "text": "Held <tight>."}
    lantern.headers["accept"] = accept
    answer = post(lantern, f"{path}/observations", **sent)
    assert answer.status_code == 404
    is_page = accept == "text/html"
    assert ("Nothing of what you sent was stored." in text_of(answer)) is is_page
    assert ("Held &lt;tight&gt;." in answer.text) is is_page
    assert sent["id"] not in answer.text
    assert "Nothing of what you sent" not in lantern.get(path).text
    found = practice.desk("ferry").get(f"/api{path}/observations").json()
    assert found == {"observations": []}


def test_a_page_that_does_not_exist_takes_no_form_and_says_so(practice: Practice) -> None:
    tree = drawn()
    ferry = practice.desk("ferry")
    ferry.headers["accept"] = "text/html"
    answer = post(ferry, f"/trials/{tree['trial_id']}/voids", voided="yes", reason="Not hers.")
    assert answer.status_code == 404
    assert "Not hers." in answer.text
    assert "Nothing of what you sent was stored." in text_of(answer)


SHORTER = "Go back to the form and write it shorter, or send it in several parts."


def chunks(body: bytes) -> Iterator[bytes]:
    yield from (body[at : at + 8192] for at in range(0, len(body), 8192))


def test_a_form_that_is_too_long_says_what_to_do_and_shows_what_was_typed(
    practice: Practice,
) -> None:
    ferry, path = practice.desk("ferry"), f"/sessions/{practice.ids['Gull session']}"
    ferry.headers["accept"] = "text/html"
    words = "Held <tight>. " * 8000
    sent = {"id": str(uuid4()), "what": "words", "kind": "remark", "text": words}
    answer = post(ferry, f"{path}/observations", **sent)
    assert answer.status_code == 413
    assert SHORTER in text_of(answer)
    assert "What you typed stands here" in answer.text
    assert answer.text.count("Held &lt;tight&gt;. ") == 8000
    assert sent["id"] not in answer.text
    # What is beyond all reading is not read, and what does not say its length is cut off.
    beyond = post(ferry, f"{path}/observations", **sent | {"text": words * 10})
    streamed = ferry.post(
        f"{path}/observations",
        content=chunks(urlencode(sent).encode()),
        headers={"content-type": "application/x-www-form-urlencoded"},
    )
    for one in (beyond, streamed):
        assert one.status_code == 413
        assert SHORTER in text_of(one)
        assert "Held" not in one.text
    found = practice.desk("ferry").get(f"/api{path}/observations").json()
    assert found == {"observations": []}


def test_no_secret_of_a_form_that_is_too_long_is_shown(practice: Practice) -> None:
    practice.client.headers["accept"] = "text/html"
    sent = {"name": "ferry", "passphrase": "rope " * 20_000}
    answer = post(practice.client, "/sign-in", **sent)
    assert answer.status_code == 413
    assert SHORTER in text_of(answer)
    assert "ferry" in answer.text
    assert "rope" not in answer.text


def test_doors_for_programs_say_in_their_own_form_that_a_body_is_too_large(
    practice: Practice,
) -> None:
    ferry, path = practice.desk("ferry"), f"/api/sessions/{practice.ids['Gull session']}"
    ferry.headers["accept"] = "text/html,application/json"
    body = {"id": str(uuid4()), "kind": "remark", "text": "Held tight. " * 8000}
    refused = assert_problem(ferry.post(f"{path}/observations", json=body), 413)
    assert "Held" not in str(refused)
    # So does the door of a form, to whoever does not look at pages.
    ferry.headers["accept"] = "application/json"
    sent = {"id": str(uuid4()), "what": "words", "text": "Held tight. " * 8000}
    door = path.removeprefix("/api")
    assert_problem(ferry.post(f"{door}/observations", data=sent), 413)
    # Of a page of another site nothing is read, however long it is.
    foreign = ferry.post(f"{door}/observations", data=sent, headers={"origin": "https://x.example"})
    assert_problem(foreign, 403)
