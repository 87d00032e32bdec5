"""Checking a database: every checksum, every guard, every key. It is only read."""

import hashlib
import sqlite3
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from server.copies import KeepingFailed, Progress, no_progress, open_to_read
from server.database import NEWER_SCHEMA, is_known, newest_revision, upgrade
from server.settings import SQLITE, Settings

COUNTED = ("account", "child", "session", "trial", "mark", "note")
# More than these would not be read by anybody.
MOST_NAMED = 50
UNREADABLE = "The file cannot be read to its end: it is damaged, or it is not a database."
KINDS = {"table": "table", "index": "index", "trigger": "guard"}
OBJECTS = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"


@dataclass
class Checked:
    """What a check found.

    Parameters
    ----------
    revision : str or None
        Schema of the database.
    counts : dict
        Rows of the tables a person asks about.
    findings : list of str
        What is wrong, in sentences; random ids only. Empty if all is well.
    """

    revision: str | None = None
    counts: dict[str, int] = field(default_factory=dict)
    findings: list[str] = field(default_factory=list)


def settings_of(path: Path) -> Settings:
    """Return the settings that mean a database file."""
    return Settings(f"{SQLITE}{path.absolute()}")


def check_database(
    path: Path,
    *,
    erased: Iterable[str] = (),
    older: bool = False,
    progress: Progress = no_progress,
) -> Checked:
    """Check a database from end to end, even while it is being served.

    Parameters
    ----------
    path : Path
        The file.
    erased : iterable of str
        Ids of children that must not be in it.
    older : bool
        Whether the schema of an older release is in order.
    progress : callable
        Called with the trials done so far and the number of all.

    Returns
    -------
    Checked
        What was found.

    Raises
    ------
    KeepingFailed
        If there is no such file.
    """
    checked = Checked()
    with closing(open_to_read(path)) as connection:
        try:
            checked.findings += _of_file(connection)
            checked.revision = revision_in(connection)
            checked.findings += _of_revision(checked.revision, older=older)
            if checked.revision is not None and is_known(checked.revision):
                checked.findings += _of_schema(connection, checked.revision)
                checked.findings += _of_content(connection, frozenset(erased), progress)
                checked.counts = _counts(connection)
        except sqlite3.OperationalError as error:
            # A lock that lasts, a disk that is full: nothing is known about the file.
            if error.sqlite_errorname in ("SQLITE_BUSY", "SQLITE_FULL", "SQLITE_CANTOPEN"):
                raise
            checked.findings.append(UNREADABLE)
        except sqlite3.DatabaseError:
            checked.findings.append(UNREADABLE)
    return checked


def tables_in(connection: sqlite3.Connection) -> set[str]:
    """Return the names of the tables of an open database."""
    query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    return {name for (name,) in connection.execute(query)}


def revision_in(connection: sqlite3.Connection) -> str | None:
    """Return the schema revision of an open database; None if it is none of ours."""
    if "alembic_version" not in tables_in(connection):
        return None
    row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return None if row is None else str(row[0])


def read_revision(path: Path) -> str | None:
    """Return the schema revision of a database file; None if it is none of ours.

    Raises
    ------
    KeepingFailed
        If there is no such file, or it is not a database.
    """
    with closing(open_to_read(path)) as connection:
        try:
            return revision_in(connection)
        except sqlite3.DatabaseError as error:
            raise KeepingFailed(f"{path} cannot be read as a database") from error


def _of_file(connection: sqlite3.Connection) -> Iterator[str]:
    # These lines name tables and indexes, never what stands in them.
    lines = [line for (line,) in connection.execute(f"PRAGMA integrity_check({MOST_NAMED})")]
    if lines != ["ok"]:
        yield f"Faults that SQLite finds in the file: {len(lines)}. The first: {lines[0]}."
    broken: dict[str, int] = {}
    for table, *_ in connection.execute("PRAGMA foreign_key_check"):
        broken[table] = broken.get(table, 0) + 1
    for table, count in sorted(broken.items()):
        yield f"Rows of the table {table} that belong to nothing: {count}."


