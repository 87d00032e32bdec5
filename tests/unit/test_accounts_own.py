"""What everybody does with their own account, and the second factor."""

from functools import partial
from typing import Any
from urllib.parse import unquote

import pyotp
import pytest
from fastapi.testclient import TestClient

from server import second_factor
from server.auth import CODES_PER_NAME, TRIES_PER_NAME, Throttle
from server.routes_accounts import NEEDS_CODE, WRONG_CODE
from tests.accounts import NEW_PASSPHRASE, at_once, audited, browser, is_in, rows, sent, sign_in
from tests.practice import NOON, PASSPHRASE, Practice, drawn
from tests.problem_form import assert_problem

# [P] RFC 6238, appendix B, SHA-1 rows: time in seconds and the code's last six of eight digits.
RFC_6238 = [
    (59, "287082"),
    (1111111109, "081804"),
    (1111111111, "050471"),
    (1234567890, "005924"),
    (2000000000, "279037"),
    (20000000000, "353130"),
]
RFC_SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # [P] "12345678901234567890" in base 32


def code_at(practice: Practice, secret: str, **beside: float) -> str:
    """What a phone shows, whose clock may be a little off."""
    practice.clock.move(**beside)
    code = pyotp.TOTP(secret).at(practice.clock.now)
    practice.clock.move(**{unit: -size for unit, size in beside.items()})
    return code


def wrong_code(right: str) -> str:
    return f"{(int(right) + 1) % 1_000_000:06}"


def turned_on(practice: Practice, client: TestClient) -> str:
    """Set up the second factor; its next code can be used at once."""
    begun = client.post("/api/account/second-factor", json={"passphrase": PASSPHRASE})
    assert begun.status_code == 201
    secret: str = begun.json()["secret"]
    code = code_at(practice, secret)
    assert client.put("/api/account/second-factor", json={"code": code}).status_code == 204
    practice.clock.move(seconds=30)
    return secret


# Codes


@pytest.mark.parametrize(("at_s", "code"), RFC_6238)
def test_the_codes_are_those_of_the_standard(at_s: int, code: str) -> None:
    from datetime import UTC, datetime

    now = datetime.fromtimestamp(at_s, UTC)
    assert second_factor.step_of(RFC_SECRET, code, now, None) == at_s // 30
    assert second_factor.step_of(RFC_SECRET, wrong_code(code), now, None) is None


@pytest.mark.parametrize(
    ("steps", "counts"), [(-2, False), (-1, True), (0, True), (1, True), (2, False)]
)
def test_a_clock_may_be_one_step_off_either_way(steps: int, counts: bool) -> None:
    present = int(NOON.timestamp()) // 30
    code = pyotp.TOTP(RFC_SECRET).generate_otp(present + steps)
    found = second_factor.step_of(RFC_SECRET, code, NOON, None)
    assert found == (present + steps if counts else None)
    assert second_factor.step_of(RFC_SECRET, code, NOON, present + steps) is None


@pytest.mark.parametrize("code", ["", "12345", "1234567", "۱۲۳۴۵۶", "abcdef", "é"])
def test_what_is_no_code_is_wrong(code: str) -> None:
    assert second_factor.step_of(RFC_SECRET, code, NOON, None) is None


def test_a_secret_has_160_random_bits() -> None:
    one, other = second_factor.new_secret(), second_factor.new_secret()
    assert one != other
    assert len(one) == 32  # [C] 160 bits / 5 bits a letter


# Setting it up


