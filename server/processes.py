"""Work spread over several processes, done here where there are none to be had."""

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import TypeVar

# A trial takes about 50 ms to score; more processes would not earn their own start.
MOST_WORKERS = 4
CHUNK = 4

Item = TypeVar("Item")
Done = TypeVar("Done")


class Workers:
    """Processes that are there, or None in their place."""

    def __init__(self, pool: ProcessPoolExecutor | None) -> None:
        self._pool = pool

    def each(self, work: Callable[[Item], Done], items: Sequence[Item]) -> Iterator[Done]:
        """Yield what a function makes of each item, in order.

        Parameters
        ----------
        work : callable
            Named at the top of a module; what it takes and returns can be sent to processes.
        items : sequence
            All of them are handed out at once.

        Yields
        ------
        object
            One for each item; if a process was killed, the rest is computed here.
        """
        done = 0
        if self._pool is not None:
            try:
                for one in self._pool.map(work, items, chunksize=CHUNK):
                    done += 1
                    yield one
            except (BrokenProcessPool, OSError):
                self._pool = None
        yield from map(work, items[done:])


@contextmanager
def started(count: int | None) -> Iterator[Workers]:
    """Start some processes and end them afterwards.

    Parameters
    ----------
    count : int or None
        How many; 1 computes here, None chooses by the machine.

    Yields
    ------
    Workers
        Usable either way.
    """
    most = min(count or os.cpu_count() or 1, MOST_WORKERS)
    pool = _pool(most) if most > 1 else None
    try:
        yield Workers(pool)
    finally:
        if pool is not None:
            pool.shutdown(cancel_futures=True)


def _pool(count: int) -> ProcessPoolExecutor | None:
    try:
        # Started afresh, not forked: the parent may hold threads and an open database.
        return ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"))
    except OSError:
        return None
