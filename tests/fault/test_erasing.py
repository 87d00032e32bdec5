"""Erasing: all of a record and nothing else, seen to be gone, ended even if cut short."""

import json
import sqlite3
import subprocess
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Table

from server import erasing
from server.app import create_app
from server.checking import check_database
from server.copies import beside
from server.database import PRAGMAS, make_engine
from server.erased_bytes import left_in_files
from server.ledger import ledger_of, read_ledger
from server.tables import Base
from tests.keepers import (
    assert_gone,
    cut_short_at,
    done,
    everything,
    found_in,
    gull_of,
    ids_in,
    linnet,
    load_dump,
    refused,
    rows_of,
    traces,
)
from tests.leaks import leaks_in
from tests.practice import (
    PLAN_GULL,
    TODAY,
    Clock,
    settings_for,
)
from tests.records import STORY
from tests.running import environment

slow = pytest.mark.slow
# Rows that an erasure adds; all others may only go.
ADDED = {"audit", "erasure", "erased_id", "sqlite_sequence"}


@pytest.fixture
def path(full: Path) -> Path:
    """A database with a full record of two children."""
    return full


def test_every_table_below_a_child_is_counted_among_its_record() -> None:
    below, grown = {"child"}, True
    tables: dict[str, Table] = dict(Base.metadata.tables)
    while grown:
        more = {
            name
            for name, table in tables.items()
            for key in table.foreign_keys
            if key.column.table.name in below
        }
        grown, below = not more <= below, below | more
    assert {table.__tablename__ for table in erasing.rows_of("x")} == below


def test_the_whole_record_goes_and_nothing_else(path: Path) -> None:
    gull, needles = gull_of(path), traces(path)
    for needle in needles:
        assert found_in(path.parent, needle) == ["practice.sqlite3"]
    before = everything(path)
    said = done("erase", "BW-91", "--yes", "--database", path)
    assert said.startswith("Erased. The bytes of the database were searched, and nothing of it")
    after = everything(path)
    with closing(sqlite3.connect(path)) as connection:
        row = connection.execute("SELECT child_id, reason, counts FROM erasure").fetchone()
    assert row[:2] == (gull, "asked")
    counts = json.loads(row[2])
    gone = {table: len(before[table]) - len(after[table]) for table in before if table not in ADDED}
    assert {table: count for table, count in gone.items() if count} == counts
    # Every table that a record can reach had rows in it.
    assert all(counts.values()), counts
    for table in gone:
        assert set(after[table]) <= set(before[table]), table
    assert_gone(path.parent, needles)
    assert check_database(path).findings == []


def test_every_id_that_may_still_be_sent_is_remembered(path: Path) -> None:
    gull = gull_of(path)
    columns = {
        "child": ["id"],
        "session": ["id", "child_id", "plan_id"],
        "trial": ["id", "session_id"],
        "mark": ["id", "trial_id"],
    }
    before = rows_of(path, columns)
    sessions = {row[0] for row in before["session"] if row[2] == gull}
    plans = {row[4] for row in before["session"] if row[2] == gull}
    trials = {row[0] for row in before["trial"] if row[2] in sessions}
    marks = {row[0] for row in before["mark"] if row[2] in trials}
    assert (len(sessions), len(trials), len(marks)) == (1, 2, 2)
    done("erase", gull, "--yes", "--database", path)
    erased = set(ids_in(path, "erased_id"))
    assert {gull} | sessions | plans | trials | marks <= erased
    assert PLAN_GULL in erased
    # [C] and the consent, goal, amendment, void, observation and event of the note
    assert len(erased) == 1 + 1 + 1 + 2 + 2 + 6


def test_audit_and_ledger_keep_random_ids_only(path: Path) -> None:
    gull = gull_of(path)
    done("erase", "BW-91", "--yes", "--database", path)
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT account_id, kind, object_id, child_id FROM audit WHERE verb = 'erased'"
        assert connection.execute(query).fetchall() == [(None, "child", gull, gull)]
    text = ledger_of(path).read_bytes()
    assert leaks_in(text, ["BW-91", "Gull", STORY]) == []
    begun, ended = (json.loads(line) for line in text.splitlines())
    assert (begun.pop("step"), ended.pop("step")) == ("begun", "done")
    assert begun == ended
    assert begun["child_id"] == gull
    assert set(begun) == {"id", "child_id", "at", "reason"}


