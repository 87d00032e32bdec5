"""After signing in again one is where one was; the way back leads to pages of ours only."""

import re
from html import unescape
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from server.routes_accounts import NEEDS_CODE, WRONG
from server.way_back import MOST_LETTERS, page_of_ours, pages_of
from tests.accounts import browser, rows
from tests.practice import ORIGIN, PASSPHRASE, Practice

ID = "00000000-0000-4000-8000-000000000001"
CREDENTIALS = {"name": "ferry", "passphrase": PASSPHRASE}


def led_to(answer: Any) -> str:
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def signed_in_with_the_form(client: TestClient, address: str, **typed: str) -> Any:
    """Fill in the form of the first page as a browser does."""
    text = client.get(address).text
    hidden = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', text))
    sent = {name: unescape(value) for name, value in hidden.items()}
    return client.post("/sign-in", data=sent | CREDENTIALS | typed)


@pytest.mark.parametrize("page", ["", "/note", "/family"])
def test_the_page_that_was_asked_for_comes_after_the_sign_in(practice: Practice, page: str) -> None:
    client, asked = browser(practice), f"/sessions/{practice.ids['Gull session']}{page}"
    first = led_to(client.get(asked))
    assert first == f"/?next={asked}"
    assert "The page that you asked for comes after it." in client.get(first).text
    assert led_to(signed_in_with_the_form(client, first)) == asked
    assert client.get(asked).status_code == 200
    # Whoever is signed in already goes on at once.
    assert led_to(client.get(first)) == asked


def test_a_query_is_left_behind_it_may_say_what_is_not_so(practice: Practice) -> None:
    client = browser(practice)
    asked = f"/owner/accounts/{practice.ids['ferry']}"
    assert led_to(client.get(f"{asked}?done=ended")) == f"/?next={asked}"


@pytest.mark.parametrize(
    ("posted", "stood_on", "back"),
    [
        ("/sessions/{s}/facts", "/sessions/{s}", "/sessions/{s}"),
        ("/sessions/{s}/facts", "/sessions/{s}?task=high-bridge", "/sessions/{s}"),
        # A page that was shown again after a refusal has the address of its form.
        ("/sessions/{s}/plan/items", "/sessions/{s}/plan/items", "/sessions/{s}"),
        ("/children/{c}/sessions", "/caseload", "/caseload"),
        ("/children/{c}/sessions", None, "/children/{c}"),
        ("/pairing-code", "/caseload", "/caseload"),
        ("/sessions/{s}/begin", "http://elsewhere.example/caseload", "/sessions/{s}"),
        ("/sessions/{s}/begin", "//[", "/sessions/{s}"),
    ],
)
def test_a_form_leads_back_to_the_page_that_it_stood_on(
    practice: Practice, posted: str, stood_on: str | None, back: str
) -> None:
    ids = {"s": practice.ids["Gull session"], "c": practice.ids["Gull"]}
    headers = {}
    if stood_on is not None:
        is_ours = stood_on.startswith("/") and not stood_on.startswith("//")
        headers["Referer"] = f"{ORIGIN['Origin'] if is_ours else ''}{stood_on}".format(**ids)
    answer = browser(practice).post(posted.format(**ids), headers=headers)
    assert led_to(answer) == f"/?next={back}&lost".format(**ids)


def test_a_form_without_any_page_leads_to_the_sign_in_alone(practice: Practice) -> None:
    assert led_to(browser(practice).post("/pairing-code")) == "/?lost"


def test_what_no_page_is_leads_to_the_page_above_it(practice: Practice) -> None:
    session, client = f"/sessions/{practice.ids['Gull session']}", browser(practice)
    for file in ("/live", "/note.pdf"):
        assert led_to(client.get(session + file)) == f"/?next={session}"


def test_no_address_of_ours_is_too_long_to_be_looked_at() -> None:
    from server.app import ROUTERS

    forms = {
        re.sub(r"\{\w+\}", ID, route.path)
        for router in ROUTERS
        for route in router.routes
        if isinstance(route, APIRoute)
    }
    assert len(forms) > 100
    assert max(map(len, forms)) <= MOST_LETTERS


class Counted:
    """What asks a pattern, and how many letters it was given."""

    def __init__(self, pages: re.Pattern[str]) -> None:
        self.pages = pages
        self.letters = 0

    def fullmatch(self, text: str) -> re.Match[str] | None:
        self.letters += len(text)
        return self.pages.fullmatch(text)


@pytest.mark.parametrize("long", ["/" * 60_000, "/caseload" + "/x" * 30_000])
def test_a_long_referer_costs_nothing_and_leads_to_what_was_asked_for(
    practice: Practice, long: str
) -> None:
    session = f"/sessions/{practice.ids['Gull session']}"
    state = practice.app.state
    state.pages = Counted(state.pages)
    headers = {"Referer": f"{ORIGIN['Origin']}{long}"}
    answer = browser(practice).post(f"{session}/facts", headers=headers)
    assert led_to(answer) == f"/?next={session}&lost"
    # [C] Only the address of the form and the page above it were looked at.
    assert state.pages.letters == len(f"{session}/facts") + len(session)


FOREIGN = (
    "http://elsewhere.example/caseload",
    "//elsewhere.example",
    "//elsewhere.example/caseload",
    "///caseload",
    "/\\elsewhere.example",
    "\\\\elsewhere.example",
    "javascript:alert(1)",
    "caseload",
    "/caseload\n",
    "/caseload\r\nLocation: http://elsewhere.example",
    "/caseload?next=//elsewhere.example",
    "/caseload#x",
    "/caseload/",
    "/caseload/..//elsewhere.example",
    "/%2fcaseload",
    "/children/Gull",
    "/children/BW-91",
    f"/children/{ID}/Gull",
    f"/sessions/{ID}/live",
    f"/sessions/{ID}/note.pdf",
    "/no-such-page",
    "/api/account",
    "/join",
    "/tablet",
    "/",
    "",
    "x" * 9000,
)


