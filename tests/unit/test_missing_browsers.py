"""A browser that is not installed is a failure where CI=true and a told skip elsewhere."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
RUN = (sys.executable, "-m", "pytest", "-m", "browser", "-n", "0", "-p", "no:cacheprovider")
ONE_TEST = "tests/browser/test_engines_axe.py::test_axe_does_find_what_is_wrong"
# What is asked for by name; of libraries the search path tells nothing.
BROWSERS = {"chromium": "chromium", "webkit": "WebKitWebDriver, Xvfb", "firefox": "firefox"}


@pytest.mark.parametrize(
    ("ci", "status", "word", "summary"),
    [("true", 1, "ERROR", "3 errors"), ("", 0, "SKIPPED", "3 skipped")],
)
def test_a_missing_browser_is_never_passed_over(
    tmp_path: Path, ci: str, status: int, word: str, summary: str
) -> None:
    # A search path on which nothing is.
    done = subprocess.run(
        [*RUN, "-rsE", ONE_TEST],
        env=os.environ | {"PATH": str(tmp_path), "CI": ci, "PYTHONPATH": str(ROOT)},
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == status, done.stdout + done.stderr
    assert summary in done.stdout
    told = [line for line in done.stdout.splitlines() if line.startswith(word)]
    for name, lacking in BROWSERS.items():
        assert any(f"{name}: {lacking}" in line for line in told), done.stdout
