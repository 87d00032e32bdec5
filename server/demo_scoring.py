"""Scoring the demo's trials: many at once, on all processors."""

import multiprocessing
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from server.documents import TrialDocument, read_trial
from server.scoring import score

# A trial takes about 50 ms to score; more processes would not earn their own start.
MOST_WORKERS = 4


def _scored(raw: bytes) -> tuple[TrialDocument, dict[str, Any]]:
    document = read_trial(raw)
    return document, score(document)


def all_scored(
    raws: Sequence[bytes], workers: int | None
) -> Iterator[tuple[TrialDocument, dict[str, Any]]]:
    """Read and score many trials, in several processes where there are any to be had.

    Parameters
    ----------
    raws : sequence of bytes
        Trial documents.
    workers : int or None
        Processes; 1 computes here, None chooses by the machine.

    Yields
    ------
    tuple of TrialDocument and dict
        Document and report of each, in order.
    """
    count = min(workers or os.cpu_count() or 1, MOST_WORKERS)
    done = 0
    if count > 1:
        # Started afresh, not forked: the parent may hold threads and an open database.
        context = multiprocessing.get_context("spawn")
        try:
            with ProcessPoolExecutor(count, mp_context=context) as pool:
                for one in pool.map(_scored, raws, chunksize=4):
                    done += 1
                    yield one
        except (BrokenProcessPool, OSError):
            # No processes to be had here, or one was killed: the rest is computed below.
            pass
    yield from map(_scored, raws[done:])
