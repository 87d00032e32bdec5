"""A real server in its own process, started by the real command, stopped by its id."""

import json
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
LINNET = (sys.executable, "-c", "from server.cli import main; main()")
# The same with less to fill in first: tests/short_demo.py.
SHORT = (sys.executable, "-m", "tests.short_demo")
STARTS_IN_S = 240.0


def environment(**settings: str) -> dict[str, str]:
    """This environment without settings of Linnet, except those given."""
    plain = {name: text for name, text in os.environ.items() if not name.startswith("LINNET_")}
    return plain | {"PYTHONPATH": str(ROOT)} | settings


@dataclass
class Running:
    """A server that has printed its first line."""

    process: subprocess.Popen[str]
    first_line: str

    @property
    def links(self) -> dict[str, Any]:
        """What ``--json`` printed."""
        found: dict[str, Any] = json.loads(self.first_line)
        return found

    def stop(self, number: int = signal.SIGTERM) -> tuple[int, str]:
        """Send a signal; return exit code and error output."""
        self.process.send_signal(number)
        _, errors = self.process.communicate(timeout=30)
        return self.process.returncode, errors


def _first_line(process: subprocess.Popen[str]) -> str:
    lines: queue.Queue[str] = queue.Queue()
    assert process.stdout is not None
    threading.Thread(target=lambda: lines.put(process.stdout.readline()), daemon=True).start()
    return lines.get(timeout=STARTS_IN_S)


@contextmanager
def running(
    *arguments: str, program: tuple[str, ...] = LINNET, **settings: str
) -> Iterator[Running]:
    """Start ``linnet`` with arguments and wait for its first line."""
    process = subprocess.Popen(
        [*program, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=environment(**settings),
    )
    try:
        line = _first_line(process)
        if not line:
            _, errors = process.communicate(timeout=30)
            raise AssertionError(f"the server ended with {process.returncode}:\n{errors}")
        yield Running(process, line)
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate(timeout=30)
