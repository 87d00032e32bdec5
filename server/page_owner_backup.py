"""What the owner's page of backups says: when the last one was made, and how much room there is."""

import shutil
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from server.copies import SIDE_FILES, beside
from server.page_owner import moment_words
from server.settings import Settings
from server.store_backups import last_backup, last_restore
from server.wording import plural

KB, MB, GB = 1000, 1000**2, 1000**3
# A backup is as large as the database, and it is written in full before the old one goes.
COPIES_WANTED = 2
UNKNOWN = "Linnet does not know of any backup of this database."


def size_words(size_bytes: int) -> str:
    """Return a size in decimal units.

    Examples
    --------
    >>> size_words(950), size_words(1_250_000), size_words(31_400_000_000)
    ('950 bytes', '1.2 MB', '31.4 GB')
    """
    for unit_bytes, unit in ((GB, "GB"), (MB, "MB"), (KB, "kB")):
        if size_bytes >= unit_bytes:
            return f"{size_bytes / unit_bytes:.1f} {unit}"
    return f"{size_bytes} bytes"


def size_on_disk_bytes(path: Path) -> int:
    """Return the size of a database with what lies beside it. [bytes]"""
    files = [beside(path, suffix) for suffix in ("", *SIDE_FILES)]
    return sum(one.stat().st_size for one in files if one.is_file())


def ago_words(days: int) -> str:
    """Return how long ago a day of the practice was.

    Examples
    --------
    >>> ago_words(0), ago_words(1), ago_words(12)
    ('today', 'yesterday', '12 days ago')
    """
    return {0: "today", 1: "yesterday"}.get(days, f"{days} {plural('day', days)} ago")


def backup_page(db: Session, settings: Settings, now: datetime) -> dict[str, Any]:
    """Return what the template of the backups needs.

    Parameters
    ----------
    db : Session
        Database session.
    settings : Settings
        Say the practice's time zone and where the database is.
    now : datetime
        Now.

    Returns
    -------
    dict
        Plain words.
    """
    path = settings.database_path
    made_at, restored_at = last_backup(db), last_restore(db)
    size_bytes, free_bytes = size_on_disk_bytes(path), shutil.disk_usage(path.parent).free
    last = UNKNOWN
    if made_at is not None:
        days = (settings.day_of(now) - settings.day_of(made_at)).days
        last = f"The last backup was made {ago_words(max(days, 0))}."
    return {
        "last": last,
        "made": None if made_at is None else moment_words(settings, made_at),
        "restored": None if restored_at is None else moment_words(settings, restored_at),
        "size": size_words(size_bytes),
        "free": size_words(free_bytes),
        "is_tight": free_bytes < COPIES_WANTED * size_bytes,
    }
