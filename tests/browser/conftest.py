"""Real servers and a real browser."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from harbour import Harbour, copy_of, make_demo


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the whole demo scenario, filled once; copy it, do not write to it."""
    file = tmp_path_factory.mktemp("demo") / "linnet.sqlite3"
    make_demo(file)
    return file


@pytest.fixture
def harbour(demo_file: Path, tmp_path: Path) -> Iterator[Harbour]:
    """A server of one's own copy of the demo, not started yet."""
    own = copy_of(demo_file, tmp_path)
    yield own
    own.kill()
