"""The way of a trial into the server and out again."""

import gzip
import hashlib
import sqlite3
import tracemalloc
import zlib
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from server.bodies import unpacked
from server.documents import MAX_DOCUMENT_BYTES
from server.problems import Problem
from tests.documents import CASES, Case, fragments
from tests.practice import PLAN_WREN, Practice, drawn, raw_of, running
from tests.problem_form import assert_problem


def count(practice: Practice, table: str) -> int:
    with closing(sqlite3.connect(practice.path)) as connection:
        return int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def test_a_new_trial_is_answered_201_with_its_sha256_and_report(practice: Practice) -> None:
    tree = drawn(beside_mm=1.25)
    answer = practice.send(practice.tablet(), tree)
    assert answer.status_code == 201
    assert answer.json()["sha256"] == hashlib.sha256(raw_of(tree)).hexdigest()
    report = answer.json()["report"]
    assert report["trial_id"] == tree["trial_id"]
    mean_mm = report["measures"]["deviation_mean_abs"]["value"]
    assert mean_mm == pytest.approx(1.25, abs=1e-6)  # [C] line shifted by 1.25 mm
    assert report["scores"]["covered_pct"] == pytest.approx(100.0, abs=0.01)  # [C] whole line
    assert report["travelled"] == "left_to_right"


def test_the_stored_record_is_exactly_the_bytes_that_were_sent(practice: Practice) -> None:
    tree = drawn()
    raw = b"\n " + raw_of(tree) + b"  \n"
    sent = practice.tablet().put(f"/api/trials/{tree['trial_id']}", content=raw)
    assert sent.status_code == 201
    with closing(sqlite3.connect(practice.path)) as connection:
        stored, sha256 = connection.execute("SELECT raw, sha256 FROM trial").fetchone()
    assert zlib.decompress(stored) == raw
    assert sha256 == hashlib.sha256(raw).hexdigest()


def test_a_packed_upload_is_the_same_document_as_an_unpacked_one(practice: Practice) -> None:
    tree, tablet = drawn(), practice.tablet()
    raw = raw_of(tree)
    path = f"/api/trials/{tree['trial_id']}"
    packed = tablet.put(path, content=gzip.compress(raw), headers={"Content-Encoding": "gzip"})
    assert packed.status_code == 201
    assert packed.json()["sha256"] == hashlib.sha256(raw).hexdigest()
    assert tablet.put(path, content=raw).status_code == 200


def test_the_same_bytes_again_are_answered_200_and_stored_once(practice: Practice) -> None:
    tree, tablet = drawn(), practice.tablet()
    first = practice.send(tablet, tree)
    again = practice.send(tablet, tree)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert (count(practice, "trial"), count(practice, "result")) == (1, 1)


def test_other_bytes_under_the_same_id_are_refused_and_change_nothing(practice: Practice) -> None:
    tree, tablet = drawn(), practice.tablet()
    first = practice.send(tablet, tree)
    assert_problem(practice.send(tablet, tree | {"seq": 8}), 409)
    assert practice.send(tablet, tree).json() == first.json()


@pytest.fixture(scope="module")
def steady_tablet(
    practice_template: tuple[Path, dict[str, str]], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Practice, TestClient]]:
    """One tablet that sends all the malformed documents."""
    template, ids = practice_template
    with running(template, tmp_path_factory.mktemp("malformed"), ids) as practice:
        yield practice, practice.tablet()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_malformed_document_is_refused_and_not_stored(
    steady_tablet: tuple[Practice, TestClient], case: Case
) -> None:
    practice, tablet = steady_tablet
    raw = case.raw()
    answer = tablet.put("/api/trials/5f3a1c52-8d0e-4b7a-9c41-6e2f70b9d813", content=raw)
    body = assert_problem(answer, case.status)
    if len(raw) <= MAX_DOCUMENT_BYTES:
        assert body["errors"][0]["path"] == case.path
        assert case.says in body["errors"][0]["detail"]
    for fragment in fragments(raw):
        assert fragment not in answer.text
    assert count(practice, "trial") == 0