def test_a_second_child_can_be_erased_after_the_first(path: Path) -> None:
    done("erase", "BW-91", "--yes", "--database", path)
    done("erase", "BW-92", "--yes", "--database", path)
    assert ids_in(path) == []
    assert len(read_ledger(path)) == 2
    assert check_database(path).counts["trial"] == 0


# Who asks, and how.


def test_it_asks_and_without_a_yes_nothing_is_erased(path: Path) -> None:
    before = everything(path)
    for answer in ("n\n", "\n", ""):
        result = linnet("erase", "BW-91", "--database", path, typed=answer)
        assert result.exit_code == 1
        assert "This erases 1 child, 1 session, 2 trials, 1 note and all that" in result.stdout
    assert everything(path) == before
    assert not ledger_of(path).exists()
    assert "Erased." in done("erase", "BW-91", "--database", path, typed="y\n")


def test_a_dash_asks_for_the_child_on_the_terminal(path: Path) -> None:
    result = linnet("erase", "-", "--database", path, typed="BW-91\ny\n")
    assert result.exit_code == 0
    assert "Code or id of the child" in result.stderr
    assert [row[0] for row in rows_of(path, {"child": ["code"]})["child"]] == ["BW-92"]


def test_a_child_that_is_not_there_is_told_and_nothing_changes(path: Path) -> None:
    before = everything(path)
    assert "there is no such child" in refused("erase", "BW-77", "--yes", "--database", path)
    assert everything(path) == before
    gull = gull_of(path)
    done("erase", gull, "--yes", "--database", path)
    again = done("erase", gull, "--yes", "--database", path)
    assert again.startswith("This child was erased before.")
    assert "there is no such child" in refused("erase", "BW-91", "--yes", "--database", path)


