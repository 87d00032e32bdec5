"""Backups: whole, under traffic, on full disks, cut short; and the parts they are made of."""

import json
import resource
import sqlite3
import stat
import subprocess
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from server.checking import check_database
from server.copies import copy_database, fold_in, make_plain, stamp
from server.database import ProcessLock, upgrade
from server.keeping import KeepingFailed, backup
from server.ledger import Entry, add_to_ledger, ledger_of
from tests.keepers import (
    change,
    cut_short_at,
    done,
    everything,
    is_plain,
    later,
    linnet,
    names_in,
    refused,
    rows_of,
)
from tests.practice import NOON, Practice, drawn, settings_for
from tests.running import LINNET, environment

slow = pytest.mark.slow
TRIALS = {"trial": ["id", "sha256"]}


def test_a_backup_is_one_file_of_its_owner_with_everything_in_it(path: Path, away: Path) -> None:
    said = done("backup", away / "b.sqlite3", "--database", path)
    assert said.endswith(
        "b.sqlite3 holds 2 children, 2 sessions, 0 trials, 0 notes. Every checksum was verified.\n"
    )
    assert names_in(away) == ["b.sqlite3"]
    assert stat.S_IMODE((away / "b.sqlite3").stat().st_mode) == 0o600
    assert is_plain(away / "b.sqlite3")
    assert_whole(away / "b.sqlite3", path)


def assert_whole(copy: Path, path: Path) -> None:
    """A copy holds everything; only that it was made is noted afterwards, in the database."""
    kept, now = everything(copy), everything(path)
    kept_lines, lines = kept.pop("audit"), now.pop("audit")
    kept.pop("sqlite_sequence"), now.pop("sqlite_sequence")
    assert kept == now
    (new,) = [line for line in lines if line not in kept_lines]
    assert "backed_up" in new
    assert len(lines) == len(kept_lines) + 1


def test_what_is_only_in_the_wal_is_in_the_backup(practice: Practice, away: Path) -> None:
    tree = drawn()
    practice.send(practice.tablet(), tree)
    assert practice.path.with_name("practice.sqlite3-wal").stat().st_size > 0
    done("backup", away / "b.sqlite3", "--database", practice.path)
    assert rows_of(away / "b.sqlite3", TRIALS) == rows_of(practice.path, TRIALS)
    assert tree["trial_id"] in str(rows_of(away / "b.sqlite3", TRIALS))


def test_a_backup_under_traffic_is_whole_and_holds_what_was_acknowledged_before(
    practice: Practice, away: Path
) -> None:
    tablet, stop, sent = practice.tablet(), threading.Event(), []

    def send() -> None:
        while not stop.is_set():
            tree = drawn(seq=len(sent))
            if practice.send(tablet, tree).status_code == 201:
                sent.append(tree["trial_id"])

    thread = threading.Thread(target=send)
    thread.start()
    try:
        for number in range(5):
            while len(sent) < 2 * (number + 1):
                stop.wait(0.01)
            before = set(sent)
            target = away / f"{number}.sqlite3"
            backup(practice.path, target)
            kept = {row[0] for row in rows_of(target, TRIALS)["trial"]}
            assert before <= kept
            assert check_database(target).findings == []
    finally:
        stop.set()
        thread.join()
    assert len(sent) > 10


def test_writing_during_the_copy_does_not_make_it_begin_again(
    path: Path, away: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    change(path, "PRAGMA journal_mode = WAL")
    before = everything(path)
    seen: list[int] = []

    def write(done_pages: int, _total: int) -> None:
        seen.append(done_pages)
        if len(seen) < 20:
            change(path, f"UPDATE child SET nickname = 'kite {len(seen)}'")

    monkeypatch.setattr("server.copies.PAGES", 5)
    copy_database(path, away / "b.sqlite3", write)
    assert len(seen) > 5
    assert seen == sorted(set(seen))
    # One state: that of the moment when it began.
    assert everything(away / "b.sqlite3") == before
    assert everything(path) != before


def test_a_file_that_exists_is_replaced_only_when_told(path: Path, away: Path) -> None:
    target = away / "b.sqlite3"
    target.write_bytes(b"something else")
    assert "--replace" in refused("backup", target, "--database", path)
    assert target.read_bytes() == b"something else"
    done("backup", target, "--replace", "--database", path)
    assert_whole(target, path)
    assert names_in(away) == ["b.sqlite3"]


def test_a_place_where_no_backup_can_be_is_told_in_a_sentence(path: Path, away: Path) -> None:
    assert "does not exist" in refused("backup", away / "no" / "b", "--database", path)
    assert "is a folder" in refused("backup", away, "--database", path)
    assert "the database itself" in refused("backup", path, "--replace", "--database", path)
    missing = away / "none.sqlite3"
    assert "there is no database" in refused("backup", away / "b", "--database", missing)
    assert names_in(away) == []
    assert everything(path)


def test_a_damaged_database_gives_no_backup(path: Path, away: Path) -> None:
    change(path, "UPDATE plan SET plan = 'torn'", guarded=False)
    said = refused("backup", away / "b", "--database", path)
    assert "did not pass its check, so it was not kept" in said
    assert names_in(away) == []


def limited(bytes_: int, *arguments: str | Path) -> "subprocess.CompletedProcess[str]":
    """Run a command that may make no file longer than some bytes: the disk is full then."""
    return subprocess.run(
        [*LINNET, *map(str, arguments)],
        capture_output=True,
        text=True,
        env=environment(),
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (bytes_, bytes_)),
        check=False,
    )


