"""A file that is no database, or not one any more: one sentence, and nothing changes."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.keepers import change, damage, refused

COMMANDS = (["serve", "--port", "0"], ["rescore"], ["upgrade"], ["erase", "BW-91", "--yes"])


def cut_in_half(path: Path) -> None:
    raw = path.read_bytes()
    path.write_bytes(raw[: len(raw) // 2])


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    "spoil", [damage, cut_in_half, lambda path: path.write_bytes(b"kites " * 5000)]
)
def test_a_damaged_file_is_refused_in_one_sentence_and_left_as_it_is(
    path: Path, command: list[str], spoil: Callable[[Path], object]
) -> None:
    spoil(path)
    before = path.read_bytes()
    said = refused(*command, "--database", path)
    assert "damaged" in said or "cannot be read as a database" in said
    assert path.read_bytes() == before


@pytest.mark.parametrize("command", COMMANDS)
def test_a_database_of_a_newer_release_is_refused_by_its_own_name(
    path: Path, command: list[str]
) -> None:
    change(path, "UPDATE alembic_version SET version_num = '9999'")
    said = refused(*command, "--database", path)
    assert "a newer release made it" in said
    assert "linnet upgrade" not in said


@pytest.mark.parametrize("command", COMMANDS)
def test_a_folder_is_no_database(tmp_path: Path, command: list[str]) -> None:
    refused(*command, "--database", tmp_path)