def test_the_id_in_the_address_must_be_the_document_s(practice: Practice) -> None:
    answer = practice.tablet().put(
        "/api/trials/11111111-1111-4111-8111-111111111111", content=raw_of(drawn())
    )
    assert_problem(answer, 422, "/trial_id")


@pytest.mark.parametrize("plan_id", ["plan-7", PLAN_WREN], ids=["unknown", "of another child"])
def test_a_plan_that_is_not_the_tablet_s_is_refused(practice: Practice, plan_id: str) -> None:
    answer = practice.send(practice.tablet("ferry"), drawn(plan_id=plan_id))
    assert_problem(answer, 422, "/plan/plan_id")
    assert count(practice, "trial") == 0


def test_a_trial_without_a_plan_is_refused_from_a_tablet(practice: Practice) -> None:
    tree = drawn()
    del tree["plan"]
    assert_problem(practice.send(practice.tablet(), tree), 422, "/plan/plan_id")


def test_a_therapist_may_send_a_trial_into_a_session(practice: Practice) -> None:
    tree = drawn()
    del tree["plan"]
    ferry = practice.desk("ferry")
    sent = practice.send(ferry, tree, params={"session": practice.ids["Gull session"]})
    assert sent.status_code == 201
    other = drawn(plan_id="plan-7")
    of_another = practice.send(ferry, other, params={"session": practice.ids["Wren session"]})
    assert_problem(of_another, 404)


def test_a_trial_is_not_filed_under_another_child_than_its_plan_s(practice: Practice) -> None:
    harbour = practice.desk("harbour")
    answer = practice.send(
        harbour, drawn(plan_id=PLAN_WREN), params={"session": practice.ids["Gull session"]}
    )
    assert_problem(answer, 422, "/plan/plan_id")


