"""An invented practice: adults, children, sessions and plans, and a clock that can be set."""

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Dialect, Engine

from server import pairing
from server.app import create_app, equip
from server.database import make_engine, make_sessions, upgrade
from server.settings import Settings
from server.store_accounts import create_account
from server.store_children import create_child, link
from server.store_consents import add_consent
from server.store_sessions import create_session, save_plan
from tests.documents import sound

NOON = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)
TODAY = date(2026, 3, 3)
PASSPHRASE = "tide over the bar at noon"
PLAN_GULL = "00000000-0000-4000-8000-000000000001"
PLAN_WREN = "00000000-0000-4000-8000-000000000002"
ORIGIN = {"Origin": "http://testserver"}
# Everything that would tell who a child is.
TELLING = ("BW-91", "BW-92", "Gull", "Wren", "2019-06", "2026-03", "Tidewell")


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        return self.now

    def move(self, **by: float) -> None:
        self.now += timedelta(**by)


def settings_for(path: Path) -> Settings:
    return Settings(f"sqlite:///{path}", time_zone="UTC")


def make_practice(path: Path) -> dict[str, str]:
    """Fill a new database; returns the ids of what is in it."""
    settings = settings_for(path)
    upgrade(settings)
    engine = make_engine(settings)
    with make_sessions(engine)() as db:
        roles = {
            "harbour": {"supervisor"},
            "ferry": {"assistant"},
            "lantern": {"assistant"},
            "beacon": {"researcher"},
            "purser": {"owner"},
        }
        accounts: dict[str, Any] = {}
        for name, held in roles.items():
            above = accounts["harbour"].id if name == "ferry" else None
            accounts[name] = create_account(
                db, name=name, passphrase=PASSPHRASE, roles=held, supervisor_id=above
            )
        ids = {}
        for code, nickname, sign, carer, plan_id in (
            ("BW-91", "Gull", "boat kite", "ferry", PLAN_GULL),
            ("BW-92", "Wren", "crab lighthouse", "lantern", PLAN_WREN),
        ):
            child = create_child(
                db,
                code=code,
                nickname=nickname,
                sign=sign,
                birth_month="2019-06",
                preferred_hand="right",
            )
            link(db, accounts[carer], child, TODAY - timedelta(days=60))
            session = create_session(
                db, child_id=child.id, day=TODAY, place="Tidewell School", plan_id=plan_id
            )
            save_plan(db, session.id, plan())
            ids |= {nickname: child.id, f"{nickname} session": session.id}
        ids |= {name: account.id for name, account in accounts.items()}
        db.commit()
    engine.dispose()
    return ids


def plan() -> dict[str, Any]:
    trial = sound()
    item = {name: trial[name] for name in ("task", "guide", "condition")}
    return {"items": [{"item_id": "a1", "state": "open", "repetitions": 3, **item}]}


def drawn(
    *, trial_id: str | None = None, plan_id: str = PLAN_GULL, beside_mm: float = 1.0, **top: Any
) -> dict[str, Any]:
    """A whole line at constant speed beside the guide from x = 20 to 180 mm: 4 s at 120 Hz."""
    tree = sound() | {"trial_id": trial_id or str(uuid4())} | top
    tree["plan"] = tree["plan"] | {"plan_id": plan_id}
    tree["guide"].pop("id")
    t_ms = np.arange(481) * 1000 / 120
    count = len(t_ms)
    tree["samples"] = {
        "t_ms": [round(500 + t, 3) for t in t_ms.tolist()],
        "x_mm": np.linspace(20, 180, count).round(4).tolist(),
        # y is down: what lies to the left of a line to the right has the smaller y.
        "y_mm": [60.0 - beside_mm] * count,
        "stroke": [0] * count,
    }
    return tree


def raw_of(tree: Any) -> bytes:
    return json.dumps(tree).encode()


@dataclass
class Practice:
    """A running practice."""

    app: FastAPI
    client: TestClient
    clock: Clock
    path: Path
    ids: dict[str, str]

    def browser(self, headers: dict[str, str] | None = None, **more: Any) -> TestClient:
        """A browser in which nobody is signed in."""
        client = TestClient(
            self.app, headers=ORIGIN | (headers or {}), raise_server_exceptions=False, **more
        )
        # The loop that serves the application; without one, each request starts its own.
        client.portal = self.client.portal
        return client

    def desk(self, name: str) -> TestClient:
        """A browser in which somebody is signed in."""
        client = self.browser()
        answer = client.post("/api/sign-in", json={"name": name, "passphrase": PASSPHRASE})
        assert answer.status_code == 200, answer.text
        return client

    def tablet(self, name: str = "ferry") -> TestClient:
        """A tablet paired with somebody's day."""
        with self.app.state.sessions() as db:
            code, _ = pairing.make_code(db, self.ids[name], self.clock.now)
            paired = pairing.pair(db, code, self.clock.now, self.app.state.settings)
            db.commit()
        assert paired is not None
        return self.holding(paired.token)

    def holding(self, token: str) -> TestClient:
        """A tablet that shows a token."""
        return self.browser({"Authorization": f"Bearer {token}"})

    def agree(self, purpose: str, *nicknames: str) -> None:
        """Note the consent of families to a purpose."""
        with self.app.state.sessions() as db:
            for nickname in nicknames:
                add_consent(
                    db,
                    child_id=self.ids[nickname],
                    purpose=purpose,
                    given_on=TODAY - timedelta(days=60),
                    given_by="parent",
                    account_id=self.ids["ferry"],
                    at=self.clock.now,
                )
            db.commit()

    def send(self, client: TestClient, tree: dict[str, Any], **more: Any) -> Any:
        return client.put(f"/api/trials/{tree['trial_id']}", content=raw_of(tree), **more)


# Applications whose practice has ended, for the next one: to lay out all routes anew for each
# test would take longer than the test.
_idle: list[FastAPI] = []


_compiled: dict[Any, Any] = {}
_dialects: list[Dialect] = []


def _share_statements(engine: Engine) -> None:
    """Compile each statement once for all practices, not once for each: they are alike."""
    if not _dialects:
        _dialects.append(engine.dialect)
    engine.dialect = _dialects[0]
    engine.update_execution_options(compiled_cache=_compiled)


@contextmanager
def served(path: Path, ids: dict[str, str]) -> Iterator[Practice]:
    """Serve a database file."""
    settings, clock = settings_for(path), Clock()
    if _idle:
        app = _idle.pop()
        equip(app, settings, clock)
    else:
        app = create_app(settings, clock)
    _share_statements(app.state.engine)
    routes = len(app.router.routes)
    with TestClient(app, headers=ORIGIN, raise_server_exceptions=False) as client:
        yield Practice(app, client, clock, path, ids)
    # One with routes of a test's own is not for another test.
    if len(app.router.routes) == routes:
        _idle.append(app)


@contextmanager
def running(template: Path, folder: Path, ids: dict[str, str]) -> Iterator[Practice]:
    """Serve a copy of a practice."""
    path = folder / "practice.sqlite3"
    if not path.exists():
        shutil.copy(template, path)
    with served(path, ids) as practice:
        yield practice
