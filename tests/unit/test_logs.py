"""What is logged: fixed words, kinds and places; and nothing that anybody sent or is called."""

import ast
import asyncio
import errno
import json
import logging
import re
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.exc import OperationalError

from server import problems
from server.app import create_app
from server.database import WrongSchema
from server.logs import LOGGER, JsonLines, told
from server.protection import GuardedWrites
from server.settings import BadSetting, read_settings
from tests.leaks import leaks_in, samples_in
from tests.practice import ORIGIN, PASSPHRASE, Clock, Practice, drawn, raw_of, settings_for
from tests.problem_form import assert_problem

ROOT = Path(__file__).parents[2]
SECRET = "Quillfeather"
EVERY_LINE = {"at", "level", "event", "request_id"}
REQUEST = EVERY_LINE | {"method", "route", "status", "duration_ms"}
ID = re.compile(r"[0-9a-f]{16}")


class Lines(logging.Handler):
    """The log of a server, as it would stand on its error output."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.setFormatter(JsonLines())
        self.written: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.written.append(self.format(record))

    @property
    def trees(self) -> list[dict[str, Any]]:
        assert not [line for line in self.written if "\n" in line]
        return [json.loads(line) for line in self.written]

    @property
    def last(self) -> dict[str, Any]:
        return self.trees[-1]


@pytest.fixture
def lines() -> Iterator[Lines]:
    handler = Lines()
    logging.getLogger().addHandler(handler)
    yield handler
    logging.getLogger().removeHandler(handler)


# Errors


def fails_inside() -> None:
    raise KeyError(SECRET)


def fails() -> None:
    try:
        fails_inside()
    except KeyError as error:
        raise RuntimeError(SECRET) from error


def raised(function: Callable[[], Any]) -> BaseException:
    with pytest.raises(Exception) as caught:
        function()
    return caught.value


def test_of_an_error_kinds_and_places_are_told_but_not_its_words() -> None:
    errors = told(raised(fails))["errors"]
    assert [one["kind"] for one in errors] == ["RuntimeError", "KeyError"]
    assert [one["code"] for one in errors] == [None, None]
    assert re.fullmatch(r"[\w.]*test_logs:\d+:fails_inside", errors[1]["frames"][-1])
    assert SECRET not in str(errors)


def test_of_an_error_of_the_system_the_fixed_word_is_told() -> None:
    full = OSError(errno.ENOSPC, SECRET, f"/home/{SECRET}")
    assert told(full)["errors"][0]["code"] == "ENOSPC"
    with sqlite3.connect(":memory:") as db:
        error = raised(lambda: db.execute(f"SELECT * FROM {SECRET}"))
    wrapped = OperationalError(SECRET, {}, error)
    wrapped.__cause__ = error
    assert [one["code"] for one in told(wrapped)["errors"]] == [None, "SQLITE_ERROR"]


def test_errors_that_cause_each_other_and_endless_calls_end() -> None:
    one, other = ValueError(), KeyError()
    one.__cause__, other.__cause__ = other, one
    assert [each["kind"] for each in told(one)["errors"]] == ["ValueError", "KeyError"]

    def again() -> None:
        again()

    assert len(told(raised(again))["errors"][0]["frames"]) == 40


# Lines


def line_of(name: str, event: Any, *args: object, **more: Any) -> dict[str, Any]:
    error = more.pop("error", None)
    info = None if error is None else (type(error), error, error.__traceback__)
    path = f"/home/{SECRET}/on.py"
    record = logging.LogRecord(name, logging.WARNING, path, 7, event, args, info, "startup")
    vars(record).update(more)
    found: dict[str, Any] = json.loads(JsonLines().format(record))
    return found


def test_an_event_is_written_as_it_stands_in_the_code() -> None:
    line = line_of(LOGGER, "kept %s", SECRET, status=200, nickname=SECRET)
    assert set(line) == EVERY_LINE | {"status"}
    assert (line["event"], line["level"], line["request_id"]) == ("kept %s", "warning", None)
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", line["at"])


def test_of_a_library_only_the_place_is_written() -> None:
    for words in (SECRET, f"Traceback ...\nKeyError: {SECRET}", KeyError(SECRET)):
        line = line_of("uvicorn.error", words, error=raised(fails), status=SECRET)
        assert set(line) == EVERY_LINE | {"logger", "place", "errors"}
        assert (line["logger"], line["place"]) == ("uvicorn.error", "on:7:startup")
        assert line["event"] == "message of a library"
        assert [one["kind"] for one in line["errors"]] == ["RuntimeError", "KeyError"]
        assert SECRET not in json.dumps(line)


def log_calls(source: str) -> Iterator[ast.Call]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            held = node.func.value
            if isinstance(held, ast.Name) and held.id in ("log", "logger", "logging"):
                yield node


def is_fixed(call: ast.Call) -> bool:
    """Whether a log call has one fixed event and nothing else but `extra`."""
    assert isinstance(call.func, ast.Attribute)
    event = call.args[1:] if call.func.attr == "log" else call.args
    return (
        len(event) == 1
        and isinstance(event[0], ast.Constant)
        and isinstance(event[0].value, str)
        and {one.arg for one in call.keywords} <= {"extra"}
    )


def test_every_event_in_the_code_is_fixed() -> None:
    calls = [
        (path.name, call)
        for path in sorted((ROOT / "server").glob("*.py"))
        if path.name != "logs.py"
        for call in log_calls(path.read_text())
        if ast.unparse(call.func) != "logging.getLogger"
    ]
    assert len(calls) >= 5
    assert [f"{name}:{call.lineno}" for name, call in calls if not is_fixed(call)] == []


@pytest.mark.parametrize(
    "source",
    [
        "log.error(f'no {name}')",
        "log.error('no %s', name)",
        "log.error(error)",
        "log.error('no ' + name)",
        "log.error('no', exc_info=True)",
        "log.log(10, name)",
        "logging.warning(name)",
    ],
)
def test_an_event_that_is_not_fixed_is_caught(source: str) -> None:
    assert [is_fixed(call) for call in log_calls(source)] == [False]


# Requests


def test_a_request_is_one_line_with_the_template_of_its_address(
    practice: Practice, lines: Lines
) -> None:
    answer = practice.client.get(f"/api/schemas/linnet-trial-1?for={SECRET}")
    [line] = lines.trees
    assert set(line) == REQUEST
    assert (line["event"], line["level"]) == ("request", "info")
    assert (line["method"], line["status"]) == ("GET", 200)
    assert line["route"] == "/api/schemas/{name}"
    assert 0 <= line["duration_ms"] < 60_000
    assert line["request_id"] == answer.headers["x-request-id"]
    assert ID.fullmatch(line["request_id"])


def test_every_address_of_the_interface_is_logged_as_its_template(
    practice: Practice, lines: Lines
) -> None:
    paths = practice.client.get("/api/openapi.json").json()["paths"]
    assert len(paths) > 10
    for template, methods in paths.items():
        path = re.sub(r"\{\w+\}", str(uuid4()), template)
        practice.client.request(next(iter(methods)), path)
        assert lines.last["route"] == template
        practice.client.request("OPTIONS", path)
        assert (lines.last["route"], lines.last["status"]) == (template, 405)


@pytest.mark.parametrize(
    ("path", "route"),
    [
        ("/", "/"),
        ("/tablet", "/tablet"),
        ("/static/tablet/tablet.css", "/static/tablet/{path}"),
        (f"/static/desk/{SECRET}.css", "/static/desk/{path}"),
        (f"/static/{SECRET}", "(none)"),
        (f"/{SECRET}", "(none)"),
        (f"/api/children/{SECRET}/{SECRET}/{SECRET}", "(none)"),
        ("/api/openapi.json/", "(none)"),
    ],
)
def test_other_addresses_are_logged_as_templates(
    practice: Practice, lines: Lines, path: str, route: str
) -> None:
    practice.client.get(path, follow_redirects=False)
    assert lines.last["route"] == route


def test_each_request_has_an_id_of_the_server_s_own_making(
    practice: Practice, lines: Lines
) -> None:
    given = {"X-Request-ID": SECRET}
    ids = [practice.client.get("/healthz", headers=given).headers["x-request-id"] for _ in range(3)]
    assert len(set(ids)) == 3
    assert [line["request_id"] for line in lines.trees] == ids
    assert SECRET not in str(lines.written)


WORDS = (
    "Gull",
    "BW-91",
    PASSPHRASE,
    "K7KITE22",
    "AAdeepsecretAAofAAaAAtabletAA",
    "Quillfeather of Tidewell School",
    "likes to draw the lighthouse",
)


@pytest.mark.parametrize("word", WORDS)
def test_nothing_that_is_sent_is_logged(practice: Practice, lines: Lines, word: str) -> None:
    client = TestClient(practice.app, headers=ORIGIN, raise_server_exceptions=False)
    header = word.replace(" ", "-")
    client.headers |= {
        "Authorization": f"Bearer {header}",
        "User-Agent": header,
        "Referer": f"http://testserver/{header}",
        header: header,
    }
    client.cookies.set("linnet", header)
    body = {word: word, "name": word, "passphrase": word, "code": word, "samples": [[1.5, 2.5]]}
    for path in ("/api/children", "/api/trials", "/api/sign-in", "/api/pair", "/sign-in", "", "/"):
        for address in (path, f"{path}/{word}", f"{path}/{word}/{word}", f"{path}?a={word}"):
            for method in ("GET", "POST", "PUT", "DELETE"):
                client.request(method, address, json=body, follow_redirects=False)
    client.put(f"/api/trials/{word}", content=raw_of(drawn(notes=word)))
    client.post("/api/sign-in", content=f'{{"name": "{word}'.encode())
    client.post("/sign-in", data=body)
    client.request(header.upper(), "/healthz")
    written = "\n".join(lines.written).encode()
    assert len(lines.written) > 100
    assert leaks_in(written, [word, header]) == []
    assert samples_in(written) == []
    assert lines.last["method"] == "(other)"


def test_a_whole_session_is_logged_without_anything_telling(
    practice: Practice, lines: Lines
) -> None:
    tree, tablet, ferry = drawn(), practice.tablet(), practice.desk("ferry")
    assert practice.send(tablet, tree).status_code == 201
    for path in ("/api/children", f"/api/trials/{tree['trial_id']}/report"):
        assert ferry.get(path).status_code == 200
    written = "\n".join(lines.written).encode()
    secrets = [tablet.headers["authorization"][7:], ferry.cookies["linnet"]]
    secrets += [tree["trial_id"], *practice.ids.values(), "ferry", "Gull", "BW-91", PASSPHRASE]
    assert leaks_in(written, secrets) == []
    assert samples_in(written) == []
    assert {line["level"] for line in lines.trees} == {"info"}


# Faults


@pytest.fixture
def crashing(practice: Practice) -> Practice:
    """A practice with one address that crashes, with words that must not be told."""

    @practice.app.get("/api/crash/{code}")
    def crash(code: str) -> None:
        fails()

    return practice


def test_a_crash_is_answered_with_the_id_that_the_log_has(crashing: Practice, lines: Lines) -> None:
    answer = crashing.client.get(f"/api/crash/{SECRET}")
    assert_problem(answer, 500)
    [line] = lines.trees
    assert set(line) == REQUEST | {"errors"}
    assert line["request_id"] == answer.headers["x-request-id"]
    assert (line["level"], line["route"], line["status"]) == ("error", "/api/crash/{code}", 500)
    assert [one["kind"] for one in line["errors"]] == ["RuntimeError", "KeyError"]
    assert line["errors"][1]["frames"][-1].endswith(":fails_inside")
    assert SECRET not in lines.written[0]


def test_a_fault_in_a_middleware_has_an_id_too(
    practice: Practice, lines: Lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def crash(*_args: object) -> None:
        raise RuntimeError(SECRET)

    monkeypatch.setattr(GuardedWrites, "__call__", crash)
    answer = practice.client.get(f"/{SECRET}")
    assert_problem(answer, 500)
    assert lines.last["request_id"] == answer.headers["x-request-id"]
    assert (lines.last["route"], lines.last["errors"][0]["kind"]) == ("(none)", "RuntimeError")
    assert SECRET not in str(lines.written)


def test_a_fault_in_answering_a_fault_is_answered_all_the_same(
    crashing: Practice, lines: Lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    def crash(*_args: object) -> None:
        raise ZeroDivisionError(SECRET)

    monkeypatch.setattr(problems, "respond", crash)
    answer = crashing.client.get("/api/crash/a")
    assert_problem(answer, 500)
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert lines.last["request_id"] == answer.headers["x-request-id"]
    kinds = [one["kind"] for one in lines.last["errors"]]
    assert kinds == ["ZeroDivisionError", "RuntimeError", "KeyError"]
    assert SECRET not in str(lines.written)


def test_an_answer_that_breaks_off_is_logged(practice: Practice, lines: Lines) -> None:
    from fastapi.responses import StreamingResponse

    def pieces() -> Iterator[bytes]:
        yield b"begun"
        raise RuntimeError(SECRET)

    @practice.app.get("/api/broken")
    def broken() -> StreamingResponse:
        return StreamingResponse(pieces())

    practice.client.get("/api/broken")
    assert (lines.last["status"], lines.last["level"]) == (200, "error")
    assert lines.last["errors"][0]["frames"][-1].endswith(":pieces")
    assert SECRET not in str(lines.written)


def test_what_goes_wrong_while_answering_is_logged_under_the_id_of_the_request(
    practice: Practice, lines: Lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Scoring runs outside of the loop of events, in another thread."""

    def crash(*_args: object) -> None:
        with pytest.raises(RuntimeError, match="no running event loop"):
            asyncio.get_running_loop()
        raise ZeroDivisionError(SECRET)

    tree, tablet = drawn(), practice.tablet()
    monkeypatch.setattr("server.scoring.Workings", crash)
    answer = practice.send(tablet, tree)
    assert answer.status_code == 201
    fault, *_, request = lines.trees
    assert set(fault) == EVERY_LINE | {"trial_id", "errors"}
    assert (fault["event"], fault["trial_id"]) == ("scoring a trial failed", tree["trial_id"])
    assert fault["request_id"] == request["request_id"] == answer.headers["x-request-id"]
    assert SECRET not in str(lines.written)


