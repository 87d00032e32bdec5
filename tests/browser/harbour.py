"""A real server of the demo town on a free port, for tests that drive a browser."""

import shutil
import signal
import socket
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx2
from berth import Berth

from server.database import make_engine, make_sessions, prepare_file, upgrade
from server.demo import fill
from server.library import placed, plan_item, task_of, with_pressure_band
from server.settings import Settings, database_url
from server.store_accounts import account_by_name
from server.store_children import children_of
from server.store_sessions import latest_plan, save_plan, sessions_of

# The assistant of the demo; the phrase is one of the scenario's.
NAME, PASSPHRASE = "ferry", "rope and lantern before noon"
SCREEN_MM = (207.0, 136.0)
START_LIMIT_S = 60.0


def now() -> datetime:
    return datetime.fromtimestamp(time.time(), UTC)


class Enough(Exception):
    """The demo has all that a tablet needs."""


def _no_more(*_: int) -> None:
    raise Enough


def make_town(file: Path) -> None:
    """Fill a new database with the demo's people and plans; its old trials take long to score."""
    with suppress(Enough):
        _fill(file)


def _fill(file: Path) -> None:
    settings = Settings(database_url=database_url(str(file)), demo=True)
    prepare_file(file)
    upgrade(settings)
    engine = make_engine(settings)
    try:
        with make_sessions(engine)() as db:
            fill(db, today=settings.day_of(now()), clock=now, progress=_no_more, workers=1)
    finally:
        engine.dispose()


def item(
    task_id: str, *, item_id: str | None = None, repetitions: int = 1, **choices: Any
) -> dict[str, Any]:
    """A plan item: `corridor_mm`, `direction`, `hand`, `midline_x_mm`, `median` and `show`."""
    task = task_of(task_id)
    if "median" in choices:
        task = with_pressure_band(task, choices["median"])
    direction = choices.get("direction", task["direction"])
    made = plan_item(
        task,
        item_id=item_id or task_id,
        guide=placed(
            task,
            corridor_mm=choices.get("corridor_mm", 12.0),
            screen_mm=choices.get("screen_mm", SCREEN_MM),
            direction=direction,
            midline_x_mm=choices.get("midline_x_mm", 103.5),
        ),
        condition={
            "hand": choices.get("hand", "right"),
            "direction": direction,
            "position": "seated",
            "tool": "stylus",
        },
        repetitions=repetitions,
        state="open",
    )
    return made | {"show": made.get("show", {}) | choices.get("show", {})}


class Harbour:
    """One server process and its database file."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.log = file.with_suffix(".log")
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.berth: Berth | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def plan(self, *items: dict[str, Any]) -> None:
        """Let today's open plan hold these items and no others; before the start only."""
        settings = Settings(database_url=database_url(str(self.file)))
        engine = make_engine(settings)
        try:
            with make_sessions(engine)() as db:
                account = account_by_name(db, NAME)
                today = settings.day_of(now())
                sessions = [
                    session
                    for child in children_of(db, account)
                    for session in sessions_of(db, child.id)
                    if session.day == today
                ]
                plan = latest_plan(db, sessions[0].id)
                closed = [one | {"state": "closed"} for one in plan["items"]]
                save_plan(db, sessions[0].id, plan | {"items": [*items, *closed]})
                db.commit()
        finally:
            engine.dispose()

    def start(self) -> None:
        self.berth = Berth(self.file, self.port, self.log)
        limit = time.monotonic() + START_LIMIT_S
        while True:
            if self.berth.ended:
                raise AssertionError(f"the server ended early:\n{self.log.read_text()}")
            try:
                httpx2.get(f"{self.url}/healthz", timeout=2)
            except httpx2.TransportError:
                if time.monotonic() > limit:
                    self.stop()
                    raise AssertionError(f"no answer:\n{self.log.read_text()}") from None
                time.sleep(0.05)
            else:
                return

    def kill(self) -> None:
        """End the server without a chance to finish anything."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        self._end(signal.SIGTERM)

    def _end(self, how: signal.Signals) -> None:
        if self.berth is not None:
            self.berth.end(how)
            self.berth = None

    @contextmanager
    def signed_in(self) -> Iterator[httpx2.Client]:
        with httpx2.Client(base_url=self.url, timeout=30) as client:
            answer = client.post("/api/sign-in", json={"name": NAME, "passphrase": PASSPHRASE})
            assert answer.status_code < 300, answer.text
            yield client

    def pairing_code(self) -> str:
        with self.signed_in() as client:
            return client.post("/api/pairing-codes").json()["code"]

    def report(self, trial_id: str) -> dict[str, Any]:
        with self.signed_in() as client:
            answer = client.get(f"/api/trials/{trial_id}/report")
        assert answer.status_code == 200, answer.text
        return answer.json()

    def facts(self, trial_id: str) -> dict[str, Any]:
        with self.signed_in() as client:
            return client.get(f"/api/trials/{trial_id}").json()

    def observations(self) -> list[dict[str, Any]]:
        """All observations of today's sessions."""
        with self.signed_in() as client:
            found = client.get("/api/sessions").json()
            return [
                one
                for session in found["sessions"]
                for one in client.get(f"/api/sessions/{session['session_id']}/observations").json()[
                    "observations"
                ]
            ]

    def stored(self) -> list[str]:
        """Ids of all trials on disk, in order of arrival, read past the server."""
        with sqlite3.connect(self.file) as disk:
            return [row[0] for row in disk.execute("SELECT id FROM trial ORDER BY arrival")]


def copy_of(demo_file: Path, folder: Path) -> Harbour:
    file = folder / "linnet.sqlite3"
    shutil.copy(demo_file, file)
    file.chmod(0o600)
    return Harbour(file)
