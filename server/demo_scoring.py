"""Scoring the demo's trials: many at once, on all processors."""

from collections.abc import Iterator, Sequence
from typing import Any

from server.documents import TrialDocument, read_trial
from server.processes import started
from server.scoring import score


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
    with started(workers) as processes:
        yield from processes.each(_scored, raws)
