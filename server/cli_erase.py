"""``linnet erase``: who, are you sure, and what still holds the record afterwards."""

import os
from collections import Counter
from contextlib import closing
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import typer

from server.checking import read_revision, settings_of
from server.cli_keep import WORDS, counted, database_path, ours
from server.cli_progress import shown
from server.cli_serve import wall_clock
from server.cli_troubles import ended
from server.copies import KeepingFailed, kept_copies, open_to_read, sweep
from server.database import (
    NEWER_SCHEMA,
    is_known,
    make_engine,
    make_sessions,
    newest_revision,
)
from server.erased_bytes import Found, traces_of_words
from server.erasing import counts_of, erase_children, seen_gone
from server.keeping import erase_in_copies
from server.ledger import Entry, read_ledger
from server.settings import read_settings
from server.tables import random_id

ASK = "Code or id of the child"
SEARCHING = "Searching the files"
NO_SUCH = "there is no such child in this database; nothing was erased"
NO_SCHEMA = "this is not a database of Linnet: it has no schema of ours"
OLDER_SCHEMA = (
    "the schema is older than this program: run 'linnet upgrade', which makes a backup first"
)
NOTHING_DUE = "No child's time is over: there is nothing to erase."
CUT_SHORT = "An erasure that was cut short has been ended."
GONE = "Erased. The bytes of the database were searched, and nothing of it is left in them."
NOT_SEARCHED = (
    "Free text elsewhere was not changed: the practice's own tasks and the notes of other "
    "children may name a child."
)
ALSO_IN = (
    "The code or nickname, or the same letters, also stand in rows that belong to somebody "
    "else, in these tables: {tables}. They were not changed."
)
COPIES = "These copies beside the database may still hold the record:"
OTHER_COPIES = (
    "Backups kept elsewhere still hold what was erased since they were made. When one of them is "
    "put back, it is erased again before Linnet serves it."
)


@dataclass(frozen=True)
class Wanted:
    """What is to be erased.

    Parameters
    ----------
    word : str or None
        Id or code as given; None for those whose time is over.
    entries : list of Entry
        Erasures to be made.
    counts : Counter
        How many rows they concern, by table.
    """

    word: str | None
    entries: list[Entry]
    counts: "Counter[str]"


def _ids(path: Path, word: str | None, today: date) -> list[str]:
    with closing(open_to_read(path)) as connection:
        if word is None:
            query, value = "SELECT id FROM child WHERE retention_until < ?", today.isoformat()
        else:
            query, value = "SELECT id FROM child WHERE id = ?1 OR code = ?1", word
        return [child_id for (child_id,) in connection.execute(query, (value,))]


def _wanted(path: Path, word: str | None, *, at: datetime, today: date) -> Wanted:
    begun = {one.child_id: one for one in read_ledger(path).values() if not one.done}
    reason = "retention" if word is None else "asked"
    entries = [
        begun.get(child_id) or Entry(random_id(), child_id, at, reason)
        for child_id in _ids(path, word, today)
    ]
    counts: Counter[str] = Counter()
    engine = make_engine(settings_of(path))
    try:
        with make_sessions(engine)() as db:
            for entry in entries:
                counts.update(counts_of(db, entry.child_id))
    finally:
        engine.dispose()
    return Wanted(word, entries, counts)


def _say_also_in(found: list[Found]) -> None:
    tables = sorted({table for one in found for table in one.tables})
    if tables:
        typer.echo(ALSO_IN.format(tables=", ".join(tables)), err=True)


def _erase(path: Path, wanted: Wanted, at: datetime) -> None:
    with shown(SEARCHING) as progress:
        _say_also_in(erase_children(path, wanted.entries, at=at, progress=progress))
    typer.echo(GONE)
    typer.echo(NOT_SEARCHED)


def _end_what_was_begun(path: Path, word: str | None, at: datetime) -> bool:
    """End an erasure that was cut short; return whether there was one."""
    if all(entry.done for entry in read_ledger(path).values()):
        return False
    erase_children(path, [], at=at)
    if word is not None:
        _say_also_in(seen_gone(path, traces_of_words([word])))
    typer.echo(CUT_SHORT)
    return True


def _nobody(path: Path, word: str | None, at: datetime, *, backups: bool) -> None:
    """Say why nobody is erased now, or fail."""
    if _end_what_was_begun(path, word, at) or (word is None and backups):
        return
    if word is None:
        typer.echo(NOTHING_DUE)
    elif word not in {entry.child_id for entry in read_ledger(path).values()}:
        raise KeepingFailed(NO_SUCH)
    else:
        typer.echo("This child was erased before.")


def _is_sure(wanted: Wanted) -> bool:
    content = counted(wanted.counts, *(name for name in WORDS if name != "mark"))
    typer.echo(f"This erases {content} and all that belongs to them. It cannot be undone.")
    return typer.confirm("Erase?")


def _tell_of_copies(path: Path) -> None:
    copies = kept_copies(path)
    if copies:
        typer.echo(COPIES)
        for one in copies:
            typer.echo(f"  {one}")
        typer.echo("To erase it there too: linnet erase --backups")
    typer.echo(OTHER_COPIES)


def _erase_in_copies(path: Path, at: datetime) -> int:
    done, failed = erase_in_copies(path, at=at, show=shown)
    typer.echo(f"Copies beside the database that hold no erased record any more: {len(done)}.")
    for sentence in failed:
        typer.echo(f"linnet: {sentence}.", err=True)
    typer.echo(OTHER_COPIES)
    return 1 if failed else 0


def run_erase(
    child: str | None, *, due: bool, yes: bool, backups: bool, database: str | None
) -> int:
    """Erase the record of a child, or of those whose time is over.

    Parameters
    ----------
    child : str or None
        Id or code; ``-`` asks on the terminal.
    due : bool
        Whether those are meant whose time is over.
    yes : bool
        Whether not to ask if it is meant.
    backups : bool
        Whether to erase from the copies beside the database too.
    database : str or None
        File or URL; None takes the setting.

    Returns
    -------
    int
        Exit code.
    """

    def work() -> int:
        path, at = database_path(database), wall_clock()
        word = typer.prompt(ASK, err=True).strip() if child == "-" else child
        with ours(path):
            sweep(path)
            _refuse_other_schema(path)
            if (due or word is not None) and not _one_erased(path, word, at, yes, backups):
                return 1
            if backups:
                return _erase_in_copies(path, at)
            _tell_of_copies(path)
        return 0

    return ended(work)


def _refuse_other_schema(path: Path) -> None:
    found = read_revision(path)
    if found is None:
        raise KeepingFailed(NO_SCHEMA)
    if not is_known(found):
        raise KeepingFailed(NEWER_SCHEMA.format(found=found))
    if found != newest_revision():
        raise KeepingFailed(OLDER_SCHEMA)


def _one_erased(path: Path, word: str | None, at: datetime, yes: bool, backups: bool) -> bool:
    """Erase who is wanted; return whether nothing stood against it."""
    today = read_settings(os.environ).day_of(at)
    wanted = _wanted(path, word, at=at, today=today)
    if not wanted.entries:
        _nobody(path, word, at, backups=backups)
        return True
    if not yes and not _is_sure(wanted):
        typer.echo("Nothing was erased.", err=True)
        return False
    _erase(path, wanted, at)
    return True
