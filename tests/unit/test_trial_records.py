"""What leaves and what comes in: exact bytes, ink, erased records, senders that disagree."""

import base64
import hashlib
import json
import sqlite3
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy.exc import IntegrityError

from server.documents import MAX_DOCUMENT_BYTES, read_trial
from server.faults import BadDocument
from server.fields import MAX_SAMPLES
from server.inkml import read_ink
from server.problems import Problem
from server.store_trials import store_raw
from server.strict_json import MAX_NESTS, MAX_VALUES
from tests.practice import PLAN_GULL, Practice, drawn, raw_of
from tests.problem_form import assert_problem

UNKNOWN = "33333333-3333-4333-8333-333333333333"


def rows(practice: Practice, query: str) -> list[Any]:
    with closing(sqlite3.connect(practice.path)) as connection:
        return connection.execute(query).fetchall()


def erase_ids(practice: Practice, *ids: str) -> None:
    """Leave behind what erasing leaves: ids of what was."""
    with closing(sqlite3.connect(practice.path)) as connection, connection:
        connection.execute(
            "INSERT INTO erasure (id, child_id, at, reason, counts)"
            " VALUES ('e', 'c', '2026-03-01', 'asked', '{}')"
        )
        connection.executemany(
            "INSERT INTO erased_id (id, erasure_id) VALUES (?, 'e')", [(one,) for one in ids]
        )


def test_the_record_is_given_out_as_the_bytes_received_with_their_sha256(
    practice: Practice,
) -> None:
    tree, ferry = drawn(), practice.desk("ferry")
    raw = b" \n" + raw_of(tree) + b"\n"
    path = f"/api/trials/{tree['trial_id']}"
    assert practice.tablet().put(path, content=raw).status_code == 201
    answer = ferry.get(f"{path}/raw")
    assert answer.content == raw
    assert answer.headers["content-type"] == "application/json"
    digest = base64.b64encode(hashlib.sha256(raw).digest()).decode()
    assert answer.headers["repr-digest"] == f"sha-256=:{digest}:"
    noted = rows(practice, "SELECT object_id, child_id FROM audit WHERE verb = 'exported'")
    assert noted == [(tree["trial_id"], practice.ids["Gull"])]


def test_the_samples_are_given_out_as_ink(practice: Practice) -> None:
    tree, ferry = drawn(), practice.desk("ferry")
    practice.send(practice.tablet(), tree)
    answer = ferry.get(f"/api/trials/{tree['trial_id']}/ink")
    assert answer.headers["content-type"] == "application/inkml+xml"
    trace = read_ink(answer.content).trace
    assert trace.xy_mm[:, 0].tolist() == tree["samples"]["x_mm"]


@pytest.mark.parametrize("part", ["raw", "ink"])
@pytest.mark.parametrize(
    ("name", "status"), [("lantern", 404), ("beacon", 403), ("purser", 403), ("harbour", 200)]
)
def test_records_are_for_those_who_see_the_child(
    practice: Practice, part: str, name: str, status: int
) -> None:
    tree, tablet = drawn(), practice.tablet()
    practice.send(tablet, tree)
    path = f"/api/trials/{tree['trial_id']}/{part}"
    assert practice.desk(name).get(path).status_code == status
    assert_problem(tablet.get(path), 401)
    assert_problem(practice.client.get(path), 401)


@pytest.mark.parametrize("what", ["trial", "plan"])
def test_a_trial_of_an_erased_record_is_answered_410(practice: Practice, what: str) -> None:
    plan_id = str(uuid4())
    tree, tablet = drawn(plan_id=plan_id), practice.tablet()
    assert_problem(practice.send(tablet, tree), 422, "/plan/plan_id")
    erase_ids(practice, tree["trial_id"] if what == "trial" else plan_id)
    body = assert_problem(practice.send(tablet, tree), 410)
    assert "erased" in body["detail"]
    assert rows(practice, "SELECT count(*) FROM trial") == [(0,)]


