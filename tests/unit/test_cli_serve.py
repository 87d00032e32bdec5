"""Starting and stopping a server with the real command."""

import re
import signal
import socket
import subprocess
import urllib.request
from pathlib import Path

import pytest
from typer.testing import CliRunner

from server.cli import app
from server.cli_serve import NO_OWNER
from tests.kept_demo import KeptDemo
from tests.running import LINNET, SHORT, environment, running

slow = pytest.mark.slow


def fetch(url: str) -> str:
    with urllib.request.urlopen(url, timeout=10) as response:
        text: str = response.read().decode()
        return text


@slow
def test_the_demo_says_where_it_is_serves_and_leaves_nothing_behind(tmp_path: Path) -> None:
    arguments = ("demo", "--json", "--port", "0")
    with running(*arguments, program=SHORT, TMPDIR=str(tmp_path)) as demo:
        assert set(demo.links) == {"desk_url", "tablet_url", "pairing_code", "accounts"}
        assert [one["role"] for one in demo.links["accounts"]] == [
            "supervisor",
            "assistant",
            "researcher",
            "owner",
        ]
        assert all(set(one) == {"role", "name", "passphrase"} for one in demo.links["accounts"])
        assert demo.links["desk_url"].startswith("http://127.0.0.1:")
        assert list(tmp_path.glob("linnet-*/demo.sqlite3"))
        assert "<html" in fetch(demo.links["desk_url"])
        assert "<html" in fetch(demo.links["tablet_url"])
        code, errors = demo.stop(signal.SIGINT)
    assert code == 0
    assert errors == ""
    assert list(tmp_path.iterdir()) == []


@slow
def test_a_server_that_is_stopped_as_soon_as_it_speaks_ends_quietly(tmp_path: Path) -> None:
    with running("serve", "--port", "0", "--database", str(tmp_path / "new.sqlite3")) as served:
        assert served.stop() == (0, "")


@slow
def test_a_kept_demo_is_opened_again_as_it_is_and_by_one_process_only(
    kept_demo: KeptDemo, tmp_path: Path
) -> None:
    assert kept_demo.path.stat().st_mode & 0o777 == 0o600
    path = kept_demo.copied(tmp_path)
    arguments = ("demo", "--json", "--port", "0", "--database", str(path))
    with running(*arguments) as first:
        second = subprocess.run(
            [*LINNET, *arguments], capture_output=True, text=True, env=environment(), timeout=60
        )
        assert second.returncode == 1
        assert second.stdout == ""
        assert second.stderr == (
            f"linnet: {path} is already served by another process: stop that one first.\n"
        )
        accounts = first.links["accounts"]
        assert accounts == kept_demo.accounts
        first.stop()
    size = path.stat().st_size
    with running(*arguments) as again:
        assert again.links["accounts"] == accounts
    assert path.stat().st_size == size
    assert path.stat().st_mode & 0o777 == 0o600


@slow
def test_serve_makes_a_new_database_and_listens_on_this_machine(tmp_path: Path) -> None:
    path = tmp_path / "real.sqlite3"
    with running("serve", "--port", "0", LINNET_DATABASE=str(path)) as served:
        url = served.first_line.removeprefix("Linnet listens on ").strip()
        assert url.startswith("http://127.0.0.1:")
        assert "<html" in fetch(url)
        assert served.process.stdout is not None
        assert served.process.stdout.readline() == f"{NO_OWNER}\n"
        link = served.process.stdout.readline().strip()
        assert re.fullmatch(re.escape(f"{url}join#") + r"[\w-]{43}", link)
        code, errors = served.stop()
        assert code == 0
        assert link.partition("#")[2] not in errors
    assert path.is_file()


def wrong(*arguments: str, **settings: str) -> str:
    result = CliRunner().invoke(app, arguments, env=settings)
    assert result.exit_code == 1
    assert result.stdout == ""
    return result.stderr


@pytest.fixture
def no_handlers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the handlers of the test run: the command sets its own."""
    monkeypatch.setattr("server.cli_serve.signal.signal", lambda _number, _handler: None)


@pytest.mark.usefixtures("no_handlers")
def test_a_taken_port_is_told_plainly() -> None:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        sock.listen()
        port = sock.getsockname()[1]
        said = wrong("demo", "--port", str(port))
    assert f"port {port} on 127.0.0.1 cannot be used" in said
    assert "--port" in said


@pytest.mark.usefixtures("no_handlers")
def test_other_machines_may_not_connect_without_a_certificate(tmp_path: Path) -> None:
    path = str(tmp_path / "real.sqlite3")
    said = wrong("serve", LINNET_HOST="0.0.0.0", LINNET_DATABASE=path)
    assert said == "linnet: other machines may connect only with --tls-cert and --tls-key.\n"


@pytest.mark.usefixtures("no_handlers")
def test_a_bad_setting_is_told_plainly() -> None:
    said = wrong("serve", LINNET_DATABASE="postgres://harbour/linnet")
    assert said.startswith("linnet: LINNET_DATABASE must be")
