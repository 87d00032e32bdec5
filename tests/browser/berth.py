"""Servers as processes of their own, started in a moment from one that has loaded Linnet."""

import atexit
import os
import signal
import subprocess
import sys
import time
from functools import cache
from pathlib import Path

SERVING = Path(__file__).with_name("serving.py")
END_LIMIT_S = 20.0


@cache
def _loaded() -> "subprocess.Popen[str]":
    made = subprocess.Popen(
        [sys.executable, str(SERVING)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    atexit.register(_end, made)
    return made


def _end(made: "subprocess.Popen[str]") -> None:
    assert made.stdin is not None
    made.stdin.close()
    made.wait(timeout=END_LIMIT_S)


class Berth:
    """One server process."""

    def __init__(self, file: Path, port: int, log: Path) -> None:
        made = _loaded()
        assert made.stdin is not None
        assert made.stdout is not None
        made.stdin.write(f"{file}\t{port}\t{log}\n")
        made.stdin.flush()
        self.pid = int(made.stdout.readline())

    @property
    def ended(self) -> bool:
        try:
            os.kill(self.pid, 0)
        except ProcessLookupError:
            return True
        return False

    def end(self, how: signal.Signals) -> None:
        """Send it a signal and wait until it is gone."""
        if self.ended:
            return
        os.kill(self.pid, how)
        limit = time.monotonic() + END_LIMIT_S
        while not self.ended:
            assert time.monotonic() < limit, "the server did not end"
            time.sleep(0.01)
