"""Coming in by a link: once, in time, with a name and a pass-phrase that do."""

import sqlite3
from functools import partial
from typing import Any

import pytest

from server.auth import JOINS_PER_ADDRESS, Throttle, digest
from server.joining import NEEDS_NAME, NEW_LINK, WRONG_LINK
from server.store_accounts import BAD_NAME, TAKEN_NAME
from server.store_invitations import invite_owner
from tests.accounts import (
    NEW_PASSPHRASE,
    at_once,
    audited,
    browser,
    invitation,
    is_in,
    rows,
    secret_of,
    sent,
    sign_in,
    use,
    wide,
)
from tests.practice import PASSPHRASE, Practice
from tests.problem_form import assert_problem


def owner_link(practice: Practice) -> str | None:
    """What every start of the server does."""
    with practice.app.state.sessions() as db:
        secret = invite_owner(db, practice.clock.now)
        db.commit()
    return secret


def without_owner(practice: Practice) -> None:
    rows(practice, "UPDATE account SET closed_at = '2026-03-01 00:00:00' WHERE name = 'purser'")


def reset_link(practice: Practice, name: str) -> str:
    owner = practice.desk("purser")
    return secret_of(owner.post(f"/api/accounts/{practice.ids[name]}/reset"))


def refused(answer: Any, path: str, why: str) -> None:
    body = assert_problem(answer, 422, path)
    assert body["errors"] == [{"path": path, "detail": why}]


# The first owner


def test_the_first_owner_comes_in_by_a_link_that_is_made_once(practice: Practice) -> None:
    assert owner_link(practice) is None
    without_owner(practice)
    secret = owner_link(practice)
    assert secret is not None
    assert len(secret) >= 43  # [C] 256 bits in base64: 42.67 letters
    answer = use(practice, secret, "Skiff")
    assert answer.status_code == 201
    assert answer.json()["roles"] == ["owner"]
    assert sign_in(practice, "skiff", NEW_PASSPHRASE).status_code == 200
    assert owner_link(practice) is None
    refused(use(practice, secret, "raft"), "/secret", WRONG_LINK)


def test_every_start_without_an_owner_withdraws_the_link_before(practice: Practice) -> None:
    without_owner(practice)
    first, second = owner_link(practice), owner_link(practice)
    assert first is not None
    assert second is not None
    refused(use(practice, first), "/secret", WRONG_LINK)
    assert use(practice, second).status_code == 201


def test_the_owner_s_link_ends_after_twenty_four_hours(practice: Practice) -> None:
    without_owner(practice)
    secret = owner_link(practice)
    assert secret is not None
    practice.clock.move(hours=24)
    refused(use(practice, secret), "/secret", WRONG_LINK)
    practice.clock.move(seconds=-1)
    assert use(practice, secret).status_code == 201


def test_of_a_link_only_the_hash_is_kept(practice: Practice) -> None:
    secret = invitation(practice)
    assert rows(practice, "SELECT hash FROM invitation") == [(digest(secret),)]
    rows(practice, "PRAGMA wal_checkpoint(TRUNCATE)")
    assert secret.encode() not in practice.path.read_bytes()


# A new account


def test_an_invitation_makes_an_account_with_its_roles_and_supervisor(
    practice: Practice,
) -> None:
    harbour = practice.ids["harbour"]
    secret = invitation(practice, "assistant", "researcher", supervisor_id=harbour)
    answer = use(practice, secret, "  Skiff   One ")
    assert answer.status_code == 201
    assert answer.json()["roles"] == ["assistant", "researcher"]
    made = answer.json()["account_id"]
    stored = rows(practice, "SELECT name, supervisor_id, added_at FROM account WHERE id = ?", made)
    assert stored == [("skiff one", harbour, "2026-03-03 12:00:00.000000")]
    assert rows(practice, "SELECT account_id FROM invitation") == [(made,)]
    assert sign_in(practice, "skiff ONE", NEW_PASSPHRASE).status_code == 200
    assert audited(practice, "invitation")[0][:2] == ("purser", "invited")
    assert (made, "joined", made) in audited(practice, "account")


def test_an_invitation_lasts_seven_days(practice: Practice) -> None:
    secret = invitation(practice)
    practice.clock.move(days=7)
    refused(use(practice, secret), "/secret", WRONG_LINK)


def test_a_withdrawn_invitation_is_worth_nothing(practice: Practice) -> None:
    owner = practice.desk("purser")
    made = owner.post("/api/invitations", json={"roles": ["assistant"]})
    assert owner.delete(f"/api/invitations/{made.json()['invitation_id']}").status_code == 204
    refused(use(practice, secret_of(made)), "/secret", WRONG_LINK)


