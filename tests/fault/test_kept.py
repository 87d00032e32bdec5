"""Whatever goes wrong, no acknowledged trial is lost and none is stored twice."""

import logging
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from fastapi.testclient import TestClient

from server import store_trials
from server.app import create_app
from tests.practice import ORIGIN, Clock, Practice, drawn, raw_of, running, settings_for
from tests.problem_form import assert_problem

ROOT = Path(__file__).parents[2]

# Stores the trial on its standard input and is killed where the result would be computed.
KILLED_BEFORE_SCORING = """
import os, signal, sys
from pathlib import Path
from server import store_trials
from server.database import make_engine, make_sessions
from server.documents import read_trial
from server.store_sessions import session_of_plan
from tests.practice import NOON, settings_for

store_trials.compute = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
raw = sys.stdin.buffer.read()
document = read_trial(raw)
with make_sessions(make_engine(settings_for(Path(sys.argv[1]))))() as db:
    session = session_of_plan(db, document.plan.plan_id)
    store_trials.store_trial(
        db, session_id=session.id, document=document, raw=raw, received_at=NOON
    )
"""


def count(path: Path, table: str) -> int:
    with closing(sqlite3.connect(path)) as connection:
        return int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def test_a_process_killed_between_storing_and_scoring_loses_nothing(
    practice_template: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    template, ids = practice_template
    tree = drawn(beside_mm=0.5)
    with running(template, tmp_path, ids) as practice:
        path = practice.path
    killed = subprocess.run(
        [sys.executable, "-c", KILLED_BEFORE_SCORING, str(path)],
        input=raw_of(tree),
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert (count(path, "trial"), count(path, "result")) == (1, 0)
    with running(template, tmp_path, ids) as practice:
        report = practice.desk("ferry").get(f"/api/trials/{tree['trial_id']}/report").json()
        mean_mm = report["measures"]["deviation_mean_abs"]["value"]
        assert mean_mm == pytest.approx(0.5, abs=1e-6)  # [C] line shifted by 0.5 mm
        assert count(path, "result") == 1
        again = practice.send(practice.tablet(), tree)
        assert (again.status_code, again.json()["report"]) == (200, report)
    assert (count(path, "trial"), count(path, "result")) == (1, 1)


def test_a_crash_in_scoring_still_answers_201_and_is_made_good_later(
    practice: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    def crash(*_args: object) -> None:
        raise ZeroDivisionError("invented")

    tree, tablet = drawn(), practice.tablet()
    with monkeypatch.context() as patch:
        patch.setattr("server.scoring.Workings", crash)
        answer = practice.send(tablet, tree)
        assert answer.status_code == 201
        assert answer.json()["report"]["quality"]["flags"] == ["scoring_failed"]
        assert (count(practice.path, "trial"), count(practice.path, "result")) == (1, 0)
        ferry = practice.desk("ferry")
        assert ferry.get(f"/api/trials/{tree['trial_id']}").status_code == 200
        assert ferry.get(f"/api/children/{practice.ids['Gull']}/trials").status_code == 200
        practice.agree("research", "Gull")
        table = practice.desk("beacon").get("/api/export/trials.csv")
        assert "scoring_failed" in table.text
    report = practice.desk("ferry").get(f"/api/trials/{tree['trial_id']}/report").json()
    assert "scoring_failed" not in report["quality"]["flags"]
    assert report["measures"]["completion"]["value"] == pytest.approx(1.0, abs=1e-4)  # [C] whole
    assert count(practice.path, "result") == 1


def test_a_result_that_cannot_be_kept_is_answered_all_the_same(
    practice: Practice, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    real = store_trials.compute

    def without_reason(*args: Any) -> Any:
        result = real(*args)
        result.report["measures"]["completion"] = {"value": None, "unit": "1"}
        return result

    tree, tablet = drawn(), practice.tablet()
    with monkeypatch.context() as patch:
        patch.setattr(store_trials, "compute", without_reason)
        assert practice.send(tablet, tree).status_code == 201
    assert (count(practice.path, "trial"), count(practice.path, "result")) == (1, 0)
    record = next(one for one in caplog.records if one.levelno == logging.ERROR)
    assert record.getMessage() == "a result could not be kept"
    assert [one["kind"] for one in record.errors] == ["IntegrityError"] * 2
    assert tree["trial_id"] not in str(vars(record))
    assert practice.send(tablet, tree).status_code == 200
    assert count(practice.path, "result") == 1


def test_the_same_trial_on_many_connections_at_once_is_stored_once(practice: Practice) -> None:
    tree = drawn()
    tablets = [practice.tablet() for _ in range(8)]
    start = threading.Barrier(len(tablets))

    def send(tablet: TestClient) -> Any:
        start.wait()
        return practice.send(tablet, tree)

    with ThreadPoolExecutor(len(tablets)) as threads:
        answers = list(threads.map(send, tablets))
    assert sorted(one.status_code for one in answers) == [200] * 7 + [201]
    assert len({one.json()["sha256"] for one in answers}) == 1
    assert len({str(one.json()["report"]) for one in answers}) == 1
    assert (count(practice.path, "trial"), count(practice.path, "result")) == (1, 1)


def test_two_documents_with_one_id_at_once_leave_one(practice: Practice) -> None:
    tree = drawn()
    documents = [tree | {"seq": number} for number in range(6)]
    tablets = [practice.tablet() for _ in documents]
    with ThreadPoolExecutor(len(tablets)) as threads:
        answers = list(threads.map(practice.send, tablets, documents))
    assert sorted(one.status_code for one in answers) == [201] + [409] * 5
    assert count(practice.path, "trial") == 1


def test_a_pairing_code_used_by_many_at_once_pairs_one(practice: Practice) -> None:
    code = practice.desk("ferry").post("/api/pairing-codes").json()["code"]

    def pair(_: int) -> int:
        return int(practice.client.post("/api/pair", json={"code": code}).status_code)

    with ThreadPoolExecutor(6) as threads:
        assert sorted(threads.map(pair, range(6))) == [200] + [422] * 5
    assert count(practice.path, "token") == 1


def test_many_different_trials_at_once_all_arrive(practice: Practice) -> None:
    trees = [drawn(seq=number) for number in range(12)]
    tablets = [practice.tablet() for _ in trees]
    with ThreadPoolExecutor(len(trees)) as threads:
        answers = list(threads.map(practice.send, tablets, trees))
    assert [one.status_code for one in answers] == [201] * 12
    assert (count(practice.path, "trial"), count(practice.path, "result")) == (12, 12)
    listed = practice.desk("ferry").get(f"/api/children/{practice.ids['Gull']}/trials").json()
    assert [one["trial_id"] for one in listed["trials"]] == [one["trial_id"] for one in trees]


def test_a_full_disk_is_answered_503_and_the_trial_can_come_again(practice: Practice) -> None:
    # Unknown keys are kept; these do not get smaller by packing.
    tree, tablet = drawn(extra=os.urandom(200_000).hex()), practice.tablet()
    engine = practice.app.state.engine
    engine.dispose()

    def limit(pages: int) -> None:
        with engine.connect() as connection:
            connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")

    # One connection, so that the limit, which belongs to a connection, is the one that counts.
    limit(1)
    answer = practice.send(tablet, tree)
    assert_problem(answer, 503)
    assert count(practice.path, "trial") == 0
    limit(1_000_000)
    assert practice.send(tablet, tree).status_code == 201
    assert count(practice.path, "trial") == 1


def test_trials_keep_the_order_of_the_session_when_the_clock_is_set_back(
    practice: Practice,
) -> None:
    tablet, trees = practice.tablet(), [drawn(seq=number) for number in (1, 2, 3)]
    unnumbered = [drawn(), drawn()]
    for tree in unnumbered:
        del tree["seq"]
    for tree in [*reversed(trees), *unnumbered]:
        assert practice.send(tablet, tree).status_code == 201
        practice.clock.move(hours=-1)
    listed = practice.desk("ferry").get(f"/api/children/{practice.ids['Gull']}/trials").json()
    shown = [one["trial_id"] for one in listed["trials"]]
    assert shown == [one["trial_id"] for one in [*trees, *unnumbered]]


@contextmanager
def listening(practice: Practice) -> Iterator[int]:
    """The application behind a real socket; gives its port."""
    config = uvicorn.Config(practice.app, port=0, lifespan="off", log_level="critical")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield server.servers[0].sockets[0].getsockname()[1]
    finally:
        server.should_exit = True
        thread.join()


def test_an_upload_that_breaks_off_stores_nothing_and_can_come_again(
    practice: Practice, caplog: pytest.LogCaptureFixture
) -> None:
    tree, tablet = drawn(), practice.tablet()
    raw = raw_of(tree)
    head = (
        f"PUT /api/trials/{tree['trial_id']} HTTP/1.1\r\nHost: testserver\r\n"
        f"Authorization: {tablet.headers['authorization']}\r\nContent-Length: {len(raw)}\r\n\r\n"
    )
    with listening(practice) as port:
        for sent in (0, 100, len(raw) - 1):
            with socket.create_connection(("127.0.0.1", port)) as broken:
                broken.sendall(head.encode() + raw[:sent])
        # A whole upload after them shows that the server has dealt with them.
        with socket.create_connection(("127.0.0.1", port)) as whole:
            whole.sendall(head.encode() + raw)
            assert whole.recv(12) == b"HTTP/1.1 201"
    assert count(practice.path, "trial") == 1
    logged = [record.status for record in caplog.records if record.name == "linnet"]
    # Those that broke off before their last byte are answered 400, though nobody is there.
    assert sorted(logged) == [201, 400, 400, 400]


def test_fifty_starts_and_stops_leave_no_file_and_no_thread_open(
    practice_template: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    template, ids = practice_template
    with running(template, tmp_path, ids) as practice:
        token = practice.tablet().headers["authorization"]

    def cycle() -> None:
        app = create_app(settings_for(tmp_path / "practice.sqlite3"), Clock())
        with TestClient(app, headers=ORIGIN | {"Authorization": token}) as client:
            assert client.get("/api/tablet/day").status_code == 200
            assert client.get("/healthz").status_code == 200

    def open_files() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    for _ in range(3):
        cycle()
    files, threads = open_files(), threading.active_count()
    for _ in range(50):
        cycle()
    # A thread that was told to end may still be on its way.
    until = time.monotonic() + 5
    while time.monotonic() < until and (open_files() > files or threading.active_count() > threads):
        time.sleep(0.05)
    assert open_files() <= files
    assert threading.active_count() <= threads
