"""Erasing with the real command: no byte is left in any file or log of a real day."""

import json
import shutil
import sqlite3
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from server.copies import copy_database
from server.database import make_engine, make_sessions
from server.store_children import create_child, link
from server.store_sessions import create_session, save_plan
from server.tables import Account
from tests.keepers import (
    assert_gone,
    done,
    found_in,
    names_in,
    packed_of,
)
from tests.practice import (
    PASSPHRASE,
    TODAY,
    plan,
    raw_of,
    settings_for,
)
from tests.records import distinct
from tests.running import running as serving

slow = pytest.mark.slow


CODE, NICKNAME = "ZQ-7731", "Quillfeather"
PLAN = "00000000-0000-4000-8000-0000000000aa"


@pytest.fixture
def real(practice_template: tuple[Path, dict[str, str]], tmp_path: Path) -> Path:
    """A practice with a child whose names stand nowhere else."""
    template, ids = practice_template
    folder = tmp_path / "real"
    folder.mkdir()
    path = folder / "practice.sqlite3"
    copy_database(template, path)
    settings = settings_for(path)
    engine = make_engine(settings)
    with make_sessions(engine)() as db:
        child = create_child(db, code=CODE, nickname=NICKNAME, sign="kite crab")
        ferry = db.get(Account, ids["ferry"])
        assert ferry is not None
        link(db, ferry, child, TODAY)
        session = create_session(db, child_id=child.id, day=TODAY, plan_id=PLAN)
        save_plan(db, session.id, plan())
        db.commit()
    engine.dispose()
    return path


class Caller:
    """Asks a real server, as a browser and a tablet do."""

    def __init__(self, url: str) -> None:
        self.url, self.cookie, self.token = url.rstrip("/"), "", ""

    def ask(self, method: str, address: str, body: bytes | None = None) -> tuple[int, bytes]:
        headers = {"Origin": self.url, "Content-Type": "application/json"}
        if self.token:
            headers["Authorization"] = f"Bearer {self.token}"
        if self.cookie:
            headers["Cookie"] = self.cookie
        request = urllib.request.Request(
            self.url + address, data=body, method=method, headers=headers
        )
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                self.cookie = answer.headers.get("Set-Cookie", self.cookie).partition(";")[0]
                return int(answer.status), answer.read()
        except urllib.error.HTTPError as error:
            return error.code, error.read()

    def sign_in(self) -> None:
        body = json.dumps({"name": "ferry", "passphrase": PASSPHRASE}).encode()
        assert self.ask("POST", "/api/sign-in", body)[0] == 200

    def pair(self) -> str:
        """Pair a tablet; returns what it shows from now on."""
        status, answer = self.ask("POST", "/api/pairing-codes")
        assert status in (200, 201)
        code = json.loads(answer)["code"]
        status, answer = self.ask("POST", "/api/pair", json.dumps({"code": code}).encode())
        assert status == 200
        return str(json.loads(answer)["token"])


def send(caller: Caller, token: str, tree: dict[str, Any]) -> int:
    tablet = Caller(caller.url)
    tablet.token = token
    return tablet.ask("PUT", f"/api/trials/{tree['trial_id']}", raw_of(tree))[0]


def url_of(line: str) -> str:
    return line.removeprefix("Linnet listens on ").strip()


class Day:
    """Servers of a real day; all they write is kept."""

    def __init__(self, path: Path, logs: Path) -> None:
        self.path, self.logs, self.number = path, logs, 0
        logs.mkdir()

    def serve(self) -> Iterator[Caller]:
        arguments = ("serve", "--port", "0", "--database", str(self.path))
        with serving(*arguments, LINNET_TIME_ZONE="UTC") as server:
            yield Caller(url_of(server.first_line))
            code, errors = server.stop()
        assert code == 0
        self.number += 1
        self.logs.joinpath(f"{self.number}.log").write_text(server.first_line + errors)


@slow
def test_after_erasing_no_byte_is_left_and_no_backup_brings_it_back(
    real: Path, tmp_path: Path
) -> None:
    day, kept = Day(real, tmp_path / "logs"), tmp_path / "away.sqlite3"
    tree, late = (distinct(number, plan_id=PLAN, seq=number) for number in (11, 12))
    for caller in day.serve():
        caller.sign_in()
        token = caller.pair()
        assert send(caller, token, tree) == 201
        # Wrong documents with the same words: what is refused is not remembered either.
        assert send(caller, token, tree | {"trial_id": "x", "nickname": NICKNAME}) >= 400
        assert send(caller, token, tree | {"seq": NICKNAME}) >= 400
        mark = json.dumps({"id": PLAN, "outcome": "spoilt", "why": f"{NICKNAME} laughed."})
        address = f"/api/trials/{tree['trial_id']}"
        assert caller.ask("POST", f"{address}/marks", mark.encode())[0] in (200, 201)
        for part in ("", "/report", "/trace", "/ink", "/figure.svg"):
            assert caller.ask("GET", address + part)[0] == 200, part
        page = caller.ask("GET", f"/trials/{tree['trial_id']}")[1]
        assert NICKNAME.encode() in page
        # While it is being served.
        done("backup", kept, "--database", real)
    with closing(sqlite3.connect(real)) as connection:
        (child,) = connection.execute("SELECT id FROM child WHERE code = ?", (CODE,)).fetchone()
    samples = json.dumps(tree["samples"]["x_mm"][100:104])[1:-1].encode()
    assert samples in raw_of(tree)
    needles = [CODE.encode(), NICKNAME.encode(), *packed_of(real, child)]
    assert len(needles) > 8
    for needle in needles:
        assert found_in(real.parent, needle) == ["practice.sqlite3"]
    done("erase", child, "--yes", "--database", real)
    searched = [*needles, samples]
    for folder in (real.parent, day.logs):
        assert_gone(folder, searched)
    assert names_in(day.logs) == ["1.log"]
    assert "request" in (day.logs / "1.log").read_text()
    # A tablet that was away still has one of its trials.
    for caller in day.serve():
        assert send(caller, token, late) == 410
        assert send(caller, token, tree) == 410
    # An older backup, put back with the command, then by hand.
    for put_back in ("command", "hand"):
        if put_back == "command":
            done("restore", kept, "--database", real)
        else:
            shutil.copy(kept, real)
            assert found_in(real.parent, NICKNAME.encode()) == ["practice.sqlite3"]
        for caller in day.serve():
            caller.sign_in()
            assert caller.ask("GET", f"/children/{child}")[0] == 404
            assert caller.ask("GET", f"/api/trials/{tree['trial_id']}/report")[0] == 404
            assert send(caller, token, late) == 410
            assert_gone(real.parent, searched)
        for folder in (real.parent, day.logs):
            assert_gone(folder, searched)
        done("check", "--database", real)
    # The search itself: a planted name is found.
    (day.logs / "planted.log").write_bytes(b"\x00" + NICKNAME.encode())
    assert found_in(day.logs, NICKNAME.encode()) == ["planted.log"]