def test_no_other_address_is_gone_to(practice: Practice) -> None:
    out, client = browser(practice), browser(practice)
    for wanted in FOREIGN:
        shown = out.get("/", params={"next": wanted})
        assert shown.status_code == 200
        assert 'name="next"' not in shown.text, wanted
        assert led_to(client.post("/sign-in", data=CREDENTIALS | {"next": wanted})) == "/caseload"
        assert led_to(client.get("/", params={"next": wanted})) == "/caseload", wanted


def test_of_two_the_last_one_is_taken_and_looked_at(practice: Practice) -> None:
    client = browser(practice)
    for first, last, left in (("/queue", "//elsewhere.example", []), ("//x", "/queue", ["/queue"])):
        shown = client.get(f"/?next={first}&next={last}").text
        assert re.findall(r'name="next" value="([^"]*)"', shown) == left


def test_a_page_of_another_role_is_not_gone_to(practice: Practice) -> None:
    for name, wanted, home in (
        ("purser", "/caseload", "/owner"),
        ("ferry", "/owner/settings", "/caseload"),
        ("beacon", f"/sessions/{ID}", "/export"),
        ("ferry", "/export", "/caseload"),
        ("beacon", "/account", "/account"),
        ("purser", "/owner/settings", "/owner/settings"),
    ):
        sent = {"name": name, "passphrase": PASSPHRASE, "next": wanted}
        assert led_to(browser(practice).post("/sign-in", data=sent)) == home


def test_every_page_fits_its_own_address_and_no_form_does() -> None:
    from server.app import ROUTERS

    pages = pages_of(ROUTERS)
    for page in ("/caseload", "/account", f"/trials/{ID}", f"/trials/{ID}/beside/{ID}"):
        assert page_of_ours(pages, page) == page
    for form in ("/sign-in", "/pairing-code", f"/sessions/{ID}/facts", f"/trials/{ID}/marks"):
        assert page_of_ours(pages, form) is None


def test_the_address_of_the_form_typed_by_hand_leads_to_the_sign_in(practice: Practice) -> None:
    for client, home in ((browser(practice), None), (practice.desk("ferry"), "/caseload")):
        assert led_to(client.get("/sign-in", follow_redirects=False)) == "/"
        first = client.get("/", follow_redirects=False)
        assert first.status_code == (303 if home else 200)
        assert first.headers.get("location") == home
    # It is no page to come back to.
    assert 'name="next"' not in browser(practice).get("/", params={"next": "/sign-in"}).text


def test_a_wrong_pass_phrase_leaves_the_name_typed_and_the_way_back(practice: Practice) -> None:
    client = browser(practice)
    typed = {"name": 'ferry <"two">', "passphrase": "not the one", "next": "/queue"}
    answer = client.post("/sign-in", data=typed)
    assert answer.status_code == 401
    assert WRONG in answer.text
    assert 'value="ferry &lt;&#34;two&#34;&gt;"' in answer.text
    assert '<input type="hidden" name="next" value="/queue">' in answer.text
    # Nothing of the pass-phrase is shown, and it is where one goes on typing.
    assert "not the one" not in answer.text
    assert re.findall(r'<input id="(\w+)"[^>]* autofocus', answer.text) == ["passphrase"]
    assert re.findall(r'<input id="(\w+)"[^>]* autofocus', client.get("/").text) == ["name"]


def test_a_code_is_asked_for_with_the_name_still_there(practice: Practice) -> None:
    client = browser(practice)
    rows(
        practice,
        "UPDATE account SET second_factor = ?, second_factor_since = ? WHERE name = 'ferry'",
        "JBSWY3DPEHPK3PXP",
        "2026-03-03 11:00:00",
    )
    answer = client.post("/sign-in", data=CREDENTIALS | {"next": "/queue"})
    assert answer.status_code == 401
    assert NEEDS_CODE in unescape(answer.text)
    assert 'name="name" value="ferry"' in answer.text
    assert 'name="next" value="/queue"' in answer.text


@pytest.mark.parametrize(
    "typed",
    [
        {},
        {"name": "ferry"},
        {"passphrase": PASSPHRASE},
        {"name": "f" * 5000, "passphrase": "p" * 5000, "code": "1" * 5000},
    ],
)
def test_what_can_be_nobodys_is_refused_on_the_same_page(
    practice: Practice, typed: dict[str, str]
) -> None:
    answer = browser(practice).post("/sign-in", data=typed)
    assert answer.status_code == 401
    assert WRONG in answer.text
    assert 'action="/sign-in"' in answer.text


def test_the_log_and_the_audit_know_no_address_of_the_way_back(
    practice: Practice, caplog: pytest.LogCaptureFixture
) -> None:
    client, asked = browser(practice), f"/sessions/{practice.ids['Gull session']}"
    signed_in_with_the_form(client, led_to(client.get(asked)))
    lines = [str(vars(record)) for record in caplog.records if record.name == "linnet"]
    assert lines
    assert not [line for line in lines if practice.ids["Gull session"] in line]


def test_the_page_with_what_was_typed_leads_back_too(practice: Practice) -> None:
    path = f"/sessions/{practice.ids['Gull session']}/note"
    answer = browser(practice).post(path, data={"objective": "Followed the quay. " * 9})
    assert answer.status_code == 401
    (link,) = re.findall(r'href="([^"]+)" target="_blank" rel="noopener">Sign in</a>', answer.text)
    assert parse_qs(urlsplit(link).query) == {"next": [path]}
