"""Texts are not lost when the sign-in has ended before they were sent."""

import re
from uuid import uuid4

from fastapi.testclient import TestClient

from tests.practice import ORIGIN, Practice

TEXT = "Followed the quay both ways, <slowly> & with a rest after the bell rang in the hall."
NOT_STORED = "nothing of what you sent was stored"
NOTE = {"based_on": "0", "subjective": "", "objective": TEXT, "assessment": "", "plan": ""}


def test_what_was_typed_is_shown_and_not_stored(practice: Practice) -> None:
    desk = practice.desk("ferry")
    path = f"/sessions/{practice.ids['Gull session']}/note"
    desk.post("/sign-out")
    answer = desk.post(path, data=NOTE | {"do": "save"})
    assert answer.status_code == 401
    assert "Nothing was stored." in answer.text
    assert "Followed the quay both ways, &lt;slowly&gt; &amp; with a rest" in answer.text
    assert "<h2>Objective</h2>" in answer.text
    assert "Based on" not in answer.text
    assert answer.headers["cache-control"] == "no-store"
    stored = practice.desk("ferry").get(f"/api{path}").json()
    assert (stored["revision"], TEXT in str(stored)) == (0, False)


def test_a_short_text_is_shown_too(practice: Practice) -> None:
    nobody = TestClient(practice.app, headers=ORIGIN, follow_redirects=False)
    path = f"/sessions/{practice.ids['Gull session']}"
    more = {"id": str(uuid4()), "what": "activity", "help": "minimal", "remark": ""}
    sent = more | {"activity": "Net", "minutes": "5"}
    answer = nobody.post(f"{path}/observations", data=sent)
    assert answer.status_code == 401
    assert "Nothing was stored." in answer.text
    found = re.findall(r"<h2>(.*?)</h2>\s*<p class=\"typed\">(.*?)</p>", answer.text)
    assert found == [("Activity", "Net"), ("Minutes", "5")]
    assert f'href="/?next={path}"' in answer.text


def test_without_any_text_the_way_leads_to_the_sign_in_which_says_that_nothing_was_stored(
    practice: Practice,
) -> None:
    nobody = TestClient(practice.app, headers=ORIGIN, follow_redirects=False)
    path = f"/sessions/{practice.ids['Gull session']}/note"
    empty = nobody.post(path, data=NOTE | {"objective": "", "do": "save"})
    assert (empty.status_code, empty.headers["location"]) == (303, f"/?next={path}&lost")
    assert NOT_STORED in nobody.get(empty.headers["location"]).text
    assert NOT_STORED not in nobody.get(nobody.get(path).headers["location"]).text
    kinds = ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x")
    for kind in kinds:
        other = nobody.post(path, content=b"\xff=&--x" * 20, headers={"content-type": kind})
        assert other.status_code in (303, 400), kind
    begin = path.replace("/note", "/begin")
    assert nobody.post(begin, content=b"--x", headers={"content-type": kinds[2]}).status_code == 303
    assert nobody.get(path).status_code == 303
    assert nobody.post(f"/api{path}/sign", json={"based_on": 0}).status_code == 401


def test_no_pass_phrase_is_shown_again(practice: Practice) -> None:
    nobody = TestClient(practice.app, headers=ORIGIN, follow_redirects=False)
    for path, names in (("passphrase", ("old", "new")), ("second-factor", ("passphrase",))):
        answer = nobody.post(f"/account/{path}", data=dict.fromkeys(names, TEXT))
        assert (answer.status_code, answer.headers["location"]) == (303, "/?next=/account&lost")
        assert answer.text == ""
