"""Keeping a practice's database safe: its backups, and the way to a new schema."""

import sqlite3
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from datetime import datetime
from pathlib import Path

from server.checking import Checked, check_database, read_revision, settings_of
from server.copies import (
    BEFORE,
    RESTORING,
    KeepingFailed,
    Progress,
    arriving,
    copy_database,
    free_name,
    kept_copies,
    make_plain,
    no_progress,
    stamp,
    sweep,
)
from server.database import NEWER_SCHEMA, is_known, newest_revision, upgrade
from server.erasing import erase_in, erased_in, owed
from server.ledger import read_ledger

# Shows what is being done, and how far it is.
Show = Callable[[str], AbstractContextManager[Progress]]
COPYING, CHECKING = "Copying", "Checking"
NOT_KEPT = "the copy did not pass its check, so it was not kept. {finding} Run 'linnet check'."


def show_nothing(_text: str) -> AbstractContextManager[Progress]:
    """Show no progress."""
    return nullcontext(no_progress)


def backup(
    path: Path, target: Path, *, replace: bool = False, show: Show = show_nothing
) -> Checked:
    """Copy a database into one plain file, even while it is being served, and check the copy.

    Parameters
    ----------
    path : Path
        The database.
    target : Path
        The file to make.
    replace : bool
        Whether the file may exist and is then replaced.
    show : callable
        Shows what is being done.

    Returns
    -------
    Checked
        What is in the copy.

    Raises
    ------
    KeepingFailed
        If there is no database, the file exists, or the copy does not pass its check.
    """
    _refuse_target(path, target, replace=replace)
    with arriving(target) as part:
        with show(COPYING) as progress:
            copy_database(path, part, progress)
        with show(CHECKING) as progress:
            checked = check_database(part, older=True, progress=progress)
        if checked.findings:
            raise KeepingFailed(NOT_KEPT.format(finding=checked.findings[0]))
    return checked


def _refuse_target(path: Path, target: Path, *, replace: bool) -> None:
    if not path.is_file():
        raise KeepingFailed(f"there is no database at {path}")
    if target.is_dir():
        raise KeepingFailed(f"{target} is a folder: name a file in it")
    if not target.parent.is_dir():
        raise KeepingFailed(f"the folder {target.parent} does not exist")
    if target.exists():
        if target.samefile(path):
            raise KeepingFailed(f"{target} is the database itself: name another file")
        if not replace:
            raise KeepingFailed(f"{target} exists: name another file, or give --replace")


def upgrade_kept(path: Path, *, at: datetime, show: Show = show_nothing) -> Path | None:
    """Bring a database to this program's schema, after a backup; the caller holds its lock.

    Parameters
    ----------
    path : Path
        The database.
    at : datetime
        Now.
    show : callable
        Shows what is being done.

    Returns
    -------
    Path or None
        The backup; None if there was nothing to do.

    Raises
    ------
    KeepingFailed
        If it cannot be done. The database is then as it was, and the words say where the
        backup is.
    """
    sweep(path)
    found, wanted = read_revision(path), newest_revision()
    if found is None:
        raise KeepingFailed(f"{path} is not a database of Linnet: it has no schema of ours")
    if not is_known(found):
        raise KeepingFailed(NEWER_SCHEMA.format(found=found))
    if found == wanted:
        return None
    kept = free_name(path, f"{BEFORE}{wanted}-{stamp(at)}")
    backup(path, kept, show=show)
    try:
        upgrade(settings_of(path))
    except Exception as error:
        now = read_revision(path)
        raise KeepingFailed(
            f"the schema could not be changed ({type(error).__name__}). The database has schema "
            f"{now} and lost nothing. The backup is {kept}"
        ) from error
    with show(CHECKING) as progress:
        checked = check_database(path, progress=progress)
    if checked.findings:
        raise KeepingFailed(
            f"the new schema did not pass its check. {' '.join(checked.findings)} "
            f"The backup is {kept}"
        )
    return kept


def erase_in_copies(
    path: Path, *, at: datetime, show: Show = show_nothing
) -> tuple[list[Path], list[str]]:
    """Erase the children of the ledger from the copies beside a database.

    Parameters
    ----------
    path : Path
        The database; the caller holds its lock.
    at : datetime
        Now.
    show : callable
        Shows what is being done.

    Returns
    -------
    done : list of Path
        Copies that hold none of them any more.
    failed : list of str
        Sentences about those that were left as they are.
    """
    done, failed = [], []
    entries = erased_in(path) | read_ledger(path)
    for copy in kept_copies(path):
        try:
            with arriving(copy, RESTORING) as part:
                with show(COPYING) as progress:
                    copy_database(copy, part, progress)
                upgrade(settings_of(part))
                erase_in(part, owed(part, entries.values()), at=at, again=True)
                make_plain(part)
            done.append(copy)
        except (KeepingFailed, sqlite3.DatabaseError) as error:
            why = str(error) if isinstance(error, KeepingFailed) else "it cannot be read"
            failed.append(f"{copy} still holds what it held: {why}")
    return done, failed