def test_those_whose_time_is_over_are_erased_together(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        # The clock of the command is that of the machine.
        connection.execute("UPDATE child SET retention_until = '2026-01-31' WHERE code = 'BW-91'")
        connection.execute("UPDATE child SET retention_until = '9999-01-31' WHERE code = 'BW-92'")
    done("erase", "--due", "--yes", "--database", path)
    assert [row[0] for row in rows_of(path, {"child": ["code"]})["child"]] == ["BW-92"]
    assert ids_in(path, "erasure", "reason") == ["retention"]
    said = done("erase", "--due", "--yes", "--database", path)
    assert said.startswith("No child's time is over")


@pytest.mark.parametrize(("until", "is_over"), [(-1, True), (0, False), (1, False)])
def test_a_record_is_kept_to_the_end_of_its_last_day(path: Path, until: int, is_over: bool) -> None:
    from server.cli_erase import _ids

    day = (TODAY + timedelta(days=until)).isoformat()
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE child SET retention_until = ? WHERE code = 'BW-91'", (day,))
    assert _ids(path, None, TODAY) == ([gull_of(path)] if is_over else [])


def test_a_database_of_an_older_schema_is_upgraded_first(tmp_path: Path) -> None:
    load_dump("0001", tmp_path / "x.sqlite3")
    said = refused("erase", "BW-91", "--yes", "--database", tmp_path / "x.sqlite3")
    assert "run 'linnet upgrade'" in said


# Seeing that it is gone.


def test_a_search_of_bytes_finds_what_is_planted(path: Path) -> None:
    for suffix in ("-wal", "-lock", ".erasures"):
        planted = beside(path, suffix)
        planted.write_bytes(b"\x00" * 70_000 + b"Quillfeather" + b"\x00")
        assert found_in(path.parent, b"Quillfeather") == [planted.name]
        planted.unlink()
    beside(path, "-lock").write_bytes(b"\x00Quillfeather")
    (found,) = left_in_files(path, {b"Quillfeather": True})
    assert (found.file, found.tables) == (beside(path, "-lock"), ())
    assert left_in_files(path, {b"Quillfeathers": True}) == []
    tables = {one.tables for one in left_in_files(path, {b"BW-91": True})}
    assert tables == {("child",)}


def test_what_is_left_fails_loudly_until_a_second_run_ends_it(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = erasing.clean

    def not_quite(database: Path) -> None:
        whole(database)
        beside(database, "-journal").write_bytes(b"\x00" * 999 + b"Gull")

    monkeypatch.setattr(erasing, "clean", not_quite)
    said = refused("erase", "BW-91", "--yes", "--database", path)
    assert "practice.sqlite3-journal" in said
    assert "the record is not erased" in said
    assert [entry.done for entry in read_ledger(path).values()] == [False]
    monkeypatch.undo()
    beside(path, "-journal").unlink()
    assert "cut short has been ended" in done("erase", "BW-91", "--yes", "--database", path)
    assert [entry.done for entry in read_ledger(path).values()] == [True]


def test_deleting_alone_would_leave_the_bytes(path: Path) -> None:
    """Why the file is written anew: the search would find what a plain delete leaves."""
    needles, gull = traces(path), gull_of(path)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA secure_delete = OFF")
        connection.execute("INSERT INTO erasing VALUES (?)", (gull,))
        connection.execute("DELETE FROM child WHERE id = ?", (gull,))
    assert "BW-91" not in str(everything(path))
    assert any(found_in(path.parent, needle) for needle in needles)


def test_bytes_that_an_older_release_left_in_free_pages_go_too(path: Path) -> None:
    needles = traces(path)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("PRAGMA secure_delete = OFF")
        connection.execute("CREATE TABLE passing AS SELECT * FROM child")
        connection.execute("INSERT INTO passing SELECT * FROM child")
        connection.execute("DROP TABLE passing")
    free = "PRAGMA freelist_count"
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute(free).fetchone()[0] > 0
    done("erase", "BW-91", "--yes", "--database", path)
    assert_gone(path.parent, needles)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute(free).fetchone()[0] == 0


def test_every_connection_overwrites_what_it_deletes(path: Path) -> None:
    # Some builds of SQLite do so by themselves.
    assert "secure_delete = ON" in PRAGMAS
    engine = make_engine(settings_for(path))
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA secure_delete").scalar() == 1
    engine.dispose()


def test_a_nickname_that_another_child_has_too_is_told_and_left(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE child SET nickname = 'Gull' WHERE code = 'BW-92'")
    result = linnet("erase", "BW-91", "--yes", "--database", path)
    assert result.exit_code == 0
    assert "belong to somebody else, in these tables: child. They were not changed" in result.stderr
    assert ids_in(path, "child", "nickname") == ["Gull"]


# Cut short.


@slow
@pytest.mark.parametrize("ending", ["again", "serving"])
@pytest.mark.parametrize(
    ("place", "after", "call"),
    [
        ("server.erasing.add_to_ledger", True, 1),
        ("server.erasing.erase_rows", True, 1),
        ("server.erasing.clean", False, 1),
        ("server.erasing.fold_in", False, 1),
        ("server.erasing.clean", True, 1),
        ("server.erasing.add_to_ledger", False, 2),
    ],
)
def test_an_erasure_that_is_killed_is_ended_by_the_next_command_or_start(
    path: Path, place: str, after: bool, call: int, ending: str
) -> None:
    needles = traces(path)
    command = ["erase", "BW-91", "--yes", "--database", str(path)]
    killed = [*cut_short_at(place, after=after, call=call), *command]
    assert subprocess.run(killed, env=environment()).returncode == 86
    assert [entry.done for entry in read_ledger(path).values()] == [False]
    if ending == "again":
        done(*command)
    else:
        with TestClient(create_app(settings_for(path), Clock())) as client:
            assert client.get("/healthz").status_code == 200
    assert [entry.done for entry in read_ledger(path).values()] == [True]
    assert ids_in(path, "erasure", "reason") == ["asked"]
    assert_gone(path.parent, needles)
    assert check_database(path).findings == []
