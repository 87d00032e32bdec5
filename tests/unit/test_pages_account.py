"""The page of one's own account: pass-phrase, second factor, signing out."""

import re
from typing import Any

import pyotp
import pytest
from fastapi.testclient import TestClient

from server.passphrases import TOO_SHORT
from server.routes_desk_account import EMPTY
from server.routes_own_account import NOT_YOURS, WRONG_CODE
from tests.accounts import NEW_PASSPHRASE, audited, browser, is_in, rows, sign_in
from tests.practice import PASSPHRASE, Practice

PROOF = {"passphrase": PASSPHRASE}


def desk(practice: Practice, name: str = "ferry") -> TestClient:
    client = practice.desk(name)
    client.follow_redirects = False
    return client


def begun(client: TestClient) -> str:
    """Begin to set up a second factor; the secret that the page shows."""
    answer = client.post("/account/second-factor", data=PROOF)
    assert answer.status_code == 200
    (groups,) = re.findall(r'<strong class="once">([A-Z2-7 ]+)</strong>', answer.text)
    assert "data:image/svg+xml" in answer.text
    return str(groups).replace(" ", "")


def code(practice: Practice, secret: str) -> dict[str, str]:
    return {"code": pyotp.TOTP(secret).at(practice.clock.now)}


@pytest.mark.parametrize("name", ["ferry", "harbour", "beacon", "purser"])
def test_everybody_reaches_their_account_from_the_head_of_a_page(
    practice: Practice, name: str
) -> None:
    client = practice.desk(name)
    assert (
        f'<a href="/account" aria-label="Your account, {name}">{name}</a>' in client.get("/").text
    )
    shown = client.get("/account").text
    assert f"<dt>Name</dt><dd>{name}</dd>" in shown
    assert ('name="tablets"' in shown) is (name in ("ferry", "harbour"))


def test_whoever_is_not_signed_in_is_led_to_the_start(practice: Practice) -> None:
    assert browser(practice).get("/account").headers["location"] == "/?next=/account"


def test_the_passphrase_is_changed_and_other_browsers_are_signed_out(practice: Practice) -> None:
    client, other = desk(practice), desk(practice)
    form = {"old": PASSPHRASE, "new": NEW_PASSPHRASE}
    answer = client.post("/account/passphrase", data=form)
    assert answer.headers["location"] == "/account?done=passphrase"
    assert "Your pass-phrase was changed." in client.get("/account?done=passphrase").text
    assert not is_in(other)
    assert sign_in(practice, "ferry").status_code == 401
    assert sign_in(practice, "ferry", NEW_PASSPHRASE).status_code == 200


