"""What a command says when it fails: one sentence, never the words of an error about a row."""

import sqlite3
from collections.abc import Callable

import typer
from sqlalchemy.exc import DBAPIError

from server.copies import KeepingFailed
from server.database import DatabaseInUse, WrongSchema
from server.settings import BadSetting

DAMAGED = (
    "the file is damaged, or it is not a database; it was not changed. 'linnet check' says more, "
    "and 'linnet restore FILE' puts a backup in its place"
)
FULL = "the disk is full; 'linnet check' says how the database is"
STOPPED = "stopped; 'linnet check' says how the database is"
# As the shell has it: 128 and the number of the signal.
INTERRUPTED = 130
TROUBLES = {
    "SQLITE_FULL": FULL,
    "SQLITE_BUSY": "another program has the database open",
    "SQLITE_LOCKED": "another program has the database open",
    "SQLITE_CANTOPEN": "a file of the database cannot be opened: look whether its folder may be "
    "written to",
    "SQLITE_READONLY": "the database may not be written to",
    "SQLITE_IOERR_WRITE": "the disk does not take what is written; it may be full",
    "SQLITE_CORRUPT": DAMAGED,
    "SQLITE_NOTADB": DAMAGED,
}
# Their own words are sentences of ours.
SAID = (KeepingFailed, DatabaseInUse, WrongSchema, BadSetting)


def ended(work: Callable[[], int], *more: type[Exception]) -> int:
    """Do the work of a command; return its exit code, with a sentence if it failed.

    Parameters
    ----------
    work : callable
        Returns an exit code.
    *more : type
        Further errors whose own words say what to do.

    Returns
    -------
    int
        That of the work, 1, or 130 if it was interrupted.
    """
    said: tuple[type[Exception], ...] = (*SAID, *more)
    try:
        return work()
    except KeyboardInterrupt:
        typer.echo(f"linnet: {STOPPED}.", err=True)
        return INTERRUPTED
    except said as error:
        why = str(error)
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        why = f"{place}{error.strerror or type(error).__name__}"
    except (sqlite3.Error, DBAPIError) as error:
        why = _trouble(error)
    # Some of these end with a sentence of their own.
    typer.echo(f"linnet: {why.removesuffix('.')}.", err=True)
    return 1


def _trouble(error: sqlite3.Error | DBAPIError) -> str:
    cause = error.orig if isinstance(error, DBAPIError) else error
    name = getattr(cause, "sqlite_errorname", None) or type(cause).__name__
    return TROUBLES.get(name, f"the database could not be worked on ({name})")
