"""Real servers and a real browser."""

import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from engine import Engine, needs, present
from engines import BY_NAME
from harbour import Harbour, copy_of, make_demo, make_town

MAKING_LIMIT_S = 180.0


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """A database with the whole demo scenario, filled once; copy it, do not write to it."""
    folder = tmp_path_factory.getbasetemp()
    return made_once(folder if worker_id == "master" else folder.parent)


def made_once(folder: Path) -> Path:
    """Fill the demo into a folder that all processes of a run share; the others wait for it."""
    file, making = folder / "demo.sqlite3", folder / "demo-in-the-making"
    try:
        making.mkdir()
    except FileExistsError:
        limit = time.monotonic() + MAKING_LIMIT_S
        while not file.exists():
            assert time.monotonic() < limit, "another process did not fill the demo"
            time.sleep(0.2)
        return file
    make_demo(making / file.name)
    return (making / file.name).rename(file)


@pytest.fixture(scope="session")
def town_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the demo's people and today's plans, but none of its old trials."""
    file = tmp_path_factory.mktemp("town") / "linnet.sqlite3"
    make_town(file)
    return file


@pytest.fixture
def harbour(town_file: Path, tmp_path: Path) -> Iterator[Harbour]:
    """A server of one's own copy of the town, not started yet."""
    own = copy_of(town_file, tmp_path)
    yield own
    own.kill()


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Ask for the browser, and for what it can do, before anything that takes long is made."""
    params = item.callspec.params if hasattr(item, "callspec") else {}
    if "engine" in params:
        kind = BY_NAME[params["engine"]]
        present(kind)
        needs(kind, params.values())


@pytest.fixture
def engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """The browser whose name is the parameter, started with an empty profile."""
    folder = tmp_path / "browser"
    folder.mkdir()
    browser = BY_NAME[request.param](folder)
    try:
        browser.start()
        yield browser
    finally:
        browser.close()
