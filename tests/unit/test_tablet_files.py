"""What the tablet needs to work without a server: the worker, its list, the manifest."""

import hashlib
import json
import re
import shutil
import struct
from pathlib import Path
from typing import Any

import pytest

from server import routes_static
from server.routes_static import TYPES
from server.tablet_worker import worker_script
from tests.practice import Practice

WEB = Path(__file__).parents[2] / "web"
FRONT = re.compile(r'\Aconst VERSION = "([0-9a-f]{64})";\nconst FILES = (\{.*?\});\n')
MANIFEST = "/static/tablet/linnet.webmanifest"


def listed(script: str) -> tuple[str, dict[str, str], str]:
    """Version, SHA-256 by path, and the rest of a script."""
    front = FRONT.match(script)
    assert front is not None
    return front[1], json.loads(front[2]), script[front.end() :]


def script_of(practice: Practice) -> str:
    answer = practice.client.get("/tablet-worker.js")
    assert answer.status_code == 200
    return answer.text


@pytest.fixture
def own_web(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the pages that a test may change, served in place of the real ones."""
    copy = tmp_path / "web"
    shutil.copytree(WEB, copy)
    monkeypatch.setattr(routes_static, "web_folder", lambda: copy)
    return copy


def test_the_script_is_one_and_asked_for_again_each_time(practice: Practice) -> None:
    answer = practice.client.get("/tablet-worker.js")
    assert answer.headers["content-type"] == "text/javascript; charset=utf-8"
    assert answer.headers["cache-control"] == "no-cache"
    # It lies at the root: a wider scope needs no leave.
    assert "service-worker-allowed" not in answer.headers
    _, _, rest = listed(answer.text)
    assert rest == (WEB / "tablet" / "worker.js").read_text()


def test_every_listed_file_is_served_with_exactly_these_bytes(practice: Practice) -> None:
    _, files, _ = listed(script_of(practice))
    for path, expected in files.items():
        answer = practice.client.get(path)
        assert answer.status_code == 200, path
        assert hashlib.sha256(answer.content).hexdigest() == expected, path


def test_the_list_holds_the_page_and_all_it_may_load(practice: Practice) -> None:
    _, files, _ = listed(script_of(practice))
    on_disk = {
        f"/static/{folder}/{file.name}"
        for folder in ("tablet", "shared")
        for file in (WEB / folder).iterdir()
        if file.suffix in TYPES
    }
    assert set(files) == {"/tablet"} | on_disk
    text = "".join(
        file.read_text()
        for file in WEB.glob("*/*")
        if file.parent.name in ("tablet", "shared")
        and file.suffix in (".html", ".mjs", ".css", ".webmanifest")
    )
    named = set(re.findall(r'"(/static/[^"]+|/tablet)"', text))
    assert MANIFEST in files
    assert named <= set(files)


@pytest.mark.parametrize(
    ("changed", "path"),
    [
        ("tablet/tablet.html", "/tablet"),
        ("tablet/page.mjs", "/static/tablet/page.mjs"),
        ("shared/signs.svg", "/static/shared/signs.svg"),
    ],
)
def test_a_changed_file_changes_its_line_and_the_version(
    practice: Practice, own_web: Path, changed: str, path: str
) -> None:
    before, files, _ = listed(script_of(practice))
    with (own_web / changed).open("a") as file:
        file.write("\n")
    after, others, _ = listed(script_of(practice))
    assert before != after
    assert {one for one in files if files[one] != others[one]} == {path}


def test_a_changed_script_is_another_version(practice: Practice, own_web: Path) -> None:
    before, files, _ = listed(script_of(practice))
    with (own_web / "tablet" / "worker.js").open("a") as file:
        file.write("// Another word.\n")
    after, others, _ = listed(script_of(practice))
    assert before != after
    assert files == others


def test_files_come_and_go_and_other_kinds_are_not_listed(own_web: Path) -> None:
    (own_web / "tablet" / "new.mjs").write_text("")
    (own_web / "tablet" / "notes.txt").write_text("")
    (own_web / "shared" / "api.mjs").unlink()
    _, files, _ = listed(worker_script(own_web, TYPES))
    assert files["/static/tablet/new.mjs"] == hashlib.sha256(b"").hexdigest()
    assert "/static/tablet/notes.txt" not in files
    assert "/static/shared/api.mjs" not in files
    assert not any(path.endswith("worker.js") for path in files)


def test_the_same_files_are_the_same_version() -> None:
    assert worker_script(WEB, TYPES) == worker_script(WEB, TYPES)


def test_the_script_is_not_served_where_it_would_have_another_scope(practice: Practice) -> None:
    assert practice.client.get("/static/tablet/worker.js").status_code == 404


def manifest(practice: Practice) -> dict[str, Any]:
    answer = practice.client.get(MANIFEST)
    assert answer.headers["content-type"] == "application/manifest+json"
    told: dict[str, Any] = json.loads(answer.content)
    return told


def test_the_page_can_be_put_on_a_home_screen(practice: Practice) -> None:
    told = manifest(practice)
    assert (told["id"], told["start_url"], told["scope"]) == ("/tablet",) * 3
    assert told["display"] in ("fullscreen", "standalone")
    assert any(icon["purpose"] == "maskable" for icon in told["icons"])
    for icon in told["icons"]:
        raw = practice.client.get(icon["src"])
        assert raw.headers["content-type"] == icon["type"]
        if icon["type"] == "image/png":
            # The header chunk of PNG: width and height, 32 bits each.
            width, height = struct.unpack(">II", raw.content[16:24])
            assert icon["sizes"] == f"{width}x{height}"
