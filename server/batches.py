"""Many ids at once, a batch a statement."""

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import TypeVar

# Ids a statement may name at once; SQLite allows far more.
BATCH = 500

T = TypeVar("T")


def batches(items: Iterable[T], size: int = BATCH) -> Iterator[list[T]]:
    """Yield items in lists of at most `size`, in order.

    Examples
    --------
    >>> list(batches("kites", 2))
    [['k', 'i'], ['t', 'e'], ['s']]
    """
    rest = iter(items)
    while batch := list(islice(rest, size)):
        yield batch
