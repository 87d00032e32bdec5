"""How long a sign-in lasts, and what ends it."""

import sqlite3
import time
from contextlib import closing
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from server.auth import digest
from tests.accounts import browser, is_in, rows, sent, sign_in
from tests.practice import PASSPHRASE, Practice
from tests.problem_form import assert_problem


def idle_minutes(practice: Practice, minutes: int) -> None:
    answer = practice.desk("purser").put("/api/settings/idle_minutes", json={"value": minutes})
    assert answer.status_code == 200


def seen_at(practice: Practice, client: TestClient) -> str:
    query = "SELECT seen_at FROM sign_in WHERE hash = ?"
    ((at,),) = rows(practice, query, digest(client.cookies["linnet"]))
    return str(at)


def test_a_sign_in_that_is_not_used_ends_after_an_hour(practice: Practice) -> None:
    used, unused = practice.desk("ferry"), practice.desk("ferry")
    practice.clock.move(minutes=59, seconds=59)
    assert is_in(used)
    practice.clock.move(seconds=1)
    assert is_in(used)
    assert_problem(unused.get("/api/account"), 401)
    led = unused.get("/caseload", follow_redirects=False).headers["location"]
    assert led == "/?next=/caseload"


def test_one_that_is_in_use_ends_after_twelve_hours_all_the_same(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    for _ in range(14):
        practice.clock.move(minutes=50)
        assert is_in(ferry)
    practice.clock.move(minutes=20)  # [C] 14 x 50 + 20 = 720
    assert_problem(ferry.get("/api/account"), 401)


def test_the_owner_chooses_how_long_unused_is(practice: Practice) -> None:
    idle_minutes(practice, 5)
    ferry = practice.desk("ferry")
    practice.clock.move(minutes=4)
    assert is_in(ferry)
    practice.clock.move(minutes=5)
    assert not is_in(ferry)
    idle_minutes(practice, 720)
    ferry = practice.desk("ferry")
    practice.clock.move(minutes=719)
    assert is_in(ferry)


def test_its_last_use_is_written_once_a_minute_at_most(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    practice.clock.move(seconds=59)
    assert is_in(ferry)
    assert seen_at(practice, ferry) == "2026-03-03 12:00:00.000000"
    practice.clock.move(seconds=1)
    assert is_in(ferry)
    assert seen_at(practice, ferry) == "2026-03-03 12:01:00.000000"


def test_reading_goes_on_at_once_while_the_database_is_busy(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    practice.clock.move(minutes=30)
    with closing(sqlite3.connect(practice.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        began_s = time.perf_counter()
        assert is_in(ferry)
        assert time.perf_counter() - began_s < 5  # A write would have waited for ten.
        other.execute("ROLLBACK")
    assert seen_at(practice, ferry) == "2026-03-03 12:00:00.000000"
    assert is_in(ferry)
    assert seen_at(practice, ferry) == "2026-03-03 12:30:00.000000"


def test_a_write_still_waits_for_its_turn_afterwards(practice: Practice) -> None:
    """Only noting the last use does not wait."""
    ferry = practice.desk("ferry")
    practice.clock.move(minutes=2)
    assert is_in(ferry)
    with practice.app.state.engine.connect() as connection:
        patience = connection.exec_driver_sql("PRAGMA busy_timeout").scalar_one()
    assert patience == 10000  # [N] server.database


def test_reading_goes_on_where_nothing_can_be_written(practice: Practice) -> None:
    def no_writing(connection: Any, *_: object) -> None:
        connection.execute("PRAGMA query_only = ON")

    ferry = practice.desk("ferry")
    event.listen(practice.app.state.engine, "checkout", no_writing)
    practice.clock.move(minutes=2)
    assert is_in(ferry)
    assert_problem(ferry.post("/api/pairing-codes"), 503)
    assert seen_at(practice, ferry) == "2026-03-03 12:00:00.000000"


def test_a_sign_in_of_an_older_release_goes_on(practice: Practice) -> None:
    ferry = practice.desk("ferry")
    rows(practice, "UPDATE sign_in SET seen_at = NULL, started_at = NULL")
    practice.clock.move(minutes=30)
    assert is_in(ferry)
    assert seen_at(practice, ferry) == "2026-03-03 12:30:00.000000"


def test_an_account_that_is_closed_is_signed_in_nowhere(practice: Practice) -> None:
    beacon, owner = practice.desk("beacon"), practice.desk("purser")
    path = f"/api/accounts/{practice.ids['beacon']}"
    assert owner.patch(path, json={"closed": True}).status_code == 200
    assert not is_in(beacon)
    closed = assert_problem(sign_in(practice, "beacon"), 401)
    assert closed == assert_problem(sign_in(practice, "nobody"), 401)
    assert owner.patch(path, json={"closed": False}).status_code == 200
    assert not is_in(beacon)
    assert sign_in(practice, "beacon").status_code == 200


def test_a_closed_account_is_refused_though_its_sign_in_was_never_ended(
    practice: Practice,
) -> None:
    beacon = practice.desk("beacon")
    rows(practice, "UPDATE account SET closed_at = '2026-03-03' WHERE name = 'beacon'")
    assert not is_in(beacon)


def test_one_that_is_checked_while_the_pass_phrase_changes_does_not_get_in(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    from server import auth

    fits = auth.passphrase_fits

    def fits_then_changes(account: Any, passphrase: str) -> bool:
        result = fits(account, passphrase)
        rows(practice, "UPDATE account SET passphrase_hash = 'x' WHERE name = 'ferry'")
        return result

    monkeypatch.setattr(auth, "passphrase_fits", fits_then_changes)
    assert_problem(sign_in(practice, "ferry"), 401)
    assert rows(practice, "SELECT count(*) FROM sign_in") == [(0,)]


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({"name": "ferry"}, "/passphrase"),
        ({"name": 5, "passphrase": PASSPHRASE}, "/name"),
        ({"name": "ferry", "passphrase": "\ud800"}, "/passphrase"),
        ({"name": "\ud800", "passphrase": PASSPHRASE}, "/name"),
        ({"name": "ferry", "passphrase": PASSPHRASE, "code": "\ud800"}, "/code"),
        ({"name": "ferry", "passphrase": PASSPHRASE, "code": 5}, "/code"),
        ({"name": "ferry", "passphrase": PASSPHRASE, "code": "1" * 21}, "/code"),
        ({"name": "ferry", "passphrase": PASSPHRASE, "Quill": 5}, ""),
    ],
)
def test_a_bad_body_is_refused_with_its_path(
    practice: Practice, body: dict[str, Any], path: str
) -> None:
    answer = sent(browser(practice), "POST", "/api/sign-in", body)
    assert_problem(answer, 422, path)
    assert PASSPHRASE not in answer.text
    assert "Quill" not in answer.text
