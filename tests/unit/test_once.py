"""What the processes of a run share is made by one of them and awaited by the others."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.once import made_once


def test_whoever_asks_first_makes_it_and_the_others_get_the_same(tmp_path: Path) -> None:
    makers: list[Path] = []

    def make(path: Path) -> None:
        makers.append(path)
        path.write_text("rope")

    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda _: made_once(tmp_path, "coil", make), range(4)))
    assert found == [tmp_path / "coil"] * 4
    assert len(makers) == 1
    assert found[0].read_text() == "rope"


def test_what_could_not_be_made_is_told_at_once_to_the_others(tmp_path: Path) -> None:
    def fail(_path: Path) -> None:
        raise OSError("the rope is wet")

    with pytest.raises(OSError, match="wet"):
        made_once(tmp_path, "coil", fail)
    with pytest.raises(AssertionError, match="could not make coil"):
        made_once(tmp_path, "coil", fail)
