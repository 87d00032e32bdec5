"""The order of several cells of hand and direction: each block holds every cell once."""

import random
import re
from collections.abc import Sequence
from typing import NamedTuple, TypeVar

LARGEST_SEED = 999_999
_ORDERED = re.compile(r"order-(\d{1,6})-(\d{1,3})-.+")

Cell = TypeVar("Cell")


class Order(NamedTuple):
    """Where an item of a plan stands in a block-randomised order.

    Attributes
    ----------
    seed : int
        What the order was drawn from.
    block : int
        Which block, counted from 1.
    """

    seed: int
    block: int


def blocks(cells: Sequence[Cell], repetitions: int, seed: int) -> list[list[Cell]]:
    """Return an order in which every block holds each cell once.

    Parameters
    ----------
    cells : sequence
        What is to be ordered; the order they are given in matters to the result.
    repetitions : int
        How many blocks. [1]
    seed : int
        The same seed gives the same order, also on another machine.

    Returns
    -------
    list of list
        The blocks, each drawn by itself.

    Examples
    --------
    >>> [sorted(block) for block in blocks(["left", "right"], 2, seed=7)]
    [['left', 'right'], ['left', 'right']]
    """
    generator = random.Random(seed)  # noqa: S311 - an order that can be drawn again, no secret
    # Only random() gives the same numbers in every release of the language; shuffle may not.
    return [
        [cells[at] for at in sorted(range(len(cells)), key=lambda _: generator.random())]
        for _ in range(repetitions)
    ]


def ordered_id(order: Order, own: str) -> str:
    """Return the id of an item that carries its place in the order.

    A plan has no key for it, and the id is what every trial of the item brings back.

    Parameters
    ----------
    order : Order
        Seed and block.
    own : str
        What makes the id unique.

    Returns
    -------
    str
        For example ``order-4711-2-…``.
    """
    return f"order-{order.seed}-{order.block}-{own}"


def order_of(item_id: str) -> Order | None:
    """Return the place in its order that an item's id carries; None if it carries none.

    Examples
    --------
    >>> order_of(ordered_id(Order(seed=4711, block=2), "a1"))
    Order(seed=4711, block=2)
    >>> order_of("a1") is None
    True
    """
    found = _ORDERED.fullmatch(item_id)
    return None if found is None else Order(int(found[1]), int(found[2]))
