"""Serve databases: a line ``FILE<tab>PORT<tab>LOG`` on stdin starts a server and prints its id.

Loading Linnet takes seconds, so it is loaded once and every server is a fork. All of them end
with stdin.
"""

import os
import signal
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import uvicorn

sys.path.insert(0, str(Path(__file__).parents[2]))

from server.app import create_app
from server.settings import Settings, database_url


def clock() -> datetime:
    return datetime.fromtimestamp(time.time(), UTC)


def serve(file: str, port: int) -> None:
    settings = Settings(database_url=database_url(file), port=port, demo=True)
    uvicorn.run(create_app(settings, clock), host="127.0.0.1", port=port, log_level="warning")


def fork(file: str, port: str, log: str) -> int:
    """Start a server as a process of its own; its id."""
    pid = os.fork()
    if pid:
        return pid
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    written = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.dup2(written, 1)
    os.dup2(written, 2)
    serve(file, int(port))
    os._exit(0)


if __name__ == "__main__":
    # Whoever ends is forgotten at once: nobody waits for these processes.
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    started = []
    for line in sys.stdin:
        started.append(fork(*line.rstrip("\n").split("\t")))
        print(started[-1], flush=True)
    for pid in started:
        try:
            os.kill(pid, signal.SIGTERM)
        except ProcessLookupError:
            continue
