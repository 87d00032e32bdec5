"""Settings of the whole suite."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from tests.leaks import Watch, watched
from tests.practice import Practice, make_practice, running

# The same examples every time; a found one becomes an @example.
settings.register_profile("linnet", derandomize=True, deadline=None)
settings.load_profile("linnet")


@pytest.fixture(scope="session", autouse=True)
def watched_logs() -> Iterator[Watch]:
    """Everything that is logged during the run; ends with an error if it tells too much."""
    with watched() as watch:
        yield watch


@pytest.fixture(scope="session")
def practice_template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A filled database, made once: pass-phrases take their time to hash."""
    path = tmp_path_factory.mktemp("template") / "practice.sqlite3"
    return path, make_practice(path)


@pytest.fixture
def practice(practice_template: tuple[Path, dict[str, str]], tmp_path: Path) -> Iterator[Practice]:
    """A running practice of its own for each test."""
    template, ids = practice_template
    with running(template, tmp_path, ids) as running_practice:
        yield running_practice
