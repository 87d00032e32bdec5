"""One word for one thing: words that ours replace appear in no page and in no public name."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.registry import MEASURES, column
from server.cli import app
from server.dictionary import trial_columns
from server.settings import SETTINGS

ROOT = Path(__file__).parents[2]

# Replaced by child, trial, criterion and the names of the measures; see also the pages' tone.
REPLACED = (
    "patient",
    "patients",
    "subject",
    "subjects",
    "mastery",
    "mastered",
    "tremor",
    "diagnosis score",
    "accuracy score",
    "accuracy",
    "pupil",
    "age equivalent",
    "percentile rank",
)
# The caution that every page carries has to say what Linnet is not.
SPOKEN = re.compile("|".join(rf"\b{word}\b" for word in REPLACED), re.IGNORECASE)
NAMED = frozenset(word for word in REPLACED if " " not in word)

PAGES = sorted(
    path for kind in ("*.html", "*.mjs", "*.css", "*.svg") for path in (ROOT / "web").rglob(kind)
)
MODULES = sorted(path for room in ("analysis", "server") for path in (ROOT / room).rglob("*.py"))


def spoken(text: str) -> list[str]:
    return SPOKEN.findall(text)


def parts(name: str) -> list[str]:
    """Words of a name, whether written_so or writtenSo."""
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name).lower().split("_")


def names(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr


def sentences(tree: ast.AST) -> Iterator[str]:
    """Every text of a module that is not a docstring."""
    docstrings = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) else None
        if isinstance(text, str) and id(node) not in docstrings:
            yield text


def test_there_are_pages_and_modules_to_look_at() -> None:
    assert len(PAGES) > 5
    assert len(MODULES) > 20


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_no_page_uses_a_word_that_ours_replaces(path: Path) -> None:
    assert spoken(path.read_text()) == []


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_no_name_and_no_sentence_of_a_module_uses_such_a_word(path: Path) -> None:
    tree = ast.parse(path.read_text())
    assert [name for name in names(tree) if NAMED & set(parts(name))] == []
    assert [text for text in sentences(tree) if spoken(text)] == []


def test_no_measure_column_setting_or_command_uses_such_a_word() -> None:
    public = [measure.id for measure in MEASURES]
    public += [column(measure) for measure in MEASURES]
    public += [one.name for one in trial_columns()]
    public += [setting.name for setting in SETTINGS]
    public += [command.callback.__name__ for command in app.registered_commands]
    assert [name for name in public if NAMED & set(parts(name))] == []
    told = [text for one in MEASURES for text in (one.label, one.meaning)]
    assert [text for text in told if spoken(text)] == []


@pytest.mark.parametrize(
    "text", ["Patient 12", "the accuracy score", "Tremor found", "reached mastery"]
)
def test_a_planted_word_is_found(text: str) -> None:
    assert spoken(text)


@pytest.mark.parametrize("name", ["patient_id", "subjectCode", "tremor_hz", "mastery"])
def test_a_planted_name_is_found(name: str) -> None:
    assert NAMED & set(parts(name))
