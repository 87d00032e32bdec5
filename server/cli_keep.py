"""``linnet backup``, ``restore``, ``check`` and ``upgrade``: what they say and how they end."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import typer
from sqlalchemy.exc import DBAPIError

from server.checking import Checked, check_database, read_revision, settings_of
from server.cli_progress import shown
from server.cli_serve import wall_clock
from server.cli_troubles import ended
from server.copies import KeepingFailed
from server.database import ProcessLock, make_engine, make_sessions, newest_revision
from server.keeping import CHECKING, backup, upgrade_kept
from server.ledger import ledger_of, read_ledger
from server.restoring import restore
from server.settings import read_settings
from server.store_backups import note_backup

WORDS = {
    "child": ("child", "children"),
    "session": ("session", "sessions"),
    "trial": ("trial", "trials"),
    "mark": ("mark", "marks"),
    "note": ("note", "notes"),
}
LOOK_THROUGH = (
    "Accounts, care links and tablets are again as they were in the backup: look through them. "
    "Everybody has to sign in again."
)

NO_LEDGER = (
    "Nothing here knew of children erased since the backup was made. If there is a ledger of "
    "erasures elsewhere, copy it to {ledger} before you serve this database."
)

NOT_NOTED = "The database could not be told of it, so the owner's page does not show this backup."


def database_path(database: str | None) -> Path:
    """Return the file that an option, a setting or the default means.

    Raises
    ------
    BadSetting
        If a setting cannot be used.
    """
    return read_settings(os.environ, database=database).database_path


@contextmanager
def ours(path: Path, *, may_be_new: bool = False) -> Iterator[None]:
    """Hold the lock of a database.

    Raises
    ------
    KeepingFailed
        If there is none.
    DatabaseInUse
        If it is being served.
    """
    if not may_be_new and not path.is_file():
        raise KeepingFailed(f"there is no database at {path}")
    lock = ProcessLock(path)
    try:
        yield
    finally:
        lock.release()


def counted(counts: dict[str, int], *names: str) -> str:
    """Return how much there is, in words.

    Examples
    --------
    >>> counted({"child": 1, "trial": 5}, "child", "trial")
    '1 child, 5 trials'
    """
    return ", ".join(
        f"{counts.get(name, 0)} {WORDS[name][counts.get(name) != 1]}" for name in names
    )


def _content(checked: Checked) -> str:
    return counted(checked.counts, "child", "session", "trial", "note")


def noted(path: Path, at: datetime) -> bool:
    """Note in a database, served or not, that a backup of it was made; False if it cannot be."""
    if read_revision(path) != newest_revision():
        return False
    engine = make_engine(settings_of(path))
    try:
        with make_sessions(engine)() as db:
            note_backup(db, at)
            db.commit()
    except DBAPIError:
        # The copy is good all the same: the disk may be full, or the file not be ours to write.
        return False
    finally:
        engine.dispose()
    return True


def run_backup(target: Path, *, database: str | None, replace: bool) -> int:
    """Make a backup.

    Parameters
    ----------
    target : Path
        The file to make.
    database : str or None
        File or URL; None takes the setting.
    replace : bool
        Whether the file may exist.

    Returns
    -------
    int
        Exit code.
    """

    def work() -> int:
        path, begun_at = database_path(database), wall_clock()
        checked = backup(path, target, replace=replace, show=shown)
        typer.echo(f"{target} holds {_content(checked)}. Every checksum was verified.")
        if not noted(path, begun_at):
            typer.echo(NOT_NOTED)
        return 0

    return ended(work)


def run_restore(source: Path, *, database: str | None) -> int:
    """Put a backup back.

    Parameters
    ----------
    source : Path
        The backup.
    database : str or None
        File or URL; None takes the setting.

    Returns
    -------
    int
        Exit code.
    """

    def work() -> int:
        path = database_path(database)
        if not source.is_file():
            raise KeepingFailed(f"there is no backup at {source}")
        is_known = path.exists() or ledger_of(path).exists()
        with ours(path, may_be_new=True):
            done = restore(path, source, at=wall_clock(), show=shown)
        typer.echo(f"Put back: {_content(done.checked)}. Every checksum was verified.")
        if done.erased:
            typer.echo(f"Erased from it again, as asked for since it was made: {done.erased}.")
        if done.set_aside is not None:
            typer.echo(f"What was there before is in {done.set_aside}")
        if not is_known:
            typer.echo(NO_LEDGER.format(ledger=ledger_of(path)))
        typer.echo(LOOK_THROUGH)
        return 0

    return ended(work)


def run_check(*, database: str | None) -> int:
    """Check a database.

    Parameters
    ----------
    database : str or None
        File or URL; None takes the setting.

    Returns
    -------
    int
        Exit code.
    """

    def work() -> int:
        path = database_path(database)
        erased = {entry.child_id for entry in read_ledger(path).values()}
        with shown(CHECKING) as progress:
            checked = check_database(path, erased=erased, progress=progress)
        for finding in checked.findings:
            typer.echo(finding, err=True)
        if checked.findings:
            return 1
        typer.echo(f"All is well: {_content(checked)}. Every checksum was verified.")
        return 0

    return ended(work)


def run_upgrade(*, database: str | None) -> int:
    """Bring a database to the schema of this program.

    Parameters
    ----------
    database : str or None
        File or URL; None takes the setting.

    Returns
    -------
    int
        Exit code.
    """

    def work() -> int:
        path = database_path(database)
        with ours(path):
            kept = upgrade_kept(path, at=wall_clock(), show=shown)
        if kept is None:
            typer.echo(f"There is nothing to do: the schema is {newest_revision()} already.")
        else:
            typer.echo(f"The schema is {newest_revision()} now. The backup is {kept}")
        return 0

    return ended(work)
