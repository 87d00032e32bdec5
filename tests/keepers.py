"""What the tests of backup, restore, check, erase and upgrade share."""

import re
import sqlite3
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from server.cli import app
from tests.leaks import leaks_in, telling_words
from tests.records import STORY

DATABASES = Path(__file__).parents[1] / "fixtures" / "databases"


def linnet(*arguments: str | Path, typed: str | None = None) -> Result:
    """Run a command; whatever it says names nobody."""
    result = CliRunner().invoke(app, [str(one) for one in arguments], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    said = re.sub(r"\S*/\S+", "", result.output)
    # What was typed on the terminal stands there because it was typed.
    typed_words = set((typed or "").split())
    assert leaks_in(said.encode(), telling_words() - typed_words) == []
    return result


def done(*arguments: str | Path, typed: str | None = None) -> str:
    """Run a command that has to succeed; return what it says."""
    result = linnet(*arguments, typed=typed)
    assert result.exit_code == 0, result.output
    assert result.stderr == "" or typed is not None, result.stderr
    return result.stdout


def refused(*arguments: str | Path) -> str:
    """Run a command that has to fail; return the one sentence it says."""
    result = linnet(*arguments)
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    assert result.stderr.startswith("linnet: ")
    assert result.stderr.endswith(".\n")
    assert result.stderr.count("\n") == 1
    return result.stderr


def load_dump(revision: str, path: Path) -> None:
    """Make the database that a release left."""
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((DATABASES / f"{revision}.sql").read_text(encoding="utf-8"))


def columns_of(path: Path) -> dict[str, list[str]]:
    """Columns of every table."""
    with closing(sqlite3.connect(path)) as connection:
        names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        return {
            name: [row[1] for row in connection.execute(f'PRAGMA table_info("{name}")')]
            for (name,) in names
        }


def rows_of(path: Path, columns: dict[str, list[str]]) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of some columns, each with the type it is stored in, in a fixed order."""
    with closing(sqlite3.connect(path)) as connection:
        found = {}
        for table, names in columns.items():
            wanted = ", ".join(f'"{name}", typeof("{name}")' for name in names)
            rows = connection.execute(f'SELECT {wanted} FROM "{table}"').fetchall()
            found[table] = sorted(rows, key=repr)
        return found


def everything(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of a database."""
    return rows_of(path, columns_of(path))


def found_in(folder: Path, needle: bytes) -> list[str]:
    """Names of the files of a folder in whose bytes something stands."""
    return sorted(
        str(one.relative_to(folder))
        for one in folder.rglob("*")
        if one.is_file() and needle in one.read_bytes()
    )


def names_in(folder: Path) -> list[str]:
    return sorted(one.name for one in folder.iterdir())


def cut_short_at(place: str, *, after: bool = False, call: int = 1) -> tuple[str, ...]:
    """A ``linnet`` that ends, without any farewell, where a function begins or has returned."""
    module, _, name = place.rpartition(".")
    lines = [
        f"import os, {module} as module",
        f"whole, calls = module.{name}, []",
        "def cut(*given, **named):",
        "    calls.append(1)",
        f"    if len(calls) < {call}: return whole(*given, **named)",
        *(["    whole(*given, **named)"] if after else []),
        "    os._exit(86)",
        f"module.{name} = cut",
        "from server.cli import main",
        "main()",
    ]
    return (sys.executable, "-c", "\n".join(lines))


def change(path: Path, *statements: str, guarded: bool = True) -> None:
    """Change a database as another program could."""
    with closing(sqlite3.connect(path)) as connection, connection:
        if not guarded:
            names = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
            for (name,) in connection.execute(names).fetchall():
                connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)


def damage(path: Path) -> None:
    """Overwrite the middle of a file."""
    raw = bytearray(path.read_bytes())
    raw[4096:-4096] = bytes(len(raw) - 8192)
    path.write_bytes(raw)


def is_plain(path: Path) -> bool:
    """[P] SQLite file format: bytes 18 and 19 are 1 without a WAL, 2 with one."""
    return path.read_bytes()[18:20] == b"\x01\x01"


def later(path: Path) -> None:
    """Something that happened after the backup was made."""
    change(path, "UPDATE child SET sign = 'rope anchor' WHERE code = 'BW-91'")


def ids_in(path: Path, table: str = "child", column: str = "id") -> list[str]:
    return [row[0] for row in rows_of(path, {table: [column]})[table]]


def gull_of(path: Path) -> str:
    with closing(sqlite3.connect(path)) as connection:
        (found,) = connection.execute("SELECT id FROM child WHERE code = 'BW-91'").fetchone()
        return str(found)


def packed_of(path: Path, child_id: str) -> list[bytes]:
    """Pieces of the packed records of a child, from the whole length of each."""
    query = "SELECT raw FROM trial JOIN session ON session.id = trial.session_id WHERE child_id = ?"
    with closing(sqlite3.connect(path)) as connection:
        raws = [raw for (raw,) in connection.execute(query, (child_id,))]
    return [raw[at : at + 24] for raw in raws for at in range(100, len(raw) - 24, len(raw) // 7)]


def traces(path: Path) -> list[bytes]:
    """What gives Gull away."""
    return [b"BW-91", b"Gull", STORY[:40].encode(), *packed_of(path, gull_of(path))]


def assert_gone(folder: Path, needles: list[bytes]) -> None:
    for needle in needles:
        assert found_in(folder, needle) == []
