"""The check of the logs finds what is planted, and the run fails by it."""

import logging
import os
import subprocess
import sys
from pathlib import Path

import pytest

from server.logs import LOGGER
from tests.leaks import Watch, leaks_in, samples_in, telling_words
from tests.practice import PASSPHRASE, Practice

ROOT = Path(__file__).parents[2]
FORMS = [
    "name Gull,",
    "xGullx",
    '{"a":"\\nGull"}',
    "/children/BW-91",
    "bw-91",
    "a GULL",
    "tide%20over%20the%20bar%20at%20noon",
    "Tide over the bar at noon",
    "Na\\u00efve",
    "na&#x27;if",
]


@pytest.mark.parametrize("text", FORMS)
def test_a_secret_is_found_in_every_form(text: str) -> None:
    assert len(leaks_in(text.encode(), ["Gull", "BW-91", PASSPHRASE, "Naïve", "na'if"])) == 1


def test_each_secret_is_named_once_and_others_are_not() -> None:
    assert leaks_in(b"Gull gull Gull", ["Gull", "Wren", "Gull"]) == ["Gull"]
    assert leaks_in(b"a sea-mew, seagulls and a gullet", ["Gull", "Wren"]) == []
    with pytest.raises(ValueError, match="everywhere"):
        leaks_in(b"abc", [""])


@pytest.mark.parametrize("text", ["[1.5, 2.5,3.5]", "20 21 22", '{\\"x_mm\\":', "t_ms", "-1,-2,-3"])
def test_samples_are_found(text: str) -> None:
    assert samples_in(text.encode())


@pytest.mark.parametrize("text", ['"duration_ms":12.5,"status":200', "server.app:10:run", "1, 2"])
def test_other_numbers_are_no_samples(text: str) -> None:
    assert samples_in(text.encode()) == []


def test_the_words_of_the_practice_and_of_the_demo_are_looked_for() -> None:
    assert {"Gull", "BW-92", PASSPHRASE, "purser", "Puffin", "BW-03"} <= telling_words()
    assert {"rope and lantern before noon", "Ropewalk Clinic", "kite boat"} <= telling_words()


def record(event: str, **extra: object) -> logging.LogRecord:
    made = logging.LogRecord(LOGGER, logging.INFO, "", 1, event, None, None)
    vars(made).update(extra)
    return made


def test_what_is_planted_in_a_line_is_found_in_the_right_one() -> None:
    watch = Watch()
    for number in range(3):
        watch.handle(record("request", route="/healthz", duration_ms=number / 10, status=200))
    assert len(watch.lines) == 1
    assert watch.findings() == []
    watch.handle(record("request", route="/children/Wren"))
    watch.handle(record("request", errors=[1.5, 2.5, 3.5]))
    found = watch.findings()
    assert [one.split(" in ")[0] for one in found] == ["1.5,2.5,3.5", "Wren"]
    assert "/children/Wren" in found[1]


def test_a_line_with_another_member_is_found() -> None:
    watch = Watch()
    watch.lines.add(b'{"level":"info","path":"/healthz",}')
    assert [one.split(" in ")[0] for one in watch.findings()] == ["member path"]


def test_what_is_handed_out_during_the_run_is_known(
    practice: Practice, watched_logs: Watch
) -> None:
    ferry = practice.desk("ferry")
    code = ferry.post("/api/pairing-codes").json()["code"]
    token = practice.client.post("/api/pair", json={"code": code}).json()["token"]
    assert {ferry.cookies["linnet"], code, token} <= watched_logs.handed_out


LEAKING = {
    "a name": "log.info('request', extra={'route': '/api/children/BW-91'})",
    "a secret": "log.debug(auth.new_secret())",
    "samples": "log.error('request', extra={'errors': [20.0, 20.5, 21.0]})",
    "another thread": "threading.Thread(target=log.info, args=('Gull',)).start()",
    "no listening": "logging.getLogger().handlers.clear()",
}
SOUND = "log.error('request', extra={'route': '/healthz'})"


def run_of(folder: Path, line: str) -> "subprocess.CompletedProcess[str]":
    """A whole test run under the settings of ours, with one test that passes."""
    file = folder / "test_one.py"
    file.write_text(
        "import logging, threading\nfrom server import auth\n"
        f"log = logging.getLogger('{LOGGER}')\ndef test_one():\n    {line}\n"
    )
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "tests.conftest", "--rootdir", folder, file],
        capture_output=True,
        text=True,
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        timeout=60,
    )


@pytest.mark.slow
@pytest.mark.parametrize("kind", LEAKING)
def test_a_run_that_logs_too_much_fails(tmp_path: Path, kind: str) -> None:
    done = run_of(tmp_path, LEAKING[kind])
    assert done.returncode == 1
    assert "1 passed, 1 error" in done.stdout
    assert "tells too much" in done.stdout or "not all seen" in done.stdout


@pytest.mark.slow
def test_a_run_that_logs_nothing_telling_passes(tmp_path: Path) -> None:
    assert run_of(tmp_path, SOUND).returncode == 0
