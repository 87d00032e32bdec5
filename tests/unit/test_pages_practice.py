"""The owner's pages of tablets, settings, backups and changes."""

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, event

from server import page_owner_backup
from server.cli_keep import NOT_NOTED, noted, run_backup
from server.page_owner_backup import UNKNOWN, size_on_disk_bytes, size_words
from server.page_owner_changes import DEEDS, LINES
from server.page_owner_settings import WORDS
from server.routes_desk_owner import NOT_SURE
from server.store_backups import last_backup
from server.store_changes import CHANGES
from server.store_settings import KNOWN
from tests.accounts import audited, rows
from tests.keepers import DATABASES, load_dump
from tests.practice import NOON, TELLING, Practice, drawn

YES = {"sure": "yes"}


def owner(practice: Practice) -> TestClient:
    client = practice.desk("purser")
    client.follow_redirects = False
    return client


def tablet_id(practice: Practice) -> str:
    ((found,),) = rows(practice, "SELECT id FROM tablet")
    return str(found)


# Tablets


def test_no_tablet_is_said_in_words(practice: Practice) -> None:
    assert "No tablet is paired." in owner(practice).get("/owner/tablets").text


def test_a_tablet_is_listed_and_neither_what_it_sent_nor_when(practice: Practice) -> None:
    tablet, tree = practice.tablet(), drawn()
    practice.clock.move(days=1, hours=-2)
    practice.send(tablet, tree)
    shown = owner(practice).get("/owner/tablets").text
    assert (
        "Paired with ferry · first paired on 3 March 2026 · "
        "last paired or measured on 3 March 2026" in shown
    )
    assert "4 March 2026" not in shown
    assert "When trials arrive is not told here." in shown
    telling = [tree["trial_id"], *(word for word in TELLING if word != "2026-03")]
    assert not [word for word in telling if word in shown]


def test_a_tablet_that_was_paired_again_was_paired_that_day(practice: Practice) -> None:
    tablet = practice.tablet()
    practice.clock.move(days=6)
    code = practice.desk("ferry").post("/api/pairing-codes").json()["code"]
    assert tablet.post("/api/pair", json={"code": code}).status_code == 200
    shown = owner(practice).get("/owner/tablets").text
    assert shown.count('aria-label="End the pairings of') == 1
    assert "first paired on 3 March 2026 · last paired or measured on 9 March 2026" in shown


def test_a_tablet_is_revoked_only_by_somebody_who_means_it(practice: Practice) -> None:
    tablet, client = practice.tablet(), owner(practice)
    path = f"/owner/tablets/{tablet_id(practice)}/revoke"
    unsure = client.post(path)
    assert unsure.status_code == 422
    assert NOT_SURE in unsure.text
    assert tablet.get("/api/tablet/day").status_code == 200
    assert client.post(path, data=YES).headers["location"] == "/owner/tablets?done=revoked"
    assert tablet.get("/api/tablet/day").status_code == 401
    assert "No longer paired" in client.get("/owner/tablets").text
    assert ("purser", "revoked", tablet_id(practice)) in audited(practice, "tablet")


# Settings


def test_every_setting_has_words_and_the_words_belong_to_a_setting() -> None:
    assert set(WORDS) == {known.name for known in KNOWN}
    assert all(WORDS[known.name].none for known in KNOWN if known.kind.may_be_none)


def test_a_setting_is_shown_with_default_and_value_and_who_chose_it(practice: Practice) -> None:
    client = owner(practice)
    shown = client.get("/owner/settings").text
    assert "<strong>60 minutes</strong>, never changed" in shown
    assert "<dt>Default</dt><dd>decided case by case</dd>" in shown
    answer = client.post("/owner/settings/retention_years", data={"value": " 8 "})
    assert answer.headers["location"] == "/owner/settings?done=chosen"
    shown = client.get("/owner/settings").text
    assert "<strong>8 years</strong>, chosen by purser on 3 March 2026, 12:00" in shown
    client.post("/owner/settings/retention_years", data={"value": ""})
    listed = client.get("/api/settings").json()["settings"]
    assert {one["name"]: one["value"] for one in listed}["retention_years"] is None