@slow
@pytest.mark.parametrize("command", ["backup", "restore"])
def test_a_full_disk_leaves_nothing_half_and_is_told_in_a_sentence(
    path: Path, away: Path, command: str
) -> None:
    kept = away / "old.sqlite3"
    done("backup", kept, "--database", path)
    before = (everything(path), kept.read_bytes())
    more = ["--replace"] if command == "backup" else []
    result = limited(100_000, command, kept, *more, "--database", path)
    assert result.returncode == 1
    assert result.stdout == ""
    assert result.stderr.startswith("linnet: the d")
    assert result.stderr.count("\n") == 1
    assert (everything(path), kept.read_bytes()) == before
    assert names_in(away) == ["old.sqlite3"]
    assert names_in(path.parent) in (
        ["practice.sqlite3"],
        ["practice.sqlite3", "practice.sqlite3-lock"],
    )


@slow
def test_a_backup_that_is_killed_is_made_by_the_next_one(path: Path, away: Path) -> None:
    target = away / "b.sqlite3"
    killed = cut_short_at("server.copies.put_in_place")
    arguments = ("backup", str(target), "--database", str(path))
    assert subprocess.run([*killed, *arguments], env=environment()).returncode == 86
    assert names_in(away) == ["b.sqlite3.part"]
    done(*arguments)
    assert names_in(away) == ["b.sqlite3"]


def test_the_time_in_a_name_is_that_of_greenwich() -> None:
    assert stamp(datetime.fromisoformat("2026-03-03T01:30:00+03:00")) == "20260302T223000Z"
    assert stamp(datetime(2026, 3, 3, tzinfo=UTC)) == "20260303T000000Z"


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """Somebody who reads a database."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("BEGIN")
        connection.execute("SELECT count(*) FROM child").fetchone()
        yield


def test_a_wal_that_somebody_reads_from_is_not_ended(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    change(path, "PRAGMA journal_mode = WAL")
    whole = sqlite3.connect
    with reading(path):
        later(path)
        monkeypatch.setattr(
            sqlite3, "connect", lambda *given, **named: whole(*given, **named | {"timeout": 0})
        )
        with pytest.raises(KeepingFailed, match="another program reads"):
            fold_in(path)
    fold_in(path)


def test_a_lock_is_let_go_after_every_command(path: Path) -> None:
    refused("erase", "nobody", "--yes", "--database", path)
    done("upgrade", "--database", path)
    ProcessLock(path).release()


def test_wrong_use_ends_with_two() -> None:
    for arguments in (["backup"], ["restore"], ["erase"], ["erase", "x", "--due"], ["check", "x"]):
        assert linnet(*arguments).exit_code == 2


@pytest.mark.parametrize("command", ["backup", "restore", "check", "erase", "upgrade", "rescore"])
def test_every_command_explains_itself(command: str) -> None:
    result = linnet(command, "--help")
    assert result.exit_code == 0
    assert "--database" in result.stdout


def test_the_ledger_is_readable_by_its_owner_only(path: Path) -> None:
    add_to_ledger(path, [Entry("e" * 36, "c" * 36, NOON, "asked")])
    assert stat.S_IMODE(ledger_of(path).stat().st_mode) == 0o600
    assert json.loads(ledger_of(path).read_text()) == {
        "id": "e" * 36,
        "child_id": "c" * 36,
        "at": "2026-03-03T12:00:00+00:00",
        "reason": "asked",
        "step": "begun",
    }


def test_a_plain_file_needs_no_other(path: Path) -> None:
    upgrade(settings_for(path))
    assert not is_plain(path)
    make_plain(path)
    assert is_plain(path)
