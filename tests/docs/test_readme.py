"""README.md says what is true: tables are made from the code, examples are run.

After a change that is meant: ``python tests/docs/test_readme.py`` writes the made parts anew.
"""

import ast
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path

import pytest
from typer.main import get_command

from analysis import ANALYSIS_VERSION
from analysis.registry import MEASURES, column
from server.cli import app
from server.numbers import near_words
from server.settings import SETTINGS

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]

DEMO = "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/linnet demo"
CHECK = "bash tests/run"
BETTER = {"low": "less", "high": "more", "none": ""}


def between(text: str, mark: str) -> str:
    """What stands between two marks of a document."""
    found = re.search(rf"<!-- {mark} -->\n(.*?)<!-- /{mark} -->", text, re.DOTALL)
    assert found, f"there are no marks {mark}"
    return found.group(1)


def with_part(text: str, mark: str, part: str) -> str:
    return text.replace(
        f"<!-- {mark} -->\n{between(text, mark)}<!-- /{mark} -->",
        f"<!-- {mark} -->\n{part}<!-- /{mark} -->",
    )


def better(entry: object) -> str:
    near = getattr(entry, "near", None)
    return (
        f"near {near_words(near)}"
        if near is not None
        else BETTER.get(getattr(entry, "better", ""), "")
    )


def measures_table() -> str:
    rows = ["| measure | column | unit | better | meaning |", "| --- | --- | --- | --- | --- |"]
    for family in dict.fromkeys(entry.family for entry in MEASURES):
        rows.append(f"| **{family}** | | | | |")
        rows += [
            f"| {entry.label} | `{column(entry)}` | {entry.unit} | {better(entry)} "
            f"| {entry.meaning} |"
            for entry in MEASURES
            if entry.family == family
        ]
    return "\n".join(rows) + "\n"


def settings_table() -> str:
    rows = ["| variable | default | meaning |", "| --- | --- | --- |"]
    rows += [
        f"| `{one.variable}` | {f'`{one.default}`' if one.default else ''} | {one.help} |"
        for one in SETTINGS
    ]
    return "\n".join(rows) + "\n"


def modules_map() -> str:
    """Every module with the first line of its docstring."""
    rows = ["| module | duty |", "| --- | --- |"]
    for room in ("analysis", "server"):
        for path in sorted((ROOT / room).glob("*.py")):
            if path.stem != "__init__":
                first = (ast.get_docstring(ast.parse(path.read_text())) or "").splitlines()[0]
                rows.append(f"| `{room}/{path.stem}` | {first.replace('``', '`')} |")
    return "\n".join(rows) + "\n"


def scripts_map() -> str:
    """Every script of the pages with the first sentence of its opening comment."""
    rows = ["| script | duty |", "| --- | --- |"]
    for room in ("tablet", "desk", "shared"):
        for path in sorted(
            [*(ROOT / "web" / room).glob("*.mjs"), *(ROOT / "web" / room).glob("*.js")]
        ):
            opening = re.match(r"/\*\*(.*?)\*/", path.read_text(), re.DOTALL)
            assert opening, f"{path.name} does not begin with its duty"
            words = " ".join(line.strip(" *") for line in opening.group(1).splitlines()).strip()
            first = re.split(r"(?<=\.)\s", words)[0]
            rows.append(f"| `{room}/{path.stem}` | {first} |")
    return "\n".join(rows) + "\n"


MADE = {
    "measures": (README, measures_table),
    "settings": (README, settings_table),
    "map": (DEVELOPERS, modules_map),
    "scripts": (DEVELOPERS, scripts_map),
}


def linnet_path() -> str:
    """A search path on which ``linnet`` is the one of this environment."""
    return f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"


