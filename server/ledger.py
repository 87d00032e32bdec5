"""The ledger of erasures: a file beside the database that says which children were erased.

The database keeps the same in its table `erasure`. The file is for databases that come back:
a copy from before an erasure, put in place by a command or by hand, knows nothing of it.
Lines of JSON, added and never changed; random ids only.
"""

import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import orjson

from server.copies import KeepingFailed, beside, sync_folder

SUFFIX = ".erasures"
BEGUN, DONE = "begun", "done"


class DamagedLedger(KeepingFailed):
    """Raised when a line of the ledger cannot be read: a child could come back unseen."""


@dataclass(frozen=True)
class Entry:
    """One erasure.

    Parameters
    ----------
    erasure_id, child_id : str
        Random ids.
    at : datetime
        When it was asked for, aware.
    reason : str
        ``asked`` or ``retention``.
    done : bool
        Whether the bytes were seen to be gone; if not, the file still has to be cleaned.
    """

    erasure_id: str
    child_id: str
    at: datetime
    reason: str
    done: bool = False

    def as_done(self) -> "Entry":
        """Return the entry as it is written when all is over."""
        return replace(self, done=True)


def ledger_of(database: Path) -> Path:
    """Return the ledger of a database."""
    return beside(database, SUFFIX)


def read_ledger(database: Path) -> dict[str, Entry]:
    """Return the erasures of a ledger by their id, each as its last line says.

    Parameters
    ----------
    database : Path
        File of the database.

    Returns
    -------
    dict
        Empty if there is no ledger.

    Raises
    ------
    DamagedLedger
        If a line cannot be read. An unfinished last line is none: nothing was done after it.
    """
    path = ledger_of(database)
    if not path.exists():
        return {}
    lines = path.read_bytes().split(b"\n")
    entries = {}
    for number, line in enumerate(lines, start=1):
        entry = _entry(line)
        if entry is not None:
            entries[entry.erasure_id] = entry
        elif line and number < len(lines):
            raise DamagedLedger(
                f"line {number} of {path} cannot be read: put the file right, for it says "
                "which children must not come back"
            )
    return entries


def _entry(line: bytes) -> Entry | None:
    try:
        tree = orjson.loads(line)
        return Entry(
            str(tree["id"]),
            str(tree["child_id"]),
            datetime.fromisoformat(tree["at"]),
            str(tree["reason"]),
            done=tree["step"] == DONE,
        )
    except (ValueError, KeyError, TypeError):
        return None


def _line(entry: Entry) -> bytes:
    tree = {
        "id": entry.erasure_id,
        "child_id": entry.child_id,
        "at": entry.at.isoformat(),
        "reason": entry.reason,
        "step": DONE if entry.done else BEGUN,
    }
    return orjson.dumps(tree, option=orjson.OPT_APPEND_NEWLINE)


def add_to_ledger(database: Path, entries: Iterable[Entry]) -> None:
    """Add lines to the ledger and have them on the disk.

    Parameters
    ----------
    database : Path
        File of the database.
    entries : iterable of Entry
        In this order.
    """
    added = b"".join(_line(entry) for entry in entries)
    if not added:
        return
    path = ledger_of(database)
    with os.fdopen(os.open(path, os.O_CREAT | os.O_RDWR, 0o600), "r+b") as file:
        kept = file.read()
        whole = kept.rfind(b"\n") + 1
        # A line that was cut short goes; one that only lacks its end is given one.
        if _entry(kept[whole:]) is not None:
            whole, added = len(kept), b"\n" + added
        file.truncate(whole)
        file.seek(whole)
        file.write(added)
        file.flush()
        os.fsync(file.fileno())
    path.chmod(0o600)
    sync_folder(path.parent)