def test_a_session_that_is_erased_while_its_trial_comes_in_is_answered_410(
    practice: Practice,
) -> None:
    session_id, raw = str(uuid4()), raw_of(drawn())
    with practice.app.state.sessions() as db:
        given = {"document": read_trial(raw), "raw": raw, "received_at": practice.clock.now}
        with pytest.raises(IntegrityError):
            store_raw(db, session_id=session_id, **given)
        erase_ids(practice, session_id)
        with pytest.raises(Problem) as caught:
            store_raw(db, session_id=session_id, **given)
    assert caught.value.status == 410
    assert rows(practice, "SELECT count(*) FROM trial") == [(0,)]


def test_a_mark_on_an_erased_trial_is_answered_410(practice: Practice) -> None:
    path, mark = f"/api/trials/{UNKNOWN}/marks", {"id": str(uuid4()), "outcome": "finished"}
    tablet, ferry = practice.tablet(), practice.desk("ferry")
    assert_problem(tablet.post(path, json=mark), 404)
    erase_ids(practice, UNKNOWN)
    assert_problem(tablet.post(path, json=mark), 410)
    assert_problem(ferry.post(path, json=mark), 410)
    assert rows(practice, "SELECT count(*) FROM mark") == [(0,)]


def test_a_mark_on_an_unknown_trial_is_404_from_tablet_and_desk(practice: Practice) -> None:
    mark = {"id": str(uuid4()), "outcome": "finished"}
    path = f"/api/trials/{UNKNOWN}/marks"
    for client in (practice.tablet(), practice.desk("ferry")):
        assert_problem(client.post(path, json=mark), 404)
    assert rows(practice, "SELECT count(*) FROM mark") == [(0,)]


@pytest.mark.parametrize("same", [True, False], ids=["same bytes", "other bytes"])
def test_two_tablets_that_send_one_id_at_once_leave_one_trial(
    practice: Practice, same: bool
) -> None:
    tree = drawn()
    trees = [tree, tree if same else tree | {"seq": 8}]
    tablets = [practice.tablet(), practice.tablet()]
    start = threading.Barrier(2)

    def send(at: int) -> Any:
        start.wait()
        return practice.send(tablets[at], trees[at])

    with ThreadPoolExecutor(2) as threads:
        answers = list(threads.map(send, range(2)))
    assert sorted(one.status_code for one in answers) == ([200, 201] if same else [201, 409])
    assert rows(practice, "SELECT count(*) FROM trial") == [(1,)]
    assert rows(practice, "SELECT count(*) FROM audit WHERE verb = 'stored'") == [(1,)]
    kept = next(at for at, one in enumerate(answers) if one.status_code == 201)
    sha256 = hashlib.sha256(raw_of(trees[kept])).hexdigest()
    assert rows(practice, "SELECT sha256 FROM trial") == [(sha256,)]


def test_trials_with_the_same_place_in_a_session_stand_in_the_order_of_arrival(
    practice: Practice,
) -> None:
    one, other = practice.tablet(), practice.tablet()
    trees = [drawn(seq=1), drawn(seq=2), drawn(seq=2), drawn(seq=1)]
    for tablet, tree in zip((one, one, other, other), trees, strict=True):
        assert practice.send(tablet, tree).status_code == 201
        practice.clock.move(minutes=-1)
    path = f"/api/children/{practice.ids['Gull']}/trials"
    shown = [one["trial_id"] for one in practice.desk("ferry").get(path).json()["trials"]]
    assert shown == [trees[at]["trial_id"] for at in (0, 3, 1, 2)]


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"", 422),
        (b"\x00\xff\xfe", 422),
        (b"null", 422),
        (b"[]", 422),
        (b'{"format": "linnet-trial/1"', 422),
        (b"[" + b"{}," * 5_000_000 + b"{}]", 413),
        (b'{"extra": [' + b"0," * 7_000_000 + b"0]}", 413),
        (b" " * (MAX_DOCUMENT_BYTES + 1), 413),
    ],
    ids=["empty", "garbage", "null", "list", "cut off", "objects", "numbers", "huge"],
)
def test_a_body_that_is_no_trial_is_refused_and_leaves_nothing_behind(
    practice: Practice, body: bytes, status: int
) -> None:
    tables = ("trial", "result", "measure_value", "mark", "audit")
    tablet = practice.tablet()

    def sizes() -> list[Any]:
        return [rows(practice, f"SELECT count(*) FROM {table}") for table in tables]

    before = sizes()
    assert_problem(tablet.put(f"/api/trials/{uuid4()}", content=body), status)
    assert sizes() == before