def test_the_second_factor_is_on_only_after_a_code_was_shown(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    begun = ferry.post("/api/account/second-factor", json={"passphrase": PASSPHRASE})
    secret = begun.json()["secret"]
    uri = unquote(begun.json()["uri"])
    assert uri.startswith("otpauth://totp/Linnet:ferry?")
    assert f"secret={secret}" in uri
    assert ferry.get("/api/account").json()["second_factor"] is False
    assert sign_in(practice, "ferry").status_code == 200
    wrong = {"code": wrong_code(code_at(practice, secret))}
    assert_problem(ferry.put("/api/account/second-factor", json=wrong), 422, "/code")
    right = {"code": code_at(practice, secret)}
    assert ferry.put("/api/account/second-factor", json=right).status_code == 204
    assert ferry.get("/api/account").json()["second_factor"] is True
    assert audited(practice, "second_factor") == [
        ("ferry", "set_up", "ferry"),
        ("ferry", "turned_on", "ferry"),
    ]


def test_setting_it_up_takes_the_pass_phrase_and_goes_one_way(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    path = "/api/account/second-factor"
    assert_problem(ferry.put(path, json={"code": "123456"}), 409)
    assert_problem(ferry.post(path, json={"passphrase": "wrong"}), 422, "/passphrase")
    assert_problem(
        ferry.post(f"{path}/off", json={"passphrase": PASSPHRASE, "code": "123456"}), 409
    )
    secret = turned_on(practice, ferry)
    assert_problem(ferry.post(path, json={"passphrase": PASSPHRASE}), 409)
    assert_problem(ferry.put(path, json={"code": code_at(practice, secret)}), 409)
    assert rows(practice, "SELECT second_factor FROM account WHERE name = 'ferry'") == [(secret,)]


def test_it_is_taken_off_with_pass_phrase_and_code(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    secret = turned_on(practice, ferry)
    path = "/api/account/second-factor/off"
    code = code_at(practice, secret)
    wrong = {"passphrase": "wrong", "code": code}
    assert_problem(ferry.post(path, json=wrong), 422, "/passphrase")
    wrong = {"passphrase": PASSPHRASE, "code": wrong_code(code)}
    assert_problem(ferry.post(path, json=wrong), 422, "/code")
    right = {"passphrase": PASSPHRASE, "code": code}
    assert ferry.post(path, json=right).status_code == 204
    assert sign_in(practice, "ferry").status_code == 200
    query = (
        "SELECT second_factor, second_factor_since, second_factor_step FROM account "
        "WHERE name = 'ferry'"
    )
    assert rows(practice, query) == [(None, None, None)]


# Signing in with it


def test_signing_in_then_takes_a_code_as_well(practice: Practice) -> None:
    secret = turned_on(practice, practice.desk("ferry"))
    missing = assert_problem(sign_in(practice, "ferry"), 401, "/code")
    assert missing["detail"] == NEEDS_CODE
    code = code_at(practice, secret)
    wrong = sign_in(practice, "ferry", code=wrong_code(code))
    assert assert_problem(wrong, 401, "/code")["detail"] == WRONG_CODE
    assert sign_in(practice, "ferry", code=f" {code[:3]} {code[3:]} ").status_code == 200
    assert sign_in(practice, "harbour").status_code == 200


def test_whoever_lacks_the_pass_phrase_hears_nothing_of_a_second_factor(
    practice: Practice,
) -> None:
    secret = turned_on(practice, practice.desk("ferry"))
    code = code_at(practice, secret)
    told = assert_problem(sign_in(practice, "ferry", "wrong", code=code), 401)
    assert told == assert_problem(sign_in(practice, "nobody", "wrong", code=code), 401)
    assert told["errors"] == []
    assert sign_in(practice, "ferry", code=code).status_code == 200


def test_a_code_counts_once_and_so_does_every_one_before_it(practice: Practice) -> None:
    secret = turned_on(practice, practice.desk("ferry"))
    practice.clock.move(minutes=2)
    before, code = code_at(practice, secret, seconds=-30), code_at(practice, secret)
    assert sign_in(practice, "ferry", code=code).status_code == 200
    assert_problem(sign_in(practice, "ferry", code=code), 401, "/code")
    assert_problem(sign_in(practice, "ferry", code=before), 401, "/code")
    after = code_at(practice, secret, seconds=30)
    assert sign_in(practice, "ferry", code=after).status_code == 200


def test_the_code_that_turned_it_on_does_not_sign_in(practice: Practice) -> None:
    secret = turned_on(practice, practice.desk("ferry"))
    first = code_at(practice, secret, seconds=-30)
    assert_problem(sign_in(practice, "ferry", code=first), 401, "/code")


def test_of_two_sign_ins_with_one_code_at_once_one_gets_in(practice: Practice) -> None:
    secret = turned_on(practice, practice.desk("ferry"))
    for _ in range(4):
        code = code_at(practice, secret)
        calls = [partial(sign_in, practice, "ferry", code=code)] * 3
        assert sorted(answer.status_code for answer in at_once(calls)) == [200, 401, 401]
        practice.clock.move(seconds=30)
        practice.app.state.throttle = Throttle()


def test_guessing_codes_is_throttled_by_the_hour(practice: Practice) -> None:
    secret = turned_on(practice, practice.desk("ferry"))
    right = code_at(practice, secret)
    for _ in range(CODES_PER_NAME.amount):
        # Other limits are not what is tried here.
        practice.app.state.throttle.forget(TRIES_PER_NAME, "ferry")
        answer = sign_in(practice, "ferry", code=wrong_code(right))
        assert_problem(answer, 401, "/code")
    practice.app.state.throttle.forget(TRIES_PER_NAME, "ferry")
    refused = sign_in(practice, "ferry", code=right)
    assert_problem(refused, 429)
    assert 120 < int(refused.headers["retry-after"]) <= 3600


def test_wrong_codes_count_as_tries_of_the_name_too(practice: Practice) -> None:
    turned_on(practice, practice.desk("ferry"))
    for _ in range(TRIES_PER_NAME.amount):
        assert_problem(sign_in(practice, "ferry"), 401, "/code")
    assert_problem(sign_in(practice, "ferry"), 429)


def test_the_form_asks_for_the_code_only_when_it_is_needed(practice: Practice) -> None:
    secret = turned_on(practice, practice.desk("ferry"))
    client = browser(practice)
    assert 'name="code"' not in client.get("/").text
    form = {"name": "ferry", "passphrase": "wrong"}
    assert 'name="code"' not in client.post("/sign-in", data=form).text
    form["passphrase"] = PASSPHRASE
    asked = client.post("/sign-in", data=form)
    assert asked.status_code == 401
    assert 'name="code"' in asked.text
    assert PASSPHRASE not in asked.text
    done = client.post("/sign-in", data=form | {"code": code_at(practice, secret)})
    assert (done.status_code, done.headers["location"]) == (303, "/caseload")


# Pass-phrase and signing out


def test_changing_the_pass_phrase_keeps_this_browser_only(practice: Practice) -> None:
    here, there = practice.desk("ferry"), practice.desk("ferry")
    body = {"old": PASSPHRASE, "new": NEW_PASSPHRASE}
    assert here.put("/api/account/passphrase", json=body).status_code == 204
    assert is_in(here)
    assert not is_in(there)
    assert_problem(sign_in(practice, "ferry"), 401)
    assert sign_in(practice, "ferry", NEW_PASSPHRASE).status_code == 200
    assert audited(practice, "passphrase") == [("ferry", "changed", "ferry")]


def test_a_wrong_old_or_a_weak_new_one_changes_nothing(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    for body, path in (
        ({"old": NEW_PASSPHRASE, "new": NEW_PASSPHRASE}, "/old"),
        ({"old": PASSPHRASE, "new": "too short"}, "/new"),
        ({"old": PASSPHRASE, "new": "ferry ferry ferry"}, "/new"),
    ):
        answer = ferry.put("/api/account/passphrase", json=body)
        assert_problem(answer, 422, path)
        assert body["new"] not in answer.text
    assert sign_in(practice, "ferry").status_code == 200


def test_guessing_the_old_one_is_throttled(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    body = {"old": "wrong", "new": NEW_PASSPHRASE}
    for _ in range(TRIES_PER_NAME.amount):
        assert_problem(ferry.put("/api/account/passphrase", json=body), 422, "/old")
    assert_problem(ferry.put("/api/account/passphrase", json=body), 429)
    assert_problem(ferry.post("/api/account/second-factor", json={"passphrase": PASSPHRASE}), 429)


@pytest.mark.parametrize("tablets", [False, True])
def test_signing_out_everywhere_ends_browsers_and_tablets_if_wanted(
    practice: Practice, tablets: bool
) -> None:
    here, there, other = practice.desk("ferry"), practice.desk("ferry"), practice.desk("harbour")
    tablet = practice.tablet("ferry")
    code = here.post("/api/pairing-codes").json()["code"]
    answer = here.post("/api/account/sign-out-everywhere", json={"tablets": tablets})
    assert answer.status_code == 204
    assert "linnet" not in here.cookies
    assert [is_in(one) for one in (here, there, other)] == [False, False, True]
    assert practice.send(tablet, drawn()).status_code == (401 if tablets else 201)
    paired = browser(practice).post("/api/pair", json={"code": code})
    assert paired.status_code == (422 if tablets else 200)
    assert audited(practice, "tablets") == ([("ferry", "revoked", "ferry")] if tablets else [])


def test_the_own_account_says_who_one_is(practice: Practice) -> None:
    assert practice.desk("ferry").get("/api/account").json() == {
        "account_id": practice.ids["ferry"],
        "name": "ferry",
        "roles": ["assistant"],
        "supervisor_id": practice.ids["harbour"],
        "second_factor": False,
    }


@pytest.mark.parametrize(
    ("method", "path", "body", "where"),
    [
        ("PUT", "passphrase", {"old": PASSPHRASE}, "/new"),
        ("PUT", "passphrase", {"old": "", "new": NEW_PASSPHRASE}, "/old"),
        ("PUT", "passphrase", {"old": PASSPHRASE, "new": "rope kite \udfff seven"}, "/new"),
        ("PUT", "passphrase", {"old": PASSPHRASE, "new": "y" * 1001}, "/new"),
        ("PUT", "passphrase", {"old": PASSPHRASE, "new": NEW_PASSPHRASE, "Quill": 1}, ""),
        ("POST", "sign-out-everywhere", {"tablets": "yes"}, "/tablets"),
        ("POST", "sign-out-everywhere", {"tablets": 1}, "/tablets"),
        ("POST", "sign-out-everywhere", None, ""),
        ("POST", "second-factor", {}, "/passphrase"),
        ("PUT", "second-factor", {"code": 123456}, "/code"),
        ("PUT", "second-factor", {"code": "\udfff"}, "/code"),
        ("PUT", "second-factor", {"code": "1" * 21}, "/code"),
        ("POST", "second-factor/off", {"code": "123456"}, "/passphrase"),
        ("POST", "second-factor/off", {"passphrase": PASSPHRASE, "code": None}, "/code"),
    ],
)
def test_a_bad_body_is_refused_with_its_path_and_changes_nothing(
    practice: Practice, method: str, path: str, body: Any, where: str
) -> None:
    ferry = practice.desk("ferry")
    answer = sent(ferry, method, f"/api/account/{path}", body)
    assert_problem(answer, 422, where)
    for word in (PASSPHRASE, NEW_PASSPHRASE, "Quill"):
        assert word not in answer.text
    assert is_in(ferry)
    assert sign_in(practice, "ferry").status_code == 200