@pytest.mark.parametrize("secret", ["x", "K" * 43, "éß漢", "#"])
def test_a_made_up_link_is_refused_and_not_echoed(practice: Practice, secret: str) -> None:
    answer = use(practice, secret, "Skiffname")
    refused(answer, "/secret", WRONG_LINK)
    assert "skiffname" not in answer.text.lower()
    assert NEW_PASSPHRASE not in answer.text


@pytest.mark.parametrize("name", ["ferry", " FERRY ", wide("ferry")])
def test_a_taken_name_is_told_and_the_link_stays_good(practice: Practice, name: str) -> None:
    secret = invitation(practice)
    refused(use(practice, secret, name), "/name", TAKEN_NAME)
    assert use(practice, secret, "skiff").status_code == 201


@pytest.mark.parametrize("name", ["a\nb", "a\u2028b", "a\x00b", "x" * 61, "a\u200eb"])
def test_a_name_is_one_line_of_at_most_sixty_characters(practice: Practice, name: str) -> None:
    secret = invitation(practice)
    refused(use(practice, secret, name), "/name", BAD_NAME)
    assert use(practice, secret, "x" * 60).status_code == 201


@pytest.mark.parametrize("name", [None, "", "   "])
def test_a_new_account_needs_a_name(practice: Practice, name: str | None) -> None:
    refused(use(practice, invitation(practice), name), "/name", NEEDS_NAME)


def test_a_weak_pass_phrase_is_refused_and_the_link_stays_good(practice: Practice) -> None:
    secret = invitation(practice)
    for weak in ("short", "passwordpassword", "skiff skiff skiff"):
        assert_problem(use(practice, secret, passphrase=weak), 422, "/passphrase")
    assert rows(practice, "SELECT count(*) FROM account") == [(5,)]
    assert use(practice, secret).status_code == 201


def test_an_invitation_whose_supervisor_has_gone_fits_no_more(practice: Practice) -> None:
    secret = invitation(practice, supervisor_id=practice.ids["harbour"])
    rows(practice, "UPDATE account SET closed_at = '2026-03-03' WHERE name = 'harbour'")
    assert assert_problem(use(practice, secret), 409)["detail"] == NEW_LINK
    assert rows(practice, "SELECT used_at FROM invitation") == [(None,)]


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({}, "/secret"),
        ({"secret": 5, "passphrase": "x", "name": "y"}, "/secret"),
        ({"secret": "", "passphrase": "x"}, "/secret"),
        ({"secret": "x", "passphrase": ""}, "/passphrase"),
        ({"secret": "x", "passphrase": "rope kite \ud800 seven"}, "/passphrase"),
        ({"secret": "\ud800", "passphrase": "x"}, "/secret"),
        ({"secret": "x", "passphrase": "x", "name": "\ud800"}, "/name"),
        ({"secret": "x", "passphrase": "y" * 1001}, "/passphrase"),
        ({"secret": "x", "passphrase": "y", "name": ["Quill"]}, "/name"),
        ({"secret": "x", "passphrase": "y", "Quill": 1}, ""),
        ([], ""),
    ],
)
def test_a_bad_body_is_refused_with_its_path(practice: Practice, body: Any, path: str) -> None:
    answer = sent(browser(practice), "POST", "/api/join", body)
    assert_problem(answer, 422, path)
    assert "Quill" not in answer.text


def test_two_who_use_one_link_at_once_make_one_account(practice: Practice) -> None:
    for number in range(4):
        secret = invitation(practice)
        calls = [partial(use, practice, secret, f"skiff {number} {i}") for i in range(3)]
        statuses = sorted(answer.status_code for answer in at_once(calls))
        assert statuses == [201, 422, 422]
        practice.app.state.throttle = Throttle()
    assert rows(practice, "SELECT count(*) FROM account") == [(9,)]  # [C] 5 + 4


def test_two_who_choose_one_name_at_once_make_one_account(practice: Practice) -> None:
    secrets = [invitation(practice) for _ in range(3)]
    answers = at_once([partial(use, practice, secret, "skiff") for secret in secrets])
    assert sorted(answer.status_code for answer in answers) == [201, 422, 422]
    used = rows(practice, "SELECT count(*) FROM invitation WHERE used_at IS NOT NULL")
    assert used == [(1,)]


