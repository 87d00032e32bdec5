"""What is wrong with a document, said without repeating any of it."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple


class Fault(NamedTuple):
    """One thing that is wrong: where it is, and a sentence on what would be right.

    Attributes
    ----------
    path : str
        JSON pointer (RFC 6901), for example ``/samples/t_ms/41``; empty for the whole
        document. It holds only names of the format, never a key that the sender made up:
        there it stops at the object that holds the key.
    detail : str
        One sentence. It never quotes the document.
    """

    path: str
    detail: str


class BadDocument(Exception):
    """Raised when a document cannot be read.

    Attributes
    ----------
    status : int
        HTTP status that fits: 422, or 413 if the document is too large.
    faults : list of Fault
        What is wrong, in the order of the document.
    """

    def __init__(self, faults: Sequence[Fault], *, status: int = 422) -> None:
        super().__init__(
            "; ".join(f"{fault.path or '(document)'}: {fault.detail}" for fault in faults)
        )
        self.status = status
        self.faults = list(faults)


def pointer(steps: Iterable[str | int], known: frozenset[str]) -> str:
    """Return the JSON pointer of a place, up to the first key that is not of the format.

    Parameters
    ----------
    steps : iterable of str or int
        Keys and indices from the top of the document.
    known : frozenset of str
        The names that the format defines.

    Returns
    -------
    str
        JSON pointer.

    Examples
    --------
    >>> pointer(["samples", "t_ms", 41], frozenset({"samples", "t_ms"}))
    '/samples/t_ms/41'
    >>> pointer(["device", "owner", "name"], frozenset({"device"}))
    '/device'
    """
    path = ""
    for step in steps:
        if isinstance(step, str) and step not in known:
            break
        path += f"/{step}"
    return path
