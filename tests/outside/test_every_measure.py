"""No measure without an outside check: the checks above must name every id."""

import re
from pathlib import Path

import pytest

from analysis.registry import MEASURES

HERE = Path(__file__).parent
SOURCES = "\n".join(
    path.read_text() for path in HERE.glob("test_*.py") if path.name != Path(__file__).name
)


@pytest.mark.parametrize("measure_id", [entry.id for entry in MEASURES])
def test_measure_has_a_check_that_is_not_our_own_output(measure_id: str) -> None:
    tests = re.split(r"\n(?=@|def )", SOURCES)
    naming = [text for text in tests if f'"{measure_id}"' in text]
    bodies = [text for text in naming if "assert" in text]
    assert bodies, f"no outside check names {measure_id}"
