"""The picture signs that a child is known by on a tablet."""

from collections.abc import Sequence

# The drawings of web/shared/signs.svg, in its order.
SIGNS = (
    "boat",
    "lighthouse",
    "kite",
    "crab",
    "anchor",
    "shell",
    "rope",
    "gull",
    "wave",
    "bell",
    "fish",
    "lantern",
    "ferry",
    "oar",
    "flag",
    "bucket",
)


def is_pair(words: Sequence[str]) -> bool:
    """Return whether words name two different pictures of the set.

    Examples
    --------
    >>> is_pair(["boat", "kite"]), is_pair(["boat", "boat"]), is_pair(["boat", "moon"])
    (True, False, False)
    """
    return len(words) == 2 and len(set(words)) == 2 and set(words) <= set(SIGNS)


def same_pair(one: str, other: str) -> bool:
    """Return whether two signs show the same two pictures, in either order.

    Examples
    --------
    >>> same_pair("boat kite", "kite boat"), same_pair("boat kite", "boat crab")
    (True, False)
    """
    return set(one.split()) == set(other.split())