def test_a_body_is_refused_before_it_is_read_if_it_says_that_it_is_too_large(
    practice: Practice,
) -> None:
    read = 0

    def chunks() -> Any:
        nonlocal read
        for _ in range(MAX_DOCUMENT_BYTES // 2**20 + 8):
            read += 2**20
            yield b" " * 2**20

    path = f"/api/trials/{drawn()['trial_id']}"
    length = {"Content-Length": str(MAX_DOCUMENT_BYTES + 1)}
    assert_problem(practice.tablet().put(path, content=b"{}", headers=length), 413)
    assert_problem(practice.tablet().put(path, content=chunks()), 413)


def test_a_body_that_unpacks_to_too_much_is_refused(practice: Practice) -> None:
    bomb = gzip.compress(b" " * (MAX_DOCUMENT_BYTES + 1))
    assert len(bomb) < 20_000
    answer = practice.tablet().put(
        f"/api/trials/{drawn()['trial_id']}", content=bomb, headers={"Content-Encoding": "gzip"}
    )
    assert_problem(answer, 413)


def test_unpacking_stops_at_the_limit() -> None:
    bomb = gzip.compress(bytes(256 * 2**20), compresslevel=1)
    tracemalloc.start()
    try:
        with pytest.raises(Problem) as caught:
            unpacked(bomb)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert caught.value.status == 413
    # [C] the limit itself, and as much again while the buffer for it grows
    assert peak < 3 * MAX_DOCUMENT_BYTES


@pytest.mark.parametrize(
    ("body", "encoding", "status"),
    [
        (b"not packed", "gzip", 422),
        (gzip.compress(b"{}", mtime=0)[:-4], "gzip", 422),
        (gzip.compress(b"{}", mtime=0) + b"more", "gzip", 422),
        (b"{}", "br", 415),
    ],
)
def test_a_body_that_cannot_be_unpacked_is_refused(
    practice: Practice, body: bytes, encoding: str, status: int
) -> None:
    answer = practice.tablet().put(
        f"/api/trials/{drawn()['trial_id']}", content=body, headers={"Content-Encoding": encoding}
    )
    assert_problem(answer, status)


def test_other_bodies_may_be_small_only(practice: Practice) -> None:
    answer = practice.client.post("/api/sign-in", content=b" " * 70_000)
    assert_problem(answer, 413)
    chunked = practice.client.post("/api/sign-in", content=iter([b" " * 40_000] * 2))
    assert_problem(chunked, 413)


def test_a_therapist_reads_trial_report_and_trace(practice: Practice) -> None:
    tree = drawn()
    sent = practice.send(practice.tablet(), tree).json()
    ferry, path = practice.desk("ferry"), f"/api/trials/{tree['trial_id']}"
    assert ferry.get(f"{path}/report").json() == sent["report"]
    trace = ferry.get(f"{path}/trace").json()
    assert trace["samples"] == tree["samples"]
    assert trace["guide"] == tree["guide"]
    about = ferry.get(path).json()
    assert about["sha256"] == sent["sha256"]
    assert about["child_id"] == practice.ids["Gull"]
    assert about["task_name"] == "Quay Edge"
    assert about["midline_offset_mm"] == 80.0  # [C] midline at 100, guide from 20
    assert about["late"] is False
    assert ferry.get(path).headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    ("kind", "begin", "media"),
    [
        ("svg", b"<?xml", "image/svg+xml"),
        ("png", b"\x89PNG", "image/png"),
        ("pdf", b"%PDF", "application/pdf"),
    ],
)
def test_a_trial_has_a_picture(practice: Practice, kind: str, begin: bytes, media: str) -> None:
    tree = drawn()
    practice.send(practice.tablet(), tree)
    answer = practice.desk("ferry").get(f"/api/trials/{tree['trial_id']}/figure.{kind}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == media
    assert answer.content.startswith(begin)


def test_a_mark_is_kept_once_however_often_it_is_sent(practice: Practice) -> None:
    tree, tablet = drawn(), practice.tablet()
    practice.send(tablet, tree)
    path = f"/api/trials/{tree['trial_id']}/marks"
    mark = {"id": "22222222-2222-4222-8222-222222222222", "outcome": "finished"}
    helped = mark | {"help": {"cues": {"verbal": 2}, "physical": "minimal"}, "hand_used": "left"}
    assert tablet.post(path, json=helped).status_code == 201
    assert tablet.post(path, json=helped).status_code == 200
    assert_problem(tablet.post(path, json=mark | {"outcome": "spoilt"}), 409)
    shown = practice.desk("ferry").get(f"/api/trials/{tree['trial_id']}").json()["marks"]
    assert [one["hand_used"] for one in shown] == ["left"]
    assert shown[0]["help"]["cues"]["verbal"] == 2


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"outcome": "splendid"}, "/outcome"),
        ({"id": "x"}, "/id"),
        ({"help": {"physical": "some"}}, "/help/physical"),
        ({"hand_used": "free"}, "/hand_used"),
        ({"why": "w" * 201}, "/why"),
    ],
)
def test_a_mark_of_another_form_is_refused(
    practice: Practice, change: dict[str, Any], path: str
) -> None:
    tree, tablet = drawn(), practice.tablet()
    practice.send(tablet, tree)
    mark = {"id": "22222222-2222-4222-8222-222222222222"} | change
    answer = tablet.post(f"/api/trials/{tree['trial_id']}/marks", json=mark)
    assert_problem(answer, 422, path)


def test_a_mark_on_a_trial_that_is_not_there_is_404(practice: Practice) -> None:
    mark = {"id": "22222222-2222-4222-8222-222222222222", "outcome": "finished"}
    path = "/api/trials/33333333-3333-4333-8333-333333333333/marks"
    assert_problem(practice.tablet().post(path, json=mark), 404)