def ran(block: str) -> str:
    """The block again, with every ``$`` line run and followed by what it really prints."""
    lines = ["```console"]
    for line in block.splitlines():
        if line.startswith("$ "):
            done = subprocess.run(
                ["bash", "-c", f"set -o pipefail; {line[2:]}"],
                capture_output=True,
                text=True,
                cwd=ROOT,
                env=os.environ | {"PATH": linnet_path()},
                timeout=60,
            )
            lines += [line, *done.stdout.splitlines()]
    return "\n".join([*lines, "```"]) + "\n"


@pytest.mark.parametrize("mark", MADE)
def test_a_made_table_is_the_one_the_code_makes(mark: str) -> None:
    page, make = MADE[mark]
    assert between(page.read_text(), mark) == make()


def test_the_examples_print_what_they_are_said_to_print() -> None:
    block = between(README.read_text(), "run")
    assert block.count("$ ") >= 2
    assert ran(block) == block


def test_the_two_commands_stand_at_the_top_exactly() -> None:
    top = README.read_text().split("## ")[0]
    blocks = re.findall(r"```console\n(.*?)\n```", top, re.DOTALL)
    assert blocks == [DEMO, CHECK]


def test_every_command_and_option_is_mentioned() -> None:
    text = README.read_text()
    for name, command in get_command(app).commands.items():  # type: ignore[attr-defined]
        assert f"`linnet {name}" in text
        for parameter in command.params:
            for option in parameter.opts:
                if option.startswith("--"):
                    assert option in text, f"{name} {option}"


def test_every_setting_and_measure_is_mentioned() -> None:
    text = README.read_text()
    assert [one.variable for one in SETTINGS if f"`{one.variable}`" not in text] == []
    assert [entry.id for entry in MEASURES if f"`{column(entry)}`" not in text] == []


def names(requirements: list[str]) -> list[str]:
    return [re.split(r"[^A-Za-z0-9._-]", one)[0] for one in requirements]


def test_every_dependency_has_its_reason_and_no_other_has() -> None:
    listed = re.findall(r"^\| ([a-z0-9._-]+) \| (.+) \|$", README.read_text(), re.MULTILINE)
    heads = ("package", "command", "variable", "measure", "---")
    reasons = {name: reason for name, reason in listed if name not in heads}
    wanted = names(PROJECT["dependencies"])
    for extra in PROJECT["optional-dependencies"].values():
        wanted += names(extra)
    assert set(reasons) == set(wanted)
    assert all(len(reason) > 10 for reason in reasons.values())


def sections(text: str) -> Iterator[str]:
    yield from re.findall(r"^## (.+)$", text, re.MULTILINE)


def test_changes_come_last_and_their_top_entry_is_this_version() -> None:
    text = README.read_text()
    assert list(sections(text))[-1] == "Changes"
    entries = re.findall(r"^### (\S+)$", text.split("## Changes")[1], re.MULTILINE)
    assert entries[0] == PROJECT["version"] == version("linnet")
    assert PROJECT["version"] == ANALYSIS_VERSION


def test_pictures_and_links_lead_somewhere() -> None:
    for page in (README, DEVELOPERS):
        targets = re.findall(r"\]\(([^)#]+)\)", page.read_text())
        assert [target for target in targets if not (ROOT / target).is_file()] == []


def test_the_developers_five_steps_are_those_of_the_run() -> None:
    steps = re.search(
        r"```console\n(.*?)\n```", DEVELOPERS.read_text().split("## Five steps")[1], re.DOTALL
    )
    assert steps
    script = (ROOT / "tests" / "run").read_text().replace('"$bin/', "").replace('"', "")
    lines = steps.group(1).splitlines()
    assert len(lines) == 5
    for line in lines:
        command = line.removeprefix(".venv-tests/bin/")
        assert command in script, command


if __name__ == "__main__":
    for part_mark, (made_page, make_part) in MADE.items():
        made_page.write_text(with_part(made_page.read_text(), part_mark, make_part()))
    readme = README.read_text()
    README.write_text(with_part(readme, "run", ran(between(readme, "run"))))
