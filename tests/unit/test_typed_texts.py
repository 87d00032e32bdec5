"""What was typed in a form that was not taken is shown once more, and nothing else of the form."""

import re
from pathlib import Path
from uuid import uuid4

import pytest

import web
from server.typed_texts import NOT_TYPED, SECRETS, typed_of
from tests.practice import Practice, drawn
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
