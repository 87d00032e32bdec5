"""Settings of the whole suite."""

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from hypothesis import settings

from server import auth
from tests.kept_demo import KeptDemo, make_kept_demo
from tests.leaks import Watch, watched
from tests.once import made_once, shared_folder
from tests.practice import Practice, make_practice, running

# The same examples every time; a found one becomes an @example.
settings.register_profile("linnet", derandomize=True, deadline=None)
settings.load_profile("linnet")


# A pass-phrase is meant to take long to try; thousands of sign-ins of the suite are not.
# What is served with is checked in tests/unit/test_accounts_sign_ins.py.
PRODUCTION_HASHER = auth.HASHER
auth.HASHER = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """`tests/run` finds slow tests and those with a browser by the text of their files."""
    for item in items:
        for name in ("slow", "browser"):
            if item.get_closest_marker(name) and f"mark.{name}" not in text_of(item.path):
                raise pytest.UsageError(f"{item.nodeid}: the mark {name} must stand in its file")


@cache
def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="session", autouse=True)
def watched_logs() -> Iterator[Watch]:
    """Everything that is logged during the run; ends with an error if it tells too much."""
    with watched() as watch:
        yield watch


@pytest.fixture(scope="session")
def production_hasher() -> PasswordHasher:
    """What a server hashes pass-phrases with."""
    return PRODUCTION_HASHER


@pytest.fixture(scope="session")
def practice_template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A filled database, made once."""
    path = tmp_path_factory.mktemp("template") / "practice.sqlite3"
    return path, make_practice(path)


@pytest.fixture(scope="session")
def kept_demo(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> KeptDemo:
    """A database that the real command filled with the demo, once in a run."""
    shared = shared_folder(tmp_path_factory, worker_id)
    return KeptDemo(made_once(shared, "kept-demo", make_kept_demo))


@pytest.fixture
def practice(practice_template: tuple[Path, dict[str, str]], tmp_path: Path) -> Iterator[Practice]:
    """A running practice of its own for each test."""
    template, ids = practice_template
    with running(template, tmp_path, ids) as running_practice:
        yield running_practice
