"""Looking for what is left of an erased record in the bytes of files, not through SQLite."""

import json
import mmap
import sqlite3
import zlib
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.copies import SIDE_FILES, Progress, beside, no_progress, open_to_read
from server.ledger import ledger_of
from server.tables import Child, GoalRow, NoteRow, ObservationRow, SessionRow, TrialRow

PIECE = 32
# The file is written anew after an erasure: some pieces tell about all of them.
MOST_TRIALS = 24
MOST_TEXTS = 24
LOCK = "-lock"

# What to look for, and whether it is a word that people know a child by.
Traces = dict[bytes, bool]


@dataclass(frozen=True)
class Found:
    """A piece of a record that is still in a file.

    Parameters
    ----------
    file : Path
        Where.
    tables : tuple of str
        Tables with a living row that holds these bytes; empty if no row explains them.
    is_word : bool
        Whether it is a word that people know the child by.
    """

    file: Path
    tables: tuple[str, ...]
    is_word: bool


def _spread(items: list[str], most: int) -> list[str]:
    step = max(1, -(-len(items) // most))
    return items[::step]


def _words(child: Child) -> set[str]:
    return {word for word in (child.code, child.nickname, child.study_code) if word}


def traces_of_words(words: Iterable[str]) -> Traces:
    """Return what to look for when only words are known: as in a column, and as in JSON."""
    forms = ((word, json.dumps(word, ensure_ascii=False)[1:-1]) for word in words)
    return {form.encode(): True for both in forms for form in both}


def _texts(db: Session, child_id: str) -> set[bytes]:
    """Pieces of what was written about a child in free words."""
    sessions = select(SessionRow.id).where(SessionRow.child_id == child_id)
    columns = (
        select(GoalRow.purpose).where(GoalRow.child_id == child_id),
        select(ObservationRow.text).where(ObservationRow.session_id.in_(sessions)),
        *(
            select(column).where(NoteRow.session_id.in_(sessions))
            for column in (
                NoteRow.subjective,
                NoteRow.objective,
                NoteRow.assessment,
                NoteRow.plan_text,
            )
        ),
    )
    pieces = set()
    for query in columns:
        for text in db.scalars(query.limit(MOST_TEXTS)):
            if text and len(text.encode()) >= PIECE:
                pieces.add(text.encode()[:PIECE])
    return pieces


def _middle(whole: bytes) -> bytes:
    start = max(0, len(whole) // 2 - PIECE // 2)
    return whole[start : start + PIECE]


def _pieces(db: Session, child_id: str) -> set[bytes]:
    """Pieces of samples, packed and as they were sent, and checksums."""
    of_child = (
        select(TrialRow.id)
        .join(SessionRow, SessionRow.id == TrialRow.session_id)
        .where(SessionRow.child_id == child_id)
    )
    pieces = set()
    for trial_id in _spread(list(db.scalars(of_child)), MOST_TRIALS):
        query = select(TrialRow.sha256, TrialRow.raw).where(TrialRow.id == trial_id)
        sha256, packed = db.execute(query).one()
        pieces |= {sha256.encode(), _middle(packed)}
        try:
            pieces.add(_middle(zlib.decompress(packed)))
        except zlib.error:
            # A damaged record is erased like any other.
            continue
    return {piece for piece in pieces if len(piece) >= PIECE}


def traces_of(db: Session, child_id: str) -> Traces:
    """Return what would give a child away in the bytes of a file.

    Parameters
    ----------
    db : Session
        Database session, before the erasure.
    child_id : str
        The child.

    Returns
    -------
    dict
        Code, nickname, study code; pieces of samples and of free text. Empty if the child
        is not in the database.
    """
    child = db.get(Child, child_id)
    if child is None:
        return {}
    pieces = _pieces(db, child_id) | _texts(db, child_id)
    return dict.fromkeys(pieces, False) | traces_of_words(_words(child))


def searched_files(path: Path) -> list[Path]:
    """Return the files of a database that exist."""
    others = [beside(path, suffix) for suffix in (*SIDE_FILES, LOCK)]
    return [one for one in (path, *others, ledger_of(path)) if one.exists()]


def _is_in(file: Path, needles: Iterable[bytes]) -> set[bytes]:
    with file.open("rb") as opened:
        if file.stat().st_size == 0:
            return set()
        with mmap.mmap(opened.fileno(), 0, access=mmap.ACCESS_READ) as content:
            return {needle for needle in needles if content.find(needle) >= 0}


def _tables_with(connection: sqlite3.Connection, needle: bytes) -> tuple[str, ...]:
    """Tables of which a living row holds some bytes."""
    query = "SELECT name FROM sqlite_master WHERE type = 'table'"
    tables = [name for (name,) in connection.execute(query)]
    found = []
    # The last one holds our own words, which may be a child's nickname too.
    for table in (*tables, "sqlite_master"):
        columns = connection.execute(f'PRAGMA table_info("{table}")').fetchall()
        holds = " OR ".join(f'instr(CAST("{name}" AS BLOB), ?1) > 0' for _, name, *_ in columns)
        # Names of our own tables and columns.
        query = f'SELECT 1 FROM "{table}" WHERE {holds} LIMIT 1'  # noqa: S608
        if connection.execute(query, (needle,)).fetchone():
            found.append(table)
    return tuple(found)


def left_in_files(path: Path, traces: Traces, progress: Progress = no_progress) -> list[Found]:
    """Search the bytes of a database and of the files beside it.

    Parameters
    ----------
    path : Path
        File of the database, erased and vacuumed.
    traces : dict
        What to look for.
    progress : callable
        Called with the files searched so far and the number of all.

    Returns
    -------
    list of Found
        Empty if nothing is left. A nickname may stand in the record of another child too:
        then the tables are named in which it stands.
    """
    found = []
    files = searched_files(path)
    for number, file in enumerate(files, start=1):
        hits = _is_in(file, traces)
        if hits:
            with closing(open_to_read(path)) as connection:
                found += [
                    Found(file, _tables_with(connection, one), traces[one]) for one in sorted(hits)
                ]
        progress(number, len(files))
    return found
