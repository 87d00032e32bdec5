"""Which room may import which: web -> (HTTP) server -> analysis, and never back."""

import ast
import sys
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ROOMS = ("analysis", "server", "web", "fixtures")

# What computes must not touch the world: no files, sockets, clock, chance, logs or pictures.
STANDARD_FOR_ANALYSIS = {
    "bisect",
    "collections",
    "dataclasses",
    "enum",
    "functools",
    "hashlib",
    "heapq",
    "itertools",
    "json",
    "math",
    "operator",
    "statistics",
    "typing",
}
LIBRARIES_FOR_ANALYSIS = {"analysis", "numpy", "scipy", "shapely"}
FORBIDDEN_CALLS = {"open", "print", "input", "exec", "eval", "__import__"}


def sources(room: str) -> list[Path]:
    return sorted((ROOT / room).rglob("*.py"))


def imported(source: str) -> list[tuple[int, int, str]]:
    """Line, level and full dotted name of every import in a module."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [(node.lineno, 0, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            found += [(node.lineno, node.level, f"{base}.{alias.name}") for alias in node.names]
    return found


FORBIDDEN_ROOMS = {
    "server": {"web", "fixtures", "tests"},
    "web": {"analysis", "server", "fixtures", "tests"},
}
FORBIDDEN_EVERYWHERE = ("matplotlib.pyplot", "numpy.random")


def is_allowed(room: str, name: str) -> bool:
    top = name.split(".")[0]
    if name.startswith(FORBIDDEN_EVERYWHERE):
        return False
    if room == "analysis":
        return top in STANDARD_FOR_ANALYSIS | LIBRARIES_FOR_ANALYSIS
    return top not in FORBIDDEN_ROOMS[room]


def wrong_imports(room: str, source: str) -> list[str]:
    """What a module of a room imports and must not."""
    return [
        f"{line}: {'.' * level}{name}"
        for line, level, name in imported(source)
        if level > 0 or not is_allowed(room, name)
    ]


@pytest.mark.parametrize("room", ["analysis", "server", "web"])
def test_no_room_imports_what_lies_above_it(room: str) -> None:
    paths = sources(room)
    assert paths
    wrong = {path.name: wrong_imports(room, path.read_text()) for path in paths}
    assert {name: lines for name, lines in wrong.items() if lines} == {}


@pytest.mark.parametrize(
    ("room", "source"),
    [
        ("analysis", "import server"),
        ("analysis", "from server.documents import read_trial"),
        ("analysis", "import os"),
        ("analysis", "from pathlib import Path"),
        ("analysis", "import logging"),
        ("analysis", "import random"),
        ("analysis", "from datetime import datetime"),
        ("analysis", "import matplotlib"),
        ("analysis", "import fastapi"),
        ("analysis", "from sqlalchemy import select"),
        ("analysis", "def late():\n    import socket"),
        ("analysis", "from . import trace"),
        ("analysis", "from numpy.random import default_rng"),
        ("server", "from .documents import read_trial"),
        ("server", "import web"),
        ("server", "from fixtures.make import story"),
        ("server", "from tests import helpers"),
        ("server", "import matplotlib.pyplot as plt"),
        ("server", "from matplotlib import pyplot"),
        ("web", "import server"),
    ],
)
def test_a_planted_import_is_caught(room: str, source: str) -> None:
    assert wrong_imports(room, source)


def test_the_analysis_reads_no_file_and_prints_nothing() -> None:
    found = [
        f"{path.name}:{node.lineno}: {node.func.id}"
        for path in sources("analysis")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in FORBIDDEN_CALLS
    ]
    assert found == []


def test_scoring_loads_neither_the_server_nor_the_pictures() -> None:
    """The command must start fast: see also tests/benchmarks."""
    waiting, seen = ["server.cli", "server.cli_score"], set()
    libraries = set()
    while waiting:
        module = waiting.pop()
        path = ROOT / (module.replace(".", "/") + ".py")
        if module in seen or not path.is_file():
            continue
        seen.add(module)
        for top_level in ast.parse(path.read_text()).body:
            for _, _, name in imported(ast.unparse(top_level)) if is_import(top_level) else ():
                libraries.add(name.split(".")[0])
                waiting += [name, name.rpartition(".")[0]]
    assert "server.documents" in seen
    heavy = {"fastapi", "starlette", "sqlalchemy", "alembic", "matplotlib", "jinja2", "uvicorn"}
    assert libraries & heavy == set()


def is_import(node: ast.stmt) -> bool:
    return isinstance(node, ast.Import | ast.ImportFrom)


def test_every_module_is_of_a_size_one_can_read() -> None:
    """Ours are split by noun past 300 lines; no module is named for being left over."""
    lines = {
        str(path.relative_to(ROOT)): len(path.read_text().splitlines())
        for room in ROOMS
        for path in sources(room)
    }
    assert {name: count for name, count in lines.items() if count > 300} == {}
    assert not [
        name for name in lines if {"utils", "helpers", "misc", "common"} & {Path(name).stem}
    ]


def test_nothing_else_in_this_environment_supplies_our_packages() -> None:
    supplied = packages_distributions()
    for room in ("analysis", "server", "web"):
        assert set(supplied.get(room, ["linnet"])) == {"linnet"}


def test_the_standard_names_are_of_the_standard_library() -> None:
    assert set(sys.stdlib_module_names) >= STANDARD_FOR_ANALYSIS