@pytest.mark.parametrize("value", ["4", "721", "", "half", "-60", "6e1", "60.0", "²"])
def test_what_does_not_fit_is_refused_and_kept_in_the_form(practice: Practice, value: str) -> None:
    client = owner(practice)
    answer = client.post("/owner/settings/idle_minutes", data={"value": value})
    assert answer.status_code == 422
    assert 'id="trouble-idle_minutes"' in answer.text
    assert f'name="value" value="{value}"' in answer.text
    assert rows(practice, "SELECT count(*) FROM practice_setting") == [(0,)]


def test_a_setting_that_does_not_exist_is_not_found(practice: Practice) -> None:
    assert owner(practice).post("/owner/settings/mast", data={"value": "6"}).status_code == 404


# Backups


def test_a_database_without_a_backup_says_so_with_the_command(practice: Practice) -> None:
    shown = owner(practice).get("/owner/backup").text
    assert f"<h1>{UNKNOWN}</h1>" in shown
    assert "linnet backup FILE" in shown
    assert size_words(size_on_disk_bytes(practice.path)) in shown


def test_a_backup_made_while_it_is_served_is_known_and_leaves_out_where_it_is(
    practice: Practice, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("server.cli_keep.wall_clock", lambda: NOON)
    target = tmp_path / "mast.sqlite3"
    assert run_backup(target, database=str(practice.path), replace=False) == 0
    practice.clock.move(days=12)
    shown = owner(practice).get("/owner/backup").text
    assert "<h1>The last backup was made 12 days ago.</h1>" in shown
    assert "<dd>3 March 2026, 12:00</dd>" in shown
    assert "mast" not in shown
    assert rows(practice, "SELECT account_id, object_id FROM audit WHERE verb = 'backed_up'") == [
        (None, None)
    ]


def test_looking_for_the_last_backup_does_not_read_the_whole_audit(practice: Practice) -> None:
    asked: list[tuple[str, Any]] = []

    def heard(*told: Any) -> None:
        asked.append((told[2], told[3]))

    event.listen(Engine, "before_cursor_execute", heard)
    try:
        with practice.app.state.sessions() as db:
            assert last_backup(db) is None
    finally:
        event.remove(Engine, "before_cursor_execute", heard)
    ((query, values),) = [one for one in asked if "FROM audit" in one[0]]
    plan = rows(practice, f"EXPLAIN QUERY PLAN {query}", *values)
    assert [line[-1] for line in plan] == [
        "SEARCH audit USING INDEX ix_audit_child_id_number (child_id=?)"
    ]


def test_a_backup_that_failed_is_not_known(practice: Practice, tmp_path: Path) -> None:
    target = tmp_path / "no" / "mast.sqlite3"
    assert run_backup(target, database=str(practice.path), replace=False) == 1
    assert UNKNOWN in owner(practice).get("/owner/backup").text


def test_a_database_of_another_release_is_backed_up_without_being_touched(
    practice: Practice, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old = tmp_path / "old.sqlite3"
    load_dump(min(path.stem for path in DATABASES.glob("*.sql")), old)
    before = old.read_bytes()
    assert run_backup(tmp_path / "copy.sqlite3", database=str(old), replace=False) == 0
    assert NOT_NOTED in capsys.readouterr().out
    assert old.read_bytes() == before


def test_a_database_that_takes_nothing_is_only_not_told(practice: Practice) -> None:
    rows(practice, "CREATE TRIGGER shut BEFORE INSERT ON audit BEGIN SELECT RAISE(ABORT, ''); END")
    assert noted(practice.path, NOON) is False


def test_little_room_is_told(practice: Practice, monkeypatch: pytest.MonkeyPatch) -> None:
    client, size = owner(practice), size_on_disk_bytes(practice.path)
    for free, tight in ((size, True), (100 * size, False)):
        monkeypatch.setattr(
            page_owner_backup.shutil, "disk_usage", lambda _, free=free: SimpleNamespace(free=free)
        )
        assert ("not sure" in client.get("/owner/backup").text) is tight


def test_the_size_counts_what_lies_beside_the_database(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite3"
    path.write_bytes(b"1" * 10)
    path.with_name("a.sqlite3-wal").write_bytes(b"2" * 5)
    path.with_name("b.sqlite3").write_bytes(b"3" * 100)
    assert size_on_disk_bytes(path) == 15


# Changes


def test_every_kind_of_change_has_words() -> None:
    assert set(DEEDS) == {(kind, verb) for kind, verbs in CHANGES.items() for verb in verbs}


def cells(text: str) -> list[str]:
    return [
        " | ".join(re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row))
        for row in re.findall(r"<tr>(<th scope=\"row\">.*?)</tr>", text)
    ]


def test_changes_carry_names_and_nothing_of_a_child(practice: Practice) -> None:
    client, tablet = owner(practice), practice.tablet()
    practice.send(tablet, drawn())
    practice.desk("ferry").get(f"/children/{practice.ids['Gull']}")
    client.post("/owner/settings/idle_minutes", data={"value": "30"})
    client.post(f"/owner/tablets/{tablet_id(practice)}/revoke", data=YES)
    client.post("/owner/invitations", data={"roles": ["supervisor"]})
    client.post(f"/owner/accounts/{practice.ids['ferry']}/reset", data=YES)
    shown = client.get("/owner/changes").text
    at = "3 March 2026, 12:00"
    assert cells(shown) == [
        f"{at} | purser | Made a link for a new pass-phrase | ferry",
        f"{at} | purser | Made an invitation | New account: supervisor",
        f"{at} | purser | Ended the pairings of a tablet | Tablet first paired on 3 March 2026",
        f"{at} | purser | Changed a setting | An unused sign-in ends after: 30 minutes",
    ]
    assert not [word for word in TELLING if word in shown]
    assert not [one for one in practice.ids.values() if one in shown]


def test_older_changes_are_on_the_next_page_each_once(practice: Practice) -> None:
    client = owner(practice)
    for value in range(10, 10 + LINES + 5):
        client.post("/owner/settings/idle_minutes", data={"value": str(value)})
    first = client.get("/owner/changes").text
    assert len(cells(first)) == LINES
    older = first.partition("/owner/changes?before=")[2].partition('"')[0]
    second = client.get("/owner/changes", params={"before": older}).text
    assert len(cells(second)) == 5
    assert "before=" not in second


def test_a_number_that_is_none_is_refused(practice: Practice) -> None:
    assert owner(practice).get("/owner/changes?before=first").status_code == 422


def test_settings_have_words_and_units_for_people(practice: Practice) -> None:
    shown = owner(practice).get("/owner/settings").text
    words = re.sub(r"<[^>]+>", " ", shown)
    assert "idle_minutes" not in words
    assert "retention_years" not in words
    assert "An unused sign-in ends after, in minutes" in words
    assert "A whole number of minutes, from 5 to 720." in words
    assert "A child&#39;s record is kept for, in years" in words
    assert "A whole number of years, from 1 to 100. Left empty: decided case by case." in words


@pytest.mark.parametrize("value", ["9" * 5000, "k" * 5000, "٣" * 21])
def test_a_value_that_is_far_too_long_is_refused_on_the_page(
    practice: Practice, value: str
) -> None:
    answer = owner(practice).post("/owner/settings/idle_minutes", data={"value": value})
    assert answer.status_code == 422
    assert 'id="trouble-idle_minutes"' in answer.text
    assert f'value="{value}"' in answer.text
