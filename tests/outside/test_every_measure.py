"""No measure without an outside check, and no check that does not read what it claims."""

import ast
import importlib
import inspect
import json
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from analysis.registry import MEASURES
from tests.checked import CHECKS, TAGS, Check

HERE = Path(__file__).parent
REFERENCE = HERE.parents[1] / "fixtures" / "reference"
IDS = [entry.id for entry in MEASURES]

for _path in sorted(HERE.glob("test_*.py")):
    if _path.name != Path(__file__).name:
        importlib.import_module(f"tests.outside.{_path.stem}")


def test_function(check: Check) -> Callable[..., Any]:
    module, name = check.test.rsplit(".", 1)
    found: Callable[..., Any] = getattr(importlib.import_module(module), name)
    return found


test_function.__test__ = False  # type: ignore[attr-defined]


def texts(value: Any) -> Iterator[str]:
    """Every text inside a value of a parametrized test."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for pair in value.items():
            yield from texts(pair)
    elif isinstance(value, list | tuple | set | frozenset):
        for one in value:
            yield from texts(one)


def read_texts(function: Callable[..., Any]) -> set[str]:
    """Texts in the body of a test, and those it is parametrized with."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    assert isinstance(tree, ast.FunctionDef)
    body = [node for statement in tree.body[:] for node in ast.walk(statement)]
    said = {node.value for node in body if isinstance(node, ast.Constant)}
    for mark in getattr(function, "pytestmark", []):
        if mark.name == "parametrize":
            said |= set(texts([getattr(one, "values", one) for one in mark.args[1]]))
    return {one for one in said if isinstance(one, str)}


def asserts(function: Callable[..., Any]) -> bool:
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    return any(isinstance(node, ast.Assert) for node in ast.walk(tree))


@pytest.mark.parametrize("measure_id", IDS)
def test_measure_has_a_check_that_is_not_our_own_output(measure_id: str) -> None:
    tags = {check.tag for check in CHECKS if measure_id in check.measure_ids}
    assert tags - {"N"}, f"{measure_id} is checked by {sorted(tags) or 'nothing'} only"


@pytest.mark.parametrize("check", CHECKS, ids=lambda one: f"{one.test.split('.')[-1]}-{one.tag}")
def test_a_check_reads_what_it_claims_to_check(check: Check) -> None:
    assert check.tag in TAGS
    assert set(check.measure_ids) <= set(IDS)
    function = test_function(check)
    assert set(check.measure_ids) - read_texts(function) == set()
    assert asserts(function)


def test_a_claim_that_is_not_read_is_found() -> None:
    def reads_one() -> None:
        assert "deviation_rms" != "deviation_max"

    assert {"deviation_rms", "completion"} - read_texts(reads_one) == {"completion"}


def test_every_published_table_says_where_it_is_from() -> None:
    tables = sorted(REFERENCE.glob("*.json"))
    told = (HERE.parents[1] / "fixtures" / "README.md").read_text()
    for path in tables:
        table = json.loads(path.read_text())
        assert table.get("source", "").strip(), path.name
        assert path.name in told
        used = [one for one in HERE.parent.rglob("test_*.py") if path.stem in one.read_text()]
        assert used, f"no test uses {path.name}"
