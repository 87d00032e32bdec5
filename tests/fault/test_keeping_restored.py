"""Putting a backup back: all or nothing, whatever state anything is in."""

import os
import sqlite3
import stat
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from server.checking import check_database
from server.copies import BEFORE, SET_ASIDE, sweep
from server.keeping import backup
from server.ledger import Entry, add_to_ledger, ledger_of
from server.restoring import restore
from tests.keepers import (
    change,
    cut_short_at,
    damage,
    done,
    everything,
    later,
    load_dump,
    names_in,
    refused,
    rows_of,
)
from tests.practice import NOON, Practice
from tests.running import environment

slow = pytest.mark.slow
TRIALS = {"trial": ["id", "sha256"]}


def test_a_backup_is_put_back_and_what_was_there_is_set_aside(path: Path, away: Path) -> None:
    target = away / "b.sqlite3"
    earlier = everything(path)
    done("backup", target, "--database", path)
    later(path)
    newer = everything(path)
    assert newer != earlier
    said = done("restore", target, "--database", path)
    (aside,) = path.parent.glob("practice.sqlite3.set-aside-*Z")
    assert f"What was there before is in {aside}\n" in said
    assert "Everybody has to sign in again." in said
    assert everything(aside) == newer
    assert stat.S_IMODE(aside.stat().st_mode) == stat.S_IMODE(path.stat().st_mode) == 0o600
    restored = everything(path)
    # Only that it was put back is new.
    assert len(restored.pop("audit")) == len(earlier.pop("audit")) + 1
    assert {name for name in earlier if restored[name] != earlier[name]} <= {"sqlite_sequence"}
    assert names_in(path.parent) == ["practice.sqlite3", "practice.sqlite3-lock", aside.name]
    done("check", "--database", path)


def test_names_of_what_is_set_aside_carry_the_time_and_are_never_used_twice(
    path: Path, away: Path
) -> None:
    backup(path, away / "b.sqlite3")
    names = [restore(path, away / "b.sqlite3", at=NOON).set_aside for _ in range(3)]
    assert [one.name for one in names if one] == [
        "practice.sqlite3.set-aside-20260303T120000Z",
        "practice.sqlite3.set-aside-20260303T120000Z-2",
        "practice.sqlite3.set-aside-20260303T120000Z-3",
    ]


def test_the_wal_of_the_database_before_is_not_taken_for_that_of_the_next(
    path: Path, away: Path
) -> None:
    backup(path, away / "b.sqlite3")
    earlier = rows_of(path, {"child": ["id", "sign"]})
    change(path, "PRAGMA journal_mode = WAL")
    # A process that ends without a farewell leaves its WAL behind.
    left = (
        "import os, sqlite3, sys; c = sqlite3.connect(sys.argv[1]);"
        "c.execute(\"UPDATE child SET sign = 'rope anchor'\"); c.commit(); os._exit(0)"
    )
    subprocess.run([sys.executable, "-c", left, str(path)], check=True)
    assert path.with_name("practice.sqlite3-wal").stat().st_size > 0
    done("restore", away / "b.sqlite3", "--database", path)
    assert rows_of(path, {"child": ["id", "sign"]}) == earlier
    (aside,) = path.parent.glob("*set-aside*")
    assert "rope anchor" in str(rows_of(aside, {"child": ["sign"]}))


def test_a_wal_that_another_program_keeps_open_is_ended_too(path: Path, away: Path) -> None:
    backup(path, away / "b.sqlite3")
    earlier = rows_of(path, {"child": ["id", "sign"]})
    change(path, "PRAGMA journal_mode = WAL")
    with closing(sqlite3.connect(path)) as other:
        # It reads nothing now, but as long as it is there SQLite leaves the WAL.
        other.execute("SELECT count(*) FROM child").fetchall()
        later(path)
        assert path.with_name("practice.sqlite3-wal").stat().st_size > 0
        done("restore", away / "b.sqlite3", "--database", path)
        assert not path.with_name("practice.sqlite3-wal").exists()
        assert rows_of(path, {"child": ["id", "sign"]}) == earlier


