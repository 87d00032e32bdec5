"""Copies of a database: made whole, put in place whole, readable by their owner only."""

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

Progress = Callable[[int, int], None]

# Pages copied between two movements of the progress bar.
PAGES = 2000
# What SQLite may lay beside a database file.
SIDE_FILES = ("-wal", "-shm", "-journal")
PART = ".part"
RESTORING = ".restoring"
# Copies laid beside a database before it was changed or replaced.
BEFORE = ".before-"
SET_ASIDE = ".set-aside-"


class KeepingFailed(RuntimeError):
    """Raised when a file of the practice cannot be kept safe; says why, and what still holds."""


def no_progress(_done: int, _total: int) -> None:
    """Show nothing."""


def stamp(at: datetime) -> str:
    """Return a moment as it stands in file names.

    Examples
    --------
    >>> stamp(datetime(2026, 3, 3, 12, 0, tzinfo=UTC))
    '20260303T120000Z'
    """
    return at.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def beside(path: Path, suffix: str) -> Path:
    """Return the file whose name is that of the database with something after it."""
    return path.with_name(path.name + suffix)


def free_name(path: Path, suffix: str) -> Path:
    """Return a file beside the database that does not exist yet; numbered if need be."""
    wanted = beside(path, suffix)
    number = 2
    while wanted.exists():
        wanted = beside(path, f"{suffix}-{number}")
        number += 1
    return wanted


def kept_copies(path: Path) -> list[Path]:
    """Return the copies that were laid beside a database, the oldest name first."""
    return sorted(
        one
        for one in path.parent.iterdir()
        if one.name.startswith((path.name + BEFORE, path.name + SET_ASIDE))
        and not one.name.endswith((PART, *SIDE_FILES))
    )


def remove(path: Path) -> None:
    """Remove a database that was not finished, with what lies beside it."""
    for suffix in ("", *SIDE_FILES):
        beside(path, suffix).unlink(missing_ok=True)


def sweep(path: Path) -> None:
    """Remove what a command that was cut short has left beside a database of ours."""
    remove(beside(path, RESTORING))
    for one in list(path.parent.iterdir()):
        ours = one.name.startswith((path.name + BEFORE, path.name + SET_ASIDE))
        if ours and one.name.endswith((PART, RESTORING)):
            remove(one)


def open_to_read(path: Path) -> sqlite3.Connection:
    """Open a database that is not to be changed, whether it is being served or not.

    Raises
    ------
    KeepingFailed
        If there is no such file.
    """
    if not path.is_file():
        raise KeepingFailed(f"there is no database at {path}")
    # A connection that may write takes its -wal and -shm with it when it closes.
    may_write = os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
    address = f"{path.absolute().as_uri()}?mode={'rw' if may_write else 'ro'}"
    connection = sqlite3.connect(address, uri=True, isolation_level=None, timeout=10)
    connection.execute("PRAGMA query_only = ON")
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


def copy_database(source: Path, target: Path, progress: Progress = no_progress) -> None:
    """Copy a database as it is at this moment, even while it is being served.

    Parameters
    ----------
    source : Path
        The database.
    target : Path
        A file that does not exist; afterwards one plain SQLite file without a WAL.
    progress : callable
        Called with the pages done so far and the number of all.
    """
    os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    with (
        closing(open_to_read(source)) as old,
        closing(sqlite3.connect(target, isolation_level=None)) as new,
    ):
        # The reading transaction holds one state: what is written meanwhile does not make
        # the copy begin again.
        old.execute("BEGIN")
        old.execute("SELECT count(*) FROM sqlite_master").fetchone()
        old.backup(
            new,
            pages=PAGES,
            progress=lambda _status, remaining, total: progress(total - remaining, total),
        )
    make_plain(target)


def make_plain(path: Path) -> None:
    """Turn a database that nobody else has open into one file that needs no other.

    Raises
    ------
    KeepingFailed
        If another program has it open.
    """
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        (mode,) = connection.execute("PRAGMA journal_mode = DELETE").fetchone()
    if mode != "delete":
        raise KeepingFailed(f"another program has {path} open")


def fold_in(path: Path) -> None:
    """Write what the WAL of a database still holds into its file, and end the WAL.

    Raises
    ------
    KeepingFailed
        If another program reads the database at this moment.
    """
    with closing(sqlite3.connect(path, isolation_level=None, timeout=10)) as connection:
        # Reading first undoes what a program that was cut short had begun.
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        busy, _, _ = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    wal = beside(path, "-wal")
    if busy or (wal.exists() and wal.stat().st_size > 0):
        raise KeepingFailed(
            f"another program reads {path} at this moment: wait until it has ended and run "
            "the command again"
        )


def sync(path: Path) -> None:
    """Have a file on the disk before anything relies on it."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk, where the system can do that."""
    if hasattr(os, "O_DIRECTORY"):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def put_in_place(part: Path, target: Path) -> None:
    """Give a finished file its name at once: whoever looks finds the old one or the new."""
    part.chmod(0o600)
    sync(part)
    os.replace(part, target)  # noqa: PTH105 - the name says that it is one step
    sync_folder(target.parent)


@contextmanager
def arriving(target: Path, suffix: str = PART) -> Iterator[Path]:
    """Yield where a file is to be made; it gets its name if all goes well, else it goes."""
    part = beside(target, suffix)
    remove(part)
    try:
        yield part
        put_in_place(part, target)
    finally:
        remove(part)
