"""The ledger of erasures: whoever was erased does not come back, with a backup or by hand."""

import shutil
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from server.app import create_app
from server.checking import check_database
from server.copies import beside
from server.erasing import apply_ledger
from server.keeping import backup
from server.ledger import DamagedLedger, Entry, add_to_ledger, ledger_of, read_ledger
from tests.keepers import (
    assert_gone,
    done,
    everything,
    found_in,
    gull_of,
    ids_in,
    linnet,
    load_dump,
    names_in,
    rows_of,
    traces,
)
from tests.practice import (
    NOON,
    Clock,
    drawn,
    running,
    settings_for,
)

slow = pytest.mark.slow


@pytest.fixture
def path(full: Path) -> Path:
    """A database with a full record of two children."""
    return full


def test_a_restored_backup_has_them_erased_before_it_is_put_in_place(
    path: Path, tmp_path: Path
) -> None:
    needles, gull = traces(path), gull_of(path)
    kept = tmp_path / "away.sqlite3"
    backup(path, kept)
    done("erase", "BW-91", "--yes", "--database", path)
    before = set(ids_in(path, "erased_id"))
    said = done("restore", kept, "--database", path)
    assert "Erased from it again, as asked for since it was made: 1." in said
    assert_gone(path.parent, needles)
    assert gull not in ids_in(path)
    assert ids_in(path, "erasure", "reason") == ["restored"]
    assert ids_in(path, "erasure") == list(read_ledger(path))
    assert set(ids_in(path, "erased_id")) == before
    # The backup itself is only read: whoever keeps it has been told.
    assert found_in(kept.parent, b"Gull") == [kept.name]


def test_ids_that_a_backup_never_knew_stay_erased_after_it_is_put_back(
    path: Path, tmp_path: Path, practice_template: tuple[Path, dict[str, str]]
) -> None:
    kept = tmp_path / "away.sqlite3"
    backup(path, kept)
    with running(path, path.parent, practice_template[1]) as practice:
        fresh = drawn(seq=9)
        assert practice.send(practice.tablet(), fresh).status_code == 201
    done("erase", "BW-91", "--yes", "--database", path)
    done("restore", kept, "--database", path)
    assert fresh["trial_id"] in ids_in(path, "erased_id")


def test_a_backup_from_before_the_schema_knew_erasures_has_them_erased_too(
    path: Path, tmp_path: Path
) -> None:
    old = tmp_path / "old.sqlite3"
    load_dump("0001", old)
    add_to_ledger(path, [Entry("e" * 36, gull_of(old), NOON, "asked", done=True)])
    done("restore", old, "--database", path)
    assert [row[0] for row in rows_of(path, {"child": ["code"]})["child"]] == ["BW-92"]
    assert_gone(path.parent, [b"The paper of the kite blew over."])


@pytest.mark.parametrize("with_ledger", [True, False])
def test_a_file_copied_over_by_hand_has_them_erased_before_it_is_served(
    path: Path, tmp_path: Path, with_ledger: bool
) -> None:
    needles, gull = traces(path), gull_of(path)
    kept = tmp_path / "away.sqlite3"
    backup(path, kept)
    done("erase", "BW-91", "--yes", "--database", path)
    shutil.copy(kept, path)
    if not with_ledger:
        # The proof that the ledger does it: without one the child is back.
        ledger_of(path).unlink()
    with TestClient(create_app(settings_for(path), Clock())) as client:
        assert client.get("/healthz").status_code == 200
        assert (gull in ids_in(path)) is not with_ledger
    if with_ledger:
        assert_gone(path.parent, needles)
        assert ids_in(path, "erasure", "reason") == ["restored"]
        assert apply_ledger(path, NOON) == 0


def test_a_ledger_that_was_lost_is_written_anew_from_the_database(path: Path) -> None:
    done("erase", "BW-91", "--yes", "--database", path)
    before = read_ledger(path)
    ledger_of(path).unlink()
    assert apply_ledger(path, NOON) == 0
    assert read_ledger(path) == before


def test_a_practice_without_erasures_has_no_ledger(path: Path) -> None:
    assert apply_ledger(path, NOON) == 0
    done("check", "--database", path)
    assert not ledger_of(path).exists()