def test_sign_ins_of_the_backup_are_ended(practice: Practice, away: Path) -> None:
    practice.desk("ferry")
    backup(practice.path, away / "b.sqlite3")
    target = away / "practice.sqlite3"
    restore(target, away / "b.sqlite3", at=NOON)
    ended = rows_of(target, {"sign_in": ["ended_at"]})["sign_in"]
    assert ended == [("2026-03-03 12:00:00.000000", "text")]


def test_a_backup_of_an_older_schema_is_upgraded_before_it_is_put_in_place(
    path: Path, away: Path
) -> None:
    load_dump("0001", away / "old.sqlite3")
    said = done("restore", away / "old.sqlite3", "--database", path)
    assert said.startswith("Put back: 2 children, 3 sessions, 5 trials, 0 notes.")
    done("check", "--database", path)
    assert check_database(away / "old.sqlite3", older=True).revision == "0001"


def test_a_backup_can_be_put_where_there_is_no_database_yet(path: Path, away: Path) -> None:
    backup(path, away / "b.sqlite3")
    fresh = away / "new" / "practice.sqlite3"
    said = done("restore", away / "b.sqlite3", "--database", fresh)
    assert "before is in" not in said
    assert f"copy it to {ledger_of(fresh)} before you serve" in said
    done("check", "--database", fresh)
    assert "copy it to" not in done("restore", away / "b.sqlite3", "--database", fresh)


def test_a_ledger_laid_beside_a_new_place_counts_there(path: Path, away: Path) -> None:
    backup(path, away / "b.sqlite3")
    fresh = away / "practice.sqlite3"
    gull = rows_of(path, {"child": ["id"]})["child"][0][0]
    add_to_ledger(fresh, [Entry("e" * 36, gull, NOON, "asked", done=True)])
    said = done("restore", away / "b.sqlite3", "--database", fresh)
    assert "Erased from it again, as asked for since it was made: 1." in said
    assert "copy it to" not in said
    assert len(rows_of(fresh, {"child": ["id"]})["child"]) == 1


def newer_schema(path: Path) -> None:
    change(path, "UPDATE alembic_version SET version_num = '9999'")


def other_checksum(path: Path) -> None:
    change(
        path,
        "INSERT INTO trial (id, session_id, kind, received_at, late, sha256, raw, export_key)"
        f" SELECT 'x', id, 'trial', '2026-03-03', 0, '{'0' * 64}', x'00', 'x' FROM session LIMIT 1",
    )


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (newer_schema, "a newer release made it"),
        (other_checksum, "no longer hold the bytes that were stored: x."),
        (damage, "damaged"),
        (lambda path: path.write_bytes(b"ropes"), "it is not a database"),
        (lambda path: path.write_bytes(b""), "not a database of Linnet"),
    ],
)
def test_a_bad_backup_is_not_put_back_and_nothing_changes(
    path: Path, away: Path, spoil: Any, words: str
) -> None:
    target = away / "b.sqlite3"
    backup(path, target)
    spoil(target)
    before = everything(path)
    said = refused("restore", target, "--database", path)
    assert "the backup was not put back" in said
    assert words in said
    assert everything(path) == before
    assert names_in(path.parent) == ["practice.sqlite3", "practice.sqlite3-lock"]


def test_nothing_is_put_back_erased_or_upgraded_while_the_database_is_served(
    practice: Practice, away: Path
) -> None:
    backup(practice.path, away / "b.sqlite3")
    for command in (["restore", away / "b.sqlite3"], ["erase", "BW-91", "--yes"], ["upgrade"]):
        said = refused(*command, "--database", practice.path)
        assert "already served by another process: stop that one first" in said
    assert len(rows_of(practice.path, {"child": ["id"]})["child"]) == 2


