"""The log of the real command: one JSON object a line, also where the server itself writes."""

import json
import socket
import sqlite3
import urllib.error
import urllib.request
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from server.tables import Account
from tests.kept_demo import KeptDemo
from tests.leaks import leaks_in, samples_in
from tests.running import running

pytestmark = pytest.mark.slow

SECRET = "Quillfeather"
EVERY_LINE = {"at", "level", "event", "request_id"}
REQUEST = EVERY_LINE | {"method", "route", "status", "duration_ms"}


def raw(port: int, sent: str) -> bytes:
    """Send bytes as they are; return what comes back until the server closes."""
    answer = b""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as sock:
        sock.sendall(sent.encode())
        while piece := sock.recv(65536):
            answer += piece
    return answer


def hostile(method: str, path: str, body: str = "") -> str:
    return (
        f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n"
        f"X-Request-ID: {SECRET}\r\nUser-Agent: {SECRET}\r\nCookie: linnet={SECRET}\r\n"
        f"Authorization: Bearer {SECRET}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\n\r\n{body}"
    )


HOSTILE = [
    hostile("GET", f"/api/children/{SECRET}?nickname={SECRET}"),
    hostile("POST", "/api/sign-in", json.dumps({"name": SECRET, "passphrase": SECRET})),
    hostile("PUT", f"/api/trials/{SECRET}", json.dumps({"samples": {"x_mm": [1.5, 2.5, 3.5]}})),
    hostile(SECRET.upper(), f"/{SECRET}"),
    hostile("GET", f"/static/tablet/{SECRET}.css"),
]
# Refused before the application sees them.
BROKEN = [f"{SECRET}\r\n\r\n", f"GET /{SECRET} HTTP/{SECRET}\r\n\r\n"]


@pytest.fixture
def new_file(tmp_path: Path) -> Path:
    return tmp_path / "new.sqlite3"


@pytest.fixture
def demo_file(kept_demo: KeptDemo, tmp_path: Path) -> Path:
    return kept_demo.copied(tmp_path)


def port_of(first_line: str) -> int:
    return int(first_line.strip().rstrip("/").rpartition(":")[2])


def lines_of(errors: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in errors.splitlines()]


def test_served_requests_are_logged_without_what_was_sent(tmp_path: Path) -> None:
    path = tmp_path / f"{SECRET}.sqlite3"
    with running("serve", "--port", "0", "--database", str(path)) as served:
        port = port_of(served.first_line)
        answers = [raw(port, one) for one in HOSTILE]
        broken = [raw(port, one) for one in BROKEN]
        code, errors = served.stop()
    assert code == 0
    assert all(answer.startswith(b"HTTP/1.1 400") for answer in broken)
    lines = lines_of(errors)
    requests = [line for line in lines if line["event"] == "request"]
    others = [line for line in lines if line["event"] != "request"]
    assert [set(line) for line in requests] == [REQUEST] * len(HOSTILE)
    for line, answer in zip(requests, answers, strict=True):
        assert f"x-request-id: {line['request_id']}\r\n".encode() in answer.lower()
    assert [line["route"] for line in requests][2:] == [
        "/api/trials/{trial_id}",
        "(none)",
        "/static/tablet/{path}",
    ]
    assert [line["method"] for line in requests] == ["GET", "POST", "PUT", "(other)", "GET"]
    assert [set(line) for line in others] == [EVERY_LINE | {"logger", "place"}] * len(BROKEN)
    assert {line["logger"] for line in others} == {"uvicorn.error"}
    assert leaks_in(errors.encode(), [SECRET, SECRET.upper(), str(tmp_path)]) == []
    assert samples_in(errors.encode()) == []


@pytest.mark.parametrize(
    ("path", "command", "setting"),
    [
        ("new_file", ("serve",), "warning"),
        ("demo_file", ("demo", "--json"), "warning"),
        ("demo_file", ("demo", "--json"), "info"),
    ],
)
def test_with_faults_only_and_in_the_demo_requests_are_not_logged(
    request: pytest.FixtureRequest, path: str, command: tuple[str, ...], setting: str
) -> None:
    database = str(request.getfixturevalue(path))
    where = ("--port", "0", "--database", database)
    with running(*command, *where, LINNET_LOG_LEVEL=setting) as served:
        is_demo = served.first_line.startswith("{")
        url = served.links["desk_url"] if is_demo else served.first_line.split()[-1]
        with urllib.request.urlopen(f"{url}healthz", timeout=10) as answer:
            assert answer.status == 200
        with pytest.raises(urllib.error.HTTPError, match="404"):
            urllib.request.urlopen(f"{url}{SECRET}", timeout=10)
        assert served.stop() == (0, "")


def test_while_the_demo_is_filled_nothing_is_logged(kept_demo: KeptDemo) -> None:
    # Faults would stand there too: this setting shows all that the others show.
    assert kept_demo.log_level == "info"
    assert kept_demo.ended == (0, "")


def test_a_fault_is_logged_with_every_setting(tmp_path: Path) -> None:
    path = tmp_path / "new.sqlite3"
    command = ("serve", "--port", "0", "--database", str(path))
    with running(*command, LINNET_LOG_LEVEL="warning") as served:
        with closing(sqlite3.connect(path)) as db:
            db.execute(f"ALTER TABLE {Account.__tablename__} RENAME TO gone")
        sent = hostile("POST", "/api/sign-in", json.dumps({"name": SECRET, "passphrase": SECRET}))
        answer = raw(port_of(served.first_line), sent)
        _, errors = served.stop()
    assert answer.startswith(b"HTTP/1.1 503")
    fault, request = lines_of(errors)
    assert set(fault) == EVERY_LINE | {"errors"}
    assert fault["level"] == request["level"] == "error"
    assert fault["errors"][1]["code"].startswith("SQLITE_")
    assert f"x-request-id: {fault['request_id']}\r\n".encode() in answer.lower()
    assert fault["request_id"] == request["request_id"]
    assert leaks_in(errors.encode(), [SECRET, str(tmp_path)]) == []
