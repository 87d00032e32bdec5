"""Databases that nobody serves, and a place for backups."""

import shutil
from pathlib import Path

import pytest

from server.copies import copy_database
from tests.practice import PLAN_WREN, Practice, running
from tests.records import distinct, fill_record

NAME = "practice.sqlite3"


@pytest.fixture
def path(practice_template: tuple[Path, dict[str, str]], tmp_path: Path) -> Path:
    """The database of a practice that nobody serves."""
    copied = practice_folder(tmp_path) / NAME
    copy_database(practice_template[0], copied)
    return copied


@pytest.fixture
def away(tmp_path: Path) -> Path:
    """A folder for backups."""
    folder = tmp_path / "away"
    folder.mkdir()
    return folder


@pytest.fixture(scope="session")
def full_template(
    practice_template: tuple[Path, dict[str, str]], tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """A database with full records, filled once; copy it, do not write to it."""
    template, ids = practice_template
    folder = tmp_path_factory.mktemp("full")
    with running(template, folder, ids) as practice:
        fill_record(practice)
        fill_record_of_the_other(practice)
    assert not (folder / f"{NAME}-wal").exists()
    return folder / NAME


@pytest.fixture
def full(full_template: Path, tmp_path: Path) -> Path:
    """A database that nobody serves, with full records."""
    # Byte for byte: what a served database leaves in its free pages is part of it.
    return Path(shutil.copy(full_template, practice_folder(tmp_path) / NAME))


def practice_folder(folder: Path) -> Path:
    made = folder / "practice"
    made.mkdir()
    return made


def fill_record_of_the_other(practice: Practice) -> None:
    tree = distinct(3, plan_id=PLAN_WREN)
    assert practice.send(practice.tablet("lantern"), tree).status_code == 201