def _of_revision(found: str | None, *, older: bool) -> Iterator[str]:
    wanted = newest_revision()
    if found is None:
        yield "This is not a database of Linnet: it has no schema of ours."
    elif not is_known(found):
        yield f"T{NEWER_SCHEMA.format(found=found)[1:]}."
    elif found != wanted and not older:
        yield f"The schema is {found}, and this program needs {wanted}: run 'linnet upgrade'."


@cache
def _as_made(revision: str) -> dict[tuple[str, str], str | None]:
    """Return what our own steps make in an empty database."""
    with TemporaryDirectory(prefix="linnet-") as folder:
        path = Path(folder) / "empty.sqlite3"
        upgrade(settings_of(path), revision)
        with closing(open_to_read(path)) as connection:
            return {(kind, name): sql for kind, name, sql in connection.execute(OBJECTS)}


def _of_schema(connection: sqlite3.Connection, revision: str) -> Iterator[str]:
    wanted = _as_made(revision)
    found = {(kind, name): sql for kind, name, sql in connection.execute(OBJECTS)}
    for kind, name in sorted(wanted.keys() | found.keys()):
        what = f"{KINDS.get(kind, kind)} {name}"
        if (kind, name) not in found:
            yield f"The {what} is missing."
        elif (kind, name) not in wanted:
            yield f"The {what} is none of Linnet's."
        elif found[kind, name] != wanted[kind, name]:
            yield f"The {what} is not as Linnet made it."


def _of_content(
    connection: sqlite3.Connection, erased: frozenset[str], progress: Progress
) -> Iterator[str]:
    tables = tables_in(connection)
    yield from _of_trials(connection, progress)
    yield from _of_json(connection, tables)
    back = erased.intersection(row[0] for row in connection.execute("SELECT id FROM child"))
    if back:
        yield (
            f"Children that were erased and are in it again: {_named(sorted(back))}. "
            "Before Linnet serves it, they are erased once more."
        )
    if "erasing" in tables and connection.execute("SELECT 1 FROM erasing").fetchone():
        yield "An erasure was left open in it, so that records are not guarded."


def _of_trials(connection: sqlite3.Connection, progress: Progress) -> Iterator[str]:
    (total,) = connection.execute("SELECT count(*) FROM trial").fetchone()
    damaged = []
    rows = connection.execute("SELECT id, sha256, raw FROM trial ORDER BY arrival")
    for number, (trial_id, sha256, packed) in enumerate(rows, start=1):
        if not _is_sound(packed, sha256):
            damaged.append(trial_id)
        progress(number, total)
    if damaged:
        yield f"Trials that no longer hold the bytes that were stored: {_named(damaged)}."


def _is_sound(packed: object, sha256: str) -> bool:
    if not isinstance(packed, bytes):
        return False
    try:
        return hashlib.sha256(zlib.decompress(packed)).hexdigest() == sha256
    except zlib.error:
        return False


def _of_json(connection: sqlite3.Connection, tables: set[str]) -> Iterator[str]:
    for table in sorted(tables):
        for _, column, kind, *_ in connection.execute(f'PRAGMA table_info("{table}")').fetchall():
            if kind == "JSON":
                # Names of our own tables and columns.
                bad = f'"{column}" IS NOT NULL AND NOT json_valid("{column}")'
                query = f'SELECT count(*) FROM "{table}" WHERE {bad}'  # noqa: S608
                (count,) = connection.execute(query).fetchone()
                if count:
                    yield f"Rows of the table {table} whose {column} is not JSON: {count}."


def _counts(connection: sqlite3.Connection) -> dict[str, int]:
    return {
        table: connection.execute(f'SELECT count(*) FROM "{table}"').fetchone()[0]  # noqa: S608
        for table in COUNTED
        if table in tables_in(connection)
    }


def _named(ids: list[str]) -> str:
    more = len(ids) - MOST_NAMED
    return ", ".join(ids[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
