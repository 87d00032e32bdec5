"""Putting a backup back: checked, brought up to date, and without those who were erased since."""

import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import update
from sqlalchemy.dialects.sqlite import insert as insert_or_ignore

from server import audit
from server.checking import Checked, check_database, settings_of, tables_in
from server.copies import (
    RESTORING,
    SET_ASIDE,
    SIDE_FILES,
    KeepingFailed,
    arriving,
    beside,
    copy_database,
    fold_in,
    free_name,
    make_plain,
    open_to_read,
    stamp,
    sweep,
)
from server.database import make_engine, make_sessions, upgrade
from server.erasing import erase_in, erased_in, owed
from server.keeping import CHECKING, COPYING, Show, show_nothing
from server.ledger import Entry, read_ledger
from server.tables import ErasedId, SignIn

NOT_PUT_BACK = "the backup was not put back. {findings}"


@dataclass(frozen=True)
class Restored:
    """What was put back.

    Parameters
    ----------
    checked : Checked
        What is in it.
    erased : int
        Children that were erased again before it was put in place.
    set_aside : Path or None
        Where the database is that was there before.
    """

    checked: Checked
    erased: int
    set_aside: Path | None


def restore(path: Path, source: Path, *, at: datetime, show: Show = show_nothing) -> Restored:
    """Put a backup in the place of a database that nobody serves; the caller holds its lock.

    Children that were erased since are erased from it first. Until the last step, which is
    one, the present database stays as it is.

    Parameters
    ----------
    path : Path
        The database.
    source : Path
        The backup; it is only read.
    at : datetime
        Now.
    show : callable
        Shows what is being done.

    Returns
    -------
    Restored
        What was done.

    Raises
    ------
    KeepingFailed
        If the backup does not pass its check, or its schema is newer than this program's.
    """
    sweep(path)
    if path.exists() and source.exists() and source.samefile(path):
        raise KeepingFailed(f"{source} is the database itself: name a backup")
    with show(CHECKING) as progress:
        before = check_database(source, older=True, progress=progress)
    if before.findings:
        raise KeepingFailed(NOT_PUT_BACK.format(findings=" ".join(before.findings)))
    with arriving(path, RESTORING) as part:
        with show(COPYING) as progress:
            copy_database(source, part, progress)
        erased = _made_ready(path, part, at)
        with show(CHECKING) as progress:
            checked = check_database(part, progress=progress)
        if checked.findings:
            raise KeepingFailed(NOT_PUT_BACK.format(findings=" ".join(checked.findings)))
        aside = _set_aside(path, at) if path.exists() else None
        _close(path)
    return Restored(checked, erased, aside)


def _made_ready(path: Path, part: Path, at: datetime) -> int:
    """Bring a copy of a backup to where the practice is: its schema, its erasures."""
    upgrade(settings_of(part))
    entries, gone = read_ledger(path), []
    if path.exists():
        try:
            entries, gone = erased_in(path) | entries, _erased_ids(path)
        except sqlite3.DatabaseError:
            # A damaged database is why one restores: then the ledger alone has to do.
            gone = []
    missing = owed(part, entries.values())
    present = _children_in(part, missing)
    erase_in(part, missing, at=at, again=True)
    _finish(part, gone, at)
    make_plain(part)
    return present


def _children_in(part: Path, entries: list[Entry]) -> int:
    with closing(sqlite3.connect(part)) as connection:
        present = {row[0] for row in connection.execute("SELECT id FROM child")}
    return len(present.intersection(entry.child_id for entry in entries))


def _erased_ids(path: Path) -> list[dict[str, str]]:
    with closing(open_to_read(path)) as connection:
        if "erased_id" not in tables_in(connection):
            return []
        rows = connection.execute("SELECT id, erasure_id FROM erased_id").fetchall()
    return [{"id": one, "erasure_id": erasure_id} for one, erasure_id in rows]


def _finish(part: Path, gone: list[dict[str, str]], at: datetime) -> None:
    """Keep the erased ids of the present database, and end the sign-ins of the old one."""
    engine = make_engine(settings_of(part))
    try:
        with make_sessions(engine)() as db:
            if gone:
                db.execute(insert_or_ignore(ErasedId).on_conflict_do_nothing(), gone)
            # A sign-in that was ended since must not be open again.
            db.execute(update(SignIn).where(SignIn.ended_at.is_(None)).values(ended_at=at))
            audit.note(db, at, None, "restored", "database")
            db.commit()
    finally:
        engine.dispose()


def _set_aside(path: Path, at: datetime) -> Path:
    """Copy the present database beside itself, whatever state it is in."""
    target = free_name(path, f"{SET_ASIDE}{stamp(at)}")
    with arriving(target) as part:
        try:
            copy_database(path, part)
        except sqlite3.OperationalError:
            raise
        except sqlite3.DatabaseError:
            # SQLite cannot read it: its bytes are kept as they are.
            shutil.copyfile(path, part)
            wal = beside(path, "-wal")
            if wal.exists():
                shutil.copyfile(wal, beside(target, "-wal"))
                beside(target, "-wal").chmod(0o600)
    return target


def _close(path: Path) -> None:
    """Let nothing lie beside a database that would be taken for its successor's."""
    if path.exists():
        try:
            fold_in(path)
        except sqlite3.OperationalError:
            raise
        except sqlite3.DatabaseError:
            # Damaged; its bytes have been set aside with its WAL.
            pass
    for suffix in SIDE_FILES:
        beside(path, suffix).unlink(missing_ok=True)
