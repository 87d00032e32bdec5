"""Serve one database on one port until told to stop: ``python serving.py FILE PORT``."""

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


if __name__ == "__main__":
    file, port = sys.argv[1], int(sys.argv[2])
    settings = Settings(database_url=database_url(file), port=port, demo=True)
    uvicorn.run(create_app(settings, clock), host="127.0.0.1", port=port, log_level="warning")