def test_copies_beside_the_database_are_named_and_erased_from_when_told(
    path: Path, tmp_path: Path
) -> None:
    needles = traces(path)
    aside, older = (beside(path, suffix) for suffix in (".set-aside-1", ".before-0002-1"))
    backup(path, aside)
    load_dump("0001", older)
    with closing(sqlite3.connect(older)) as connection, connection:
        # The same child, as the release before knew it.
        connection.execute("DROP TRIGGER child_fixed_columns")
        connection.execute("PRAGMA foreign_keys = OFF")
        old = gull_of(older)
        for table, column in (("child", "id"), ("care_link", "child_id"), ("session", "child_id")):
            connection.execute("DROP TRIGGER IF EXISTS " + table + "_fixed_columns")
            change = f"UPDATE {table} SET {column} = ? WHERE {column} = ?"
            connection.execute(change, (gull_of(path), old))
    said = done("erase", "BW-91", "--yes", "--database", path)
    assert f"{older}\n" in said
    assert f"{aside}\n" in said
    assert found_in(path.parent, b"Gull") == [older.name, aside.name]
    said = done("erase", "--backups", "--database", path)
    assert "hold no erased record any more: 2." in said
    assert_gone(path.parent, [*needles, b"The paper of the kite blew over."])
    for copy in (aside, older):
        assert check_database(copy).findings == []
        assert check_database(copy).counts["child"] == 1


def test_a_copy_that_cannot_be_read_is_told_and_left(path: Path) -> None:
    torn = beside(path, ".set-aside-1")
    torn.write_bytes(b"Gull of the bar " * 999)
    result = linnet("erase", "BW-91", "--yes", "--backups", "--database", path)
    assert result.exit_code == 1
    assert result.stderr == f"linnet: {torn} still holds what it held: it cannot be read.\n"
    assert torn.read_bytes() == b"Gull of the bar " * 999
    assert "BW-91" not in str(everything(path))
    assert names_in(path.parent) == [
        "practice.sqlite3",
        "practice.sqlite3-lock",
        "practice.sqlite3.erasures",
        torn.name,
    ]


def entries() -> list[Entry]:
    return [Entry(str(n) * 36, "c" * 36, NOON + timedelta(days=n), "asked") for n in range(3)]


def test_the_last_line_of_an_erasure_counts(path: Path) -> None:
    add_to_ledger(path, entries())
    add_to_ledger(path, [entries()[1].as_done()])
    kept = list(read_ledger(path).values())
    assert kept == [entries()[0], entries()[1].as_done(), entries()[2]]


@pytest.mark.parametrize("cut", [1, 2, 30, 150])
def test_a_last_line_that_was_cut_short_is_none_and_makes_room(path: Path, cut: int) -> None:
    add_to_ledger(path, entries())
    whole = ledger_of(path).read_bytes()
    ledger_of(path).write_bytes(whole[:-cut])
    # Only its end is missing from the first of these.
    expected = entries() if cut == 1 else entries()[:2]
    assert list(read_ledger(path).values()) == expected
    added = Entry("f" * 36, "c" * 36, NOON, "retention")
    add_to_ledger(path, [added])
    assert list(read_ledger(path).values()) == [*expected, added]
    assert ledger_of(path).read_bytes().count(b"\n") == len(expected) + 1
    assert ledger_of(path).read_bytes().endswith(b"\n")


def test_a_last_line_of_any_length_makes_room(path: Path) -> None:
    add_to_ledger(path, entries())
    with ledger_of(path).open("ab") as file:
        file.write(b'{"id":"' + b"f" * 999)
    add_to_ledger(path, [entries()[0].as_done()])
    assert ledger_of(path).stat().st_size < 999
    assert [entry.done for entry in read_ledger(path).values()] == [True, False, False]


@pytest.mark.parametrize("line", [b"kite", b"{}", b'{"id": 1}', b"[]", b"\xff"])
def test_a_ledger_that_cannot_be_read_stops_everything(path: Path, line: bytes) -> None:
    add_to_ledger(path, entries())
    ledger_of(path).write_bytes(line + b"\n" + ledger_of(path).read_bytes())
    with pytest.raises(DamagedLedger, match="line 1 of"):
        read_ledger(path)
    for command in (["erase", "BW-91", "--yes"], ["check"], ["serve", "--port", "0"]):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("server.cli_serve.signal.signal", lambda _number, _handler: None)
            result = linnet(*command, "--database", path)
        assert result.exit_code == 1
        assert "line 1 of" in result.stderr
    with pytest.raises(DamagedLedger), TestClient(create_app(settings_for(path), Clock())):
        pass
    assert len(ids_in(path)) == 2
