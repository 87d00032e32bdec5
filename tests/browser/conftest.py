"""Real servers and a real browser."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from engine import Engine, needs, present
from engines import BY_NAME
from harbour import Harbour, copy_of, make_town
from shared_browser import end_all

from tests.kept_demo import KeptDemo
from tests.once import made_once, shared_folder


@pytest.fixture(scope="session")
def demo_file(kept_demo: KeptDemo) -> Path:
    """A database with the whole demo scenario, filled once; copy it, do not write to it."""
    return kept_demo.path


@pytest.fixture(scope="session")
def town_file(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """A database with the demo's people and today's plans, but none of its old trials."""
    return made_once(shared_folder(tmp_path_factory, worker_id), "town.sqlite3", make_town)


@pytest.fixture(scope="session", autouse=True)
def shared_browsers() -> Iterator[None]:
    """Browsers that several tests share end with the run."""
    yield
    end_all()


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