# Half of a surrogate pair is no text that a database could keep.
HALF = json.dumps(
    {"id": UNKNOWN, "voided": True, "reason": "\ud800", "patch": {"tool": "chalk"}}
).encode()


@pytest.mark.parametrize("part", ["marks", "amendments", "voids"])
def test_what_is_added_to_a_trial_must_be_an_object_of_its_form(
    practice: Practice, part: str
) -> None:
    tree = drawn()
    practice.send(practice.tablet(), tree)
    ferry, headers = practice.desk("ferry"), {"Content-Type": "application/json"}
    path = f"/api/trials/{tree['trial_id']}/{part}"
    for body in (b"", b"null", b"[]", b'{"id": 1', b'{"id": null}', HALF):
        assert_problem(ferry.post(path, content=body, headers=headers), 422)
    assert_problem(ferry.post(path, content=b"\xff", headers=headers), 400)
    assert_problem(ferry.post(path, content=b" " * 70_000, headers=headers), 413)
    for table in ("mark", "amendment", "void"):
        assert rows(practice, f"SELECT count(*) FROM {table}") == [(0,)]


def longest() -> bytes:
    """As many samples as a trial may have, with every column, under the bound on bytes."""
    tree = drawn()
    count = MAX_SAMPLES
    columns = {"t_ms": [round(5.0 * at, 1) for at in range(count)], "stroke": [0] * count}
    for name in ("x_mm", "y_mm"):
        columns[name] = [round(20.0 + 0.01 * (at % 100), 2) for at in range(count)]
    columns["pressure"] = [0.31] * count
    columns |= {"tilt_x": [12] * count, "tilt_y": [-4] * count, "pointer": [0] * count}
    return json.dumps(tree | {"samples": columns}, separators=(",", ":")).encode()


def test_the_longest_honest_document_is_read() -> None:
    raw = longest()
    assert len(raw) < MAX_DOCUMENT_BYTES
    assert raw.count(b",") > 8 * MAX_SAMPLES
    assert len(read_trial(raw).samples.t_ms) == MAX_SAMPLES


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"[" + b"{}," * 5_000_000 + b"{}]", str(MAX_VALUES)),
        (b"[" + b"[" * MAX_NESTS + b"]" * MAX_NESTS + b"]", str(MAX_NESTS)),
        (b"[" + b"{}," * 1_999_000 + b"{}]", str(MAX_NESTS)),
    ],
    ids=["values", "lists", "objects"],
)
def test_a_document_of_too_many_values_is_refused_before_any_is_built(
    raw: bytes, says: str
) -> None:
    start = time.perf_counter()
    with pytest.raises(BadDocument) as caught:
        read_trial(raw)
    took_s = time.perf_counter() - start
    assert caught.value.status == 413
    assert says in caught.value.faults[0].detail
    # Counting 15 MB takes hundredths of a second; building them takes several seconds.
    assert took_s < 0.5


def test_other_trials_are_taken_after_a_record_was_erased(practice: Practice) -> None:
    erase_ids(practice, str(uuid4()))
    assert practice.send(practice.tablet(), drawn(plan_id=PLAN_GULL)).status_code == 201
