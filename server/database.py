"""Opening the database: engine, migrations, and the lock that keeps it to one process."""

import os
import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any

import orjson
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.orm import Session, sessionmaker

from server.settings import Settings

PRAGMAS = (
    "journal_mode = WAL",
    "synchronous = FULL",
    "foreign_keys = ON",
    "busy_timeout = 10000",
    # Without it, INSERT OR REPLACE would delete a row past the triggers that forbid it.
    "recursive_triggers = ON",
    "trusted_schema = OFF",
    # What is deleted is overwritten in the file, not only forgotten.
    "secure_delete = ON",
)
NEWER_SCHEMA = (
    "the database has schema {found}, which this program does not know: a newer release made "
    "it, and only a newer release can open it"
)
# Requests run in up to 40 threads; each may hold one connection.
THREADS = 40

Sessions = sessionmaker[Session]


class DatabaseInUse(RuntimeError):
    """Raised when another process serves the same database."""


class BrokenKeys(RuntimeError):
    """Raised when a step of the schema would leave rows that belong to nothing."""


class WrongSchema(RuntimeError):
    """Raised when a database was made by another release and has to be upgraded."""


def _json_text(value: Any) -> str:
    return orjson.dumps(value).decode()


def _set_pragmas(connection: sqlite3.Connection, _record: object) -> None:
    with closing(connection.cursor()) as cursor:
        for pragma in PRAGMAS:
            cursor.execute(f"PRAGMA {pragma}")


def make_engine(settings: Settings) -> Engine:
    """Return the engine of a database; no file is opened before its first use.

    Notes
    -----
    The driver begins a transaction at the first write, not at the first read, and takes
    the write lock at once: a request that reads and then writes can therefore never fail
    because another one wrote in between; it waits.
    """
    engine = create_engine(
        settings.database_url,
        connect_args={"isolation_level": "IMMEDIATE"},
        pool_size=THREADS,
        json_serializer=_json_text,
        json_deserializer=orjson.loads,
        # The text of an error must not quote a row.
        hide_parameters=True,
    )
    event.listen(engine, "connect", _set_pragmas)
    return engine


def make_sessions(engine: Engine) -> Sessions:
    """Return the maker of database sessions; objects stay readable after a commit."""
    return sessionmaker(engine, expire_on_commit=False)


def prepare_file(path: Path) -> bool:
    """Create the database file, readable by its owner only.

    Parameters
    ----------
    path : Path
        The file; its folder is made if need be.

    Returns
    -------
    bool
        Whether the file is new or empty.
    """
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    path.chmod(0o600)
    return path.stat().st_size == 0


class ProcessLock:
    """Lock beside a database file, held while this process serves it.

    It is an empty SQLite file under an exclusive transaction: the operating system drops
    the lock when the process ends, however it ends, and it works on every system.
    """

    def __init__(self, path: Path) -> None:
        lock_path = path.with_name(f"{path.name}-lock")
        prepare_file(lock_path)
        self._connection = sqlite3.connect(
            lock_path, timeout=0, isolation_level=None, check_same_thread=False
        )
        try:
            # Nothing is ever written, so that no journal has to lie beside it.
            self._connection.execute("PRAGMA journal_mode = MEMORY")
            self._connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            self._connection.close()
            raise DatabaseInUse(
                f"{path} is already served by another process: stop that one first"
            ) from error

    def release(self) -> None:
        """Let another process take the database."""
        self._connection.close()


def _alembic_config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).with_name("migrations")))
    return config


@cache
def newest_revision() -> str | None:
    """Return the schema revision this program works with."""
    return ScriptDirectory.from_config(_alembic_config()).get_current_head()


def is_known(revision: str) -> bool:
    """Return whether this program can bring a database of a revision to its own."""
    steps = ScriptDirectory.from_config(_alembic_config()).walk_revisions()
    return any(step.revision == revision for step in steps)


def revision_of(engine: Engine) -> str | None:
    """Return the schema revision of a database; None if it has no tables yet."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def upgrade(settings: Settings, revision: str = "head") -> None:
    """Create the database or bring it to the newest schema, each step all or nothing.

    Parameters
    ----------
    settings : Settings
        Say which database.
    revision : str
        Where to stop.
    """
    prepare_file(settings.database_path)
    engine = create_engine(
        settings.database_url, connect_args={"isolation_level": None}, hide_parameters=True
    )
    event.listen(engine, "connect", _set_pragmas)
    event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN IMMEDIATE"))
    # Tables are made anew where a key changes: until all is in place, keys lead nowhere.
    event.listen(engine, "connect", _leave_keys_alone)
    event.listen(engine, "commit", _check_keys)
    config = _alembic_config()
    try:
        with engine.connect() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, revision)
    finally:
        engine.dispose()


def _leave_keys_alone(connection: sqlite3.Connection, _record: object) -> None:
    connection.execute("PRAGMA foreign_keys = OFF")


def _check_keys(connection: Connection) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    if broken is not None:
        raise BrokenKeys(f"after this step a row of {broken[0]} would belong to nothing")


def check_schema(engine: Engine) -> None:
    """Refuse a database whose schema is not the one this program works with.

    Raises
    ------
    WrongSchema
        Says which revision the database has and what to do.
    """
    found, wanted = revision_of(engine), newest_revision()
    if found == wanted:
        return
    if found is not None and not is_known(found):
        raise WrongSchema(NEWER_SCHEMA.format(found=found))
    raise WrongSchema(
        f"the database has schema {found or 'none'}, this program needs {wanted}: "
        "run 'linnet upgrade', which makes a backup first"
    )
