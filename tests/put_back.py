"""A running practice of the table of rights, made what it was: cheaper than starting it anew."""

import sqlite3
from contextlib import closing

from server.auth import Throttle
from tests.practice import NOON, Practice
from tests.rights import World


def put_back(world: World, practice: Practice) -> None:
    """Put back all rows and the time, and forget how often somebody tried."""
    practice.app.state.throttle = Throttle()
    practice.clock.now = NOON
    with (
        closing(sqlite3.connect(world.template)) as kept,
        closing(sqlite3.connect(practice.path)) as served,
    ):
        kept.backup(served)
