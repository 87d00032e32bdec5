"""The demo as the real command fills it and keeps it: filled once, opened many times."""

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from server.database import make_engine, make_sessions
from server.settings import Settings, database_url
from tests.running import running

DATABASE, SAID = "kept.sqlite3", "said.json"
LOG_LEVEL = "info"


def make_kept_demo(folder: Path) -> None:
    """Let `linnet demo` fill a new database, stop it, and write down what it said."""
    folder.mkdir()
    where = ("--port", "0", "--database", str(folder / DATABASE))
    with running("demo", "--json", *where, LINNET_LOG_LEVEL=LOG_LEVEL) as demo:
        code, errors = demo.stop()
        told = {"accounts": demo.links["accounts"], "code": code, "errors": errors}
    (folder / SAID).write_text(json.dumps(told), encoding="utf-8")


@dataclass
class KeptDemo:
    """The folder in which a demo was filled and kept."""

    folder: Path
    log_level: str = LOG_LEVEL

    @property
    def path(self) -> Path:
        return self.folder / DATABASE

    @cached_property
    def said(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads((self.folder / SAID).read_text(encoding="utf-8"))
        return found

    @property
    def accounts(self) -> list[dict[str, str]]:
        return list(self.said["accounts"])

    @property
    def ended(self) -> tuple[int, str]:
        """Exit code, and everything on its error output from the start to the end."""
        return self.said["code"], self.said["errors"]

    def copied(self, folder: Path) -> Path:
        """A copy that may be written to, with the rights of the file."""
        return Path(shutil.copy(self.path, folder / DATABASE))

    @contextmanager
    def opened(self, folder: Path) -> Iterator[Session]:
        """A session with a copy of its own."""
        engine = make_engine(Settings(database_url(str(self.copied(folder)))))
        with make_sessions(engine)() as db:
            yield db
        engine.dispose()
