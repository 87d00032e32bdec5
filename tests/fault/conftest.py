"""Databases that nobody serves, and a place for backups."""

from pathlib import Path

import pytest

from server.copies import copy_database
from tests.practice import PLAN_WREN, Practice, running
from tests.records import distinct, fill_record


@pytest.fixture
def path(practice_template: tuple[Path, dict[str, str]], tmp_path: Path) -> Path:
    """The database of a practice that nobody serves."""
    folder = tmp_path / "practice"
    folder.mkdir()
    copied = folder / "practice.sqlite3"
    copy_database(practice_template[0], copied)
    return copied


@pytest.fixture
def away(tmp_path: Path) -> Path:
    """A folder for backups."""
    folder = tmp_path / "away"
    folder.mkdir()
    return folder


@pytest.fixture
def full(practice_template: tuple[Path, dict[str, str]], tmp_path: Path) -> Path:
    """A database that nobody serves, with full records."""
    template, ids = practice_template
    folder = tmp_path / "practice"
    folder.mkdir()
    with running(template, folder, ids) as practice:
        fill_record(practice)
        fill_record_of_the_other(practice)
    return folder / "practice.sqlite3"


def fill_record_of_the_other(practice: Practice) -> None:
    tree = distinct(3, plan_id=PLAN_WREN)
    assert practice.send(practice.tablet("lantern"), tree).status_code == 201