def test_a_file_that_does_not_exist_or_is_the_database_is_not_put_back(
    path: Path, away: Path
) -> None:
    assert "there is no backup" in refused("restore", away / "b", "--database", path)
    assert "the database itself" in refused("restore", path, "--database", path)


def test_a_damaged_database_is_set_aside_as_it_is_and_its_ledger_still_counts(
    path: Path, away: Path
) -> None:
    backup(path, away / "b.sqlite3")
    (gull,) = (
        row[0] for row in rows_of(path, {"child": ["id", "code"]})["child"] if "BW-91" in row
    )
    add_to_ledger(path, [Entry("e" * 36, gull, NOON, "asked", done=True)])
    path.write_bytes(b"kites " * 5000)
    said = done("restore", away / "b.sqlite3", "--database", path)
    assert "Erased from it again, as asked for since it was made: 1." in said
    (aside,) = path.parent.glob("*set-aside*")
    assert aside.read_bytes() == b"kites " * 5000
    assert [row[0] for row in rows_of(path, {"child": ["code"]})["child"]] == ["BW-92"]


# Where a restore is cut short: before or after the nth call of a function.
STEPS = [
    ("server.restoring.copy_database", False, 1),
    ("server.restoring._made_ready", True, 1),
    ("server.restoring._set_aside", False, 1),
    ("os.replace", False, 1),
    ("server.restoring._set_aside", True, 1),
    ("server.restoring._close", True, 1),
    ("server.copies.put_in_place", False, 2),
    ("os.replace", False, 2),
    ("os.replace", True, 2),
    ("server.copies.sync_folder", True, 2),
]


@slow
@pytest.mark.parametrize(("place", "after", "call"), STEPS)
def test_a_restore_that_is_killed_leaves_the_old_or_the_new_never_a_mix(
    path: Path, away: Path, place: str, after: bool, call: int
) -> None:
    target = away / "b.sqlite3"
    backup(path, target)
    later(path)
    columns = {"child": ["id", "sign"]}
    old, new = rows_of(path, columns), rows_of(target, columns)
    killed = cut_short_at(place, after=after, call=call)
    command = [*killed, "restore", str(target), "--database", str(path)]
    assert subprocess.run(command, env=environment()).returncode == 86
    assert check_database(path).findings == []
    is_last = STEPS.index((place, after, call)) >= STEPS.index(("os.replace", True, 2))
    assert rows_of(path, columns) == (new if is_last else old)
    assert rows_of(target, columns) == new
    done("restore", target, "--database", path)
    assert rows_of(path, columns) == new
    left = [name for name in names_in(path.parent) if name.endswith((".part", ".restoring"))]
    assert left == []


def test_the_last_step_of_putting_back_is_one(
    path: Path, away: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    backup(path, away / "b.sqlite3")
    later(path)
    old = everything(path)
    whole = os.replace

    def fail(part: Path, target: Path) -> None:
        if target == path:
            raise OSError(5, "Input/output error", str(target))
        whole(part, target)

    monkeypatch.setattr(os, "replace", fail)
    assert "Input/output error" in refused("restore", away / "b.sqlite3", "--database", path)
    monkeypatch.undo()
    assert everything(path) == old
    (aside,) = path.parent.glob("*set-aside*")
    assert everything(aside) == old
    assert names_in(path.parent) == ["practice.sqlite3", "practice.sqlite3-lock", aside.name]


def test_leftovers_of_our_own_are_swept_and_nothing_else(path: Path) -> None:
    mine = [f"{BEFORE}0002-x.part", f"{SET_ASIDE}x.restoring", f"{SET_ASIDE}x.part-journal"]
    others = [".restoring.txt", f"{SET_ASIDE}y", ".part"]
    for suffix in (*mine[:2], *others, ".restoring", ".restoring-wal"):
        path.with_name(path.name + suffix).write_bytes(b"x")
    sweep(path)
    kept = sorted(path.name + suffix for suffix in ("", *others))
    assert names_in(path.parent) == kept