@pytest.mark.parametrize(
    ("form", "where", "why"),
    [
        ({"old": "a rope and no kite", "new": NEW_PASSPHRASE}, "old", NOT_YOURS),
        ({"old": PASSPHRASE, "new": "a mole"}, "new", TOO_SHORT),
        ({"old": PASSPHRASE}, "new", EMPTY),
        ({"new": NEW_PASSPHRASE}, "old", EMPTY),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_no_passphrase_comes_back(
    practice: Practice, form: dict[str, str], where: str, why: str
) -> None:
    answer = desk(practice).post("/account/passphrase", data=form)
    assert answer.status_code == 422
    assert f'role="alert" id="{where}-trouble">{why}</p>' in answer.text
    assert f'aria-describedby="{where}-trouble' in answer.text
    assert not [typed for typed in form.values() if f'"{typed}"' in answer.text]
    assert sign_in(practice, "ferry").status_code == 200


def test_guessing_the_passphrase_is_stopped(practice: Practice) -> None:
    client = desk(practice)
    form = {"old": "a rope and no kite", "new": NEW_PASSPHRASE}
    statuses = [client.post("/account/passphrase", data=form).status_code for _ in range(11)]
    assert statuses == [422] * 10 + [429]


def test_a_second_factor_is_set_up_asked_for_and_taken_off(practice: Practice) -> None:
    client = desk(practice)
    secret = begun(client)
    answer = client.post("/account/second-factor/on", data=code(practice, secret))
    assert answer.headers["location"] == "/account?done=on"
    assert "<dt>Second factor</dt><dd>on</dd>" in client.get("/account").text
    assert sign_in(practice, "ferry").status_code == 401
    practice.clock.move(minutes=2)
    assert sign_in(practice, "ferry", **code(practice, secret)).status_code == 200
    practice.clock.move(minutes=2)
    form = PROOF | code(practice, secret)
    answer = client.post("/account/second-factor/off", data=form)
    assert answer.headers["location"] == "/account?done=off"
    assert sign_in(practice, "ferry").status_code == 200
    verbs = [verb for _, verb, _ in audited(practice, "second_factor")]
    assert verbs == ["set_up", "turned_on", "turned_off"]


def test_the_secret_is_shown_once_and_only_to_whoever_knows_the_passphrase(
    practice: Practice,
) -> None:
    client = desk(practice)
    wrong = client.post("/account/second-factor", data={"passphrase": "a rope and no kite"})
    assert wrong.status_code == 422
    assert NOT_YOURS in wrong.text
    assert "data:image/svg+xml" not in wrong.text
    secret = begun(client)
    answers: list[Any] = [
        client.get("/account"),
        client.post("/account/second-factor/on", data={"code": "000000"}),
        client.post("/account/second-factor/on", data={}),
    ]
    assert [one.status_code for one in answers] == [200, 422, 422]
    assert WRONG_CODE in answers[1].text
    for one in answers:
        assert secret not in one.text.replace(" ", "")
        assert "data:image/svg+xml" not in one.text
        assert "Begin again with another secret" in one.text


def test_the_second_factor_is_not_taken_off_without_both(practice: Practice) -> None:
    client = desk(practice)
    secret = begun(client)
    client.post("/account/second-factor/on", data=code(practice, secret))
    practice.clock.move(minutes=2)
    for form in (PROOF, PROOF | {"code": "000000"}, code(practice, secret)):
        assert client.post("/account/second-factor/off", data=form).status_code == 422
    query = "SELECT second_factor_since IS NOT NULL FROM account WHERE name = 'ferry'"
    assert rows(practice, query) == [(1,)]


def test_a_second_factor_that_is_on_is_not_begun_again(practice: Practice) -> None:
    client = desk(practice)
    client.post("/account/second-factor/on", data=code(practice, begun(client)))
    answer = client.post("/account/second-factor", data=PROOF)
    assert answer.status_code == 409
    assert "The second factor is on." in answer.text


@pytest.mark.parametrize(("form", "status"), [({}, 200), ({"tablets": "yes"}, 401)])
def test_signing_out_everywhere_ends_browsers_and_tablets_if_wanted(
    practice: Practice, form: dict[str, str], status: int
) -> None:
    client, other, tablet = desk(practice), desk(practice), practice.tablet()
    answer = client.post("/account/sign-out-everywhere", data=form)
    assert answer.headers["location"] == "/"
    assert not is_in(client)
    assert not is_in(other)
    assert tablet.get("/api/tablet/day").status_code == status


@pytest.mark.parametrize(
    ("form", "field", "most"),
    [
        ("passphrase", "old", 1000),
        ("passphrase", "new", 1000),
        ("second-factor", "passphrase", 1000),
        ("second-factor/on", "code", 20),
    ],
)
def test_what_is_far_too_long_is_refused_on_the_page_and_not_shown(
    practice: Practice, form: str, field: str, most: int
) -> None:
    client, long = desk(practice), "k" * 5000
    begun(client)
    fields = {"old": PASSPHRASE, "new": NEW_PASSPHRASE, "passphrase": PASSPHRASE, "code": "123456"}
    answer = client.post(f"/account/{form}", data=fields | {field: long})
    assert answer.status_code == 422
    assert f"it has at most {most} characters." in answer.text
    assert long not in answer.text
