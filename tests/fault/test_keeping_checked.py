"""Checking a database: every kind of damage is found and told."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from server.checking import check_database
from server.keeping import backup
from server.ledger import Entry, add_to_ledger
from tests.keepers import (
    change,
    damage,
    done,
    linnet,
    load_dump,
    names_in,
    refused,
    rows_of,
)
from tests.practice import NOON, Practice, drawn

slow = pytest.mark.slow
TRIALS = {"trial": ["id", "sha256"]}


def findings(path: Path) -> list[str]:
    """What the command says on its error output when it ends with 1."""
    result = linnet("check", "--database", path)
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    return result.stderr.splitlines()


def test_all_is_well_in_a_database_that_is_being_served(practice: Practice) -> None:
    practice.send(practice.tablet(), drawn())
    assert done("check", "--database", practice.path) == (
        "All is well: 2 children, 2 sessions, 1 trial, 0 notes. Every checksum was verified.\n"
    )


def test_checking_changes_nothing(path: Path) -> None:
    before = path.read_bytes()
    done("check", "--database", path)
    assert path.read_bytes() == before
    assert names_in(path.parent) == ["practice.sqlite3"]


def test_each_damaged_trial_is_named_by_its_random_id(practice: Practice, away: Path) -> None:
    tablet, trees = practice.tablet(), [drawn(seq=number) for number in range(4)]
    for tree in trees:
        practice.send(tablet, tree)
    ids = [tree["trial_id"] for tree in trees]
    copy = away / "b.sqlite3"
    backup(practice.path, copy)
    triggers = "SELECT sql FROM sqlite_master WHERE name = 'trial_fixed_columns'"
    with closing(sqlite3.connect(copy)) as bare, bare:
        (guard,) = bare.execute(triggers).fetchone()
        (raw,) = bare.execute("SELECT raw FROM trial WHERE id = ?", (ids[1],)).fetchone()
        flipped = raw[:200] + bytes([raw[200] ^ 1]) + raw[201:]
        bare.execute("DROP TRIGGER trial_fixed_columns")
        bare.execute("UPDATE trial SET raw = ? WHERE id = ?", (flipped, ids[1]))
        bare.execute("UPDATE trial SET sha256 = ? WHERE id = ?", ("0" * 64, ids[3]))
        bare.execute(guard)
    assert findings(copy) == [
        f"Trials that no longer hold the bytes that were stored: {ids[1]}, {ids[3]}."
    ]


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("DROP TRIGGER trial_never_deleted", "The guard trial_never_deleted is missing."),
        ("DROP INDEX ix_care_link_child_id", "The index ix_care_link_child_id is missing."),
        ("CREATE TABLE kite (a)", "The table kite is none of Linnet's."),
        (
            "CREATE TRIGGER t AFTER INSERT ON mark BEGIN DELETE FROM mark; END",
            "The guard t is none of Linnet's.",
        ),
        ("ALTER TABLE child ADD COLUMN a", "The table child is not as Linnet made it."),
        ("DELETE FROM account", "Rows of the table account_role that belong to nothing: 5."),
        ("UPDATE plan SET plan = '{'", "Rows of the table plan whose plan is not JSON: 2."),
        ("INSERT INTO erasing VALUES ('x')", "An erasure was left open in it, so that records"),
        ("DROP TABLE alembic_version", "This is not a database of Linnet"),
        (
            "UPDATE alembic_version SET version_num = '9999'",
            "The database has schema 9999, which this program does not know",
        ),
    ],
)
def test_each_kind_of_damage_is_told_in_a_sentence(path: Path, statement: str, said: str) -> None:
    rights = "DELETE FROM account" in statement or "UPDATE plan" in statement
    change(path, statement, guarded=not rights)
    found = findings(path)
    assert any(one.startswith(said) for one in found), found
    assert all(one.endswith(".") for one in found)


def test_a_file_with_a_hole_in_it_is_told(path: Path) -> None:
    damage(path)
    found = findings(path)
    assert any("SQLite finds" in one or "cannot be read to its end" in one for one in found), found


def test_a_child_of_the_ledger_that_is_there_again_is_told(path: Path) -> None:
    gull = rows_of(path, {"child": ["id"]})["child"][0][0]
    add_to_ledger(path, [Entry("e" * 36, gull, NOON, "asked", done=True)])
    (said,) = findings(path)
    assert said.startswith(f"Children that were erased and are in it again: {gull}.")


def test_an_old_schema_is_told_with_the_command_that_helps(tmp_path: Path) -> None:
    load_dump("0001", tmp_path / "old.sqlite3")
    (said,) = findings(tmp_path / "old.sqlite3")
    assert said == "The schema is 0001, and this program needs 0002: run 'linnet upgrade'."


def test_progress_is_told_trial_by_trial(practice: Practice) -> None:
    for number in range(3):
        practice.send(practice.tablet(), drawn(seq=number))
    seen: list[tuple[int, int]] = []
    check_database(practice.path, progress=lambda *at: seen.append(at))
    assert seen == [(1, 3), (2, 3), (3, 3)]


def test_a_database_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    for command in ("check", "upgrade", "erase"):
        more = ["BW-91", "--yes"] if command == "erase" else []
        said = refused(command, *more, "--database", tmp_path / "none" / "x.sqlite3")
        assert "there is no database" in said
    assert names_in(tmp_path) == []