def test_using_links_is_throttled(practice: Practice) -> None:
    answers = [use(practice, "x") for _ in range(JOINS_PER_ADDRESS.amount + 1)]
    assert [one.status_code for one in answers] == [422] * JOINS_PER_ADDRESS.amount + [429]
    assert_problem(answers[-1], 429)
    assert int(answers[-1].headers["retry-after"]) >= 1


# A new pass-phrase


@pytest.mark.parametrize("name", [None, "", "Ferry"])
def test_a_reset_changes_the_pass_phrase_and_ends_what_was(
    practice: Practice, name: str | None
) -> None:
    before = practice.desk("ferry")
    rows(practice, "UPDATE account SET second_factor = 'A', second_factor_since = '2026-03-01'")
    rows(practice, "UPDATE account SET second_factor_since = NULL WHERE name = 'purser'")
    answer = use(practice, reset_link(practice, "ferry"), name)
    assert answer.status_code == 200
    assert answer.json() == {"account_id": practice.ids["ferry"], "roles": ["assistant"]}
    assert not is_in(before)
    assert_problem(sign_in(practice, "ferry"), 401)
    assert sign_in(practice, "ferry", NEW_PASSPHRASE).status_code == 200
    kept = rows(practice, "SELECT name FROM account WHERE second_factor IS NULL")
    assert kept == [("ferry",)]
    assert audited(practice, "passphrase") == [
        ("purser", "invited", "ferry"),
        ("ferry", "reset", "ferry"),
    ]


def test_a_reset_renames_nobody(practice: Practice) -> None:
    secret = reset_link(practice, "ferry")
    assert_problem(use(practice, secret, "skiff"), 422, "/name")
    assert use(practice, secret, None).status_code == 200


def test_a_newer_reset_withdraws_the_older_and_each_lasts_a_day(practice: Practice) -> None:
    first, second = reset_link(practice, "ferry"), reset_link(practice, "ferry")
    refused(use(practice, first, None), "/secret", WRONG_LINK)
    practice.clock.move(hours=24)
    refused(use(practice, second, None), "/secret", WRONG_LINK)
    practice.clock.move(seconds=-1)
    assert use(practice, second, None).status_code == 200


def test_a_link_for_a_closed_account_is_not_made_and_an_older_one_ends(
    practice: Practice,
) -> None:
    secret, owner = reset_link(practice, "beacon"), practice.desk("purser")
    path = f"/api/accounts/{practice.ids['beacon']}"
    assert owner.patch(path, json={"closed": True}).status_code == 200
    refused(use(practice, secret, None), "/secret", WRONG_LINK)
    assert_problem(owner.post(f"{path}/reset"), 409)


# The page


def test_the_page_makes_an_account_without_scripts(practice: Practice) -> None:
    client, secret = browser(practice), invitation(practice)
    shown = client.get("/join")
    assert shown.status_code == 200
    assert 'src="/static/desk/join.mjs"' in shown.text
    form = {"secret": f" {secret} ", "name": "skiff", "passphrase": NEW_PASSPHRASE}
    done = client.post("/join", data=form)
    assert (done.status_code, done.headers["location"]) == (303, "/?ready")
    assert "Your account is ready." in client.get("/?ready").text
    assert "Your account is ready." not in client.get("/").text
    assert (
        client.post("/sign-in", data={"name": "skiff", "passphrase": NEW_PASSPHRASE}).headers[
            "location"
        ]
        == "/caseload"
    )


def test_the_page_says_what_to_do_and_keeps_all_but_the_pass_phrase(practice: Practice) -> None:
    client, secret = browser(practice), invitation(practice)
    form = {"secret": secret, "name": "<skiff>", "passphrase": "too short"}
    answer = client.post("/join", data=form)
    assert answer.status_code == 422
    assert "A pass-phrase has at least 15 characters." in answer.text
    assert f'value="{secret}"' in answer.text
    assert 'value="&lt;skiff&gt;"' in answer.text
    assert "too short" not in answer.text
    again = client.post("/join", data=form | {"secret": "x"})
    assert WRONG_LINK in again.text


def test_the_audit_holds_neither_names_nor_links(practice: Practice) -> None:
    secret = invitation(practice)
    use(practice, secret, "skiff")
    everything = repr(rows(practice, "SELECT * FROM audit"))
    for word in (secret, digest(secret), "skiff", "purser", PASSPHRASE):
        assert word not in everything


def test_accounts_are_never_deleted(practice: Practice) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="never deleted"):
        rows(practice, "DELETE FROM account")