def test_a_fault_of_the_database_is_logged_with_its_kind_and_code(
    practice: Practice, lines: Lines
) -> None:
    @practice.app.get("/api/none")
    def none() -> None:
        with practice.app.state.sessions() as db:
            db.connection().exec_driver_sql(f"SELECT * FROM {SECRET}")

    answer = practice.client.get("/api/none")
    assert_problem(answer, 503)
    fault, request = lines.trees
    assert fault["event"] == "the database did not do its work"
    assert fault["errors"][1]["code"] == "SQLITE_ERROR"
    assert (request["status"], request["level"]) == (503, "error")
    assert {fault["request_id"], request["request_id"]} == {answer.headers["x-request-id"]}
    assert SECRET not in str(lines.written)


def test_a_start_that_fails_is_logged(tmp_path: Path, lines: Lines) -> None:
    app = create_app(settings_for(tmp_path / f"{SECRET}.sqlite3"), Clock())
    with pytest.raises(WrongSchema), TestClient(app):
        pass
    assert lines.last["event"] == "the application could not start or stop"
    assert lines.last["errors"][0]["kind"] == "WrongSchema"
    assert SECRET not in str(lines.written)


# Setting


def test_the_level_is_a_setting_and_an_argument_goes_first() -> None:
    assert read_settings({}).log_level == "info"
    quiet = {"LINNET_LOG_LEVEL": "warning"}
    assert read_settings(quiet).log_level == "warning"
    assert read_settings({}, log_level="warning").log_level == "warning"
    for wrong in ("debug", "INFO", "Gull"):
        with pytest.raises(BadSetting, match=r"^LINNET_LOG_LEVEL must be info or warning$"):
            read_settings({"LINNET_LOG_LEVEL": wrong})
