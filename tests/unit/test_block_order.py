"""Block-randomised orders: every block holds each cell once; a seed gives its order again."""

import random
import re
from collections import Counter
from itertools import permutations, product

import pytest

from server.block_order import LARGEST_SEED, Order, blocks, order_of, ordered_id
from server.fields import CODE_PATTERN
from server.tables import random_id

CELLS = list(product(("left", "right"), ("left_to_right", "right_to_left")))
# [C] 99.99 % point of chi-square with 5 degrees of freedom.
CHI_SQUARE_5 = 25.74


@pytest.mark.parametrize("repetitions", [1, 2, 7])
@pytest.mark.parametrize("count", [1, 2, 4])
def test_every_block_holds_each_cell_once(count: int, repetitions: int) -> None:
    for seed in range(50):
        found = blocks(CELLS[:count], repetitions, seed)
        assert len(found) == repetitions
        for block in found:
            assert sorted(block) == sorted(CELLS[:count])


def test_the_same_seed_gives_the_same_order() -> None:
    assert blocks(CELLS, 6, 4711) == blocks(CELLS, 6, 4711)
    # [N] so that a release of the language that draws otherwise is seen.
    assert blocks("abcd", 2, 4711) == [["a", "b", "c", "d"], ["d", "b", "c", "a"]]


def test_seeds_differ() -> None:
    orders = {str(blocks(CELLS, 4, seed)) for seed in range(200)}
    assert len(orders) == 200


def test_blocks_are_drawn_one_by_one() -> None:
    assert len({str(block) for block in blocks(CELLS, 30, 1)}) > 10


def test_every_order_of_a_block_is_as_likely_as_any_other() -> None:
    count = 6000
    seen = Counter(tuple(blocks("abc", 1, seed)[0]) for seed in range(count))
    expected = count / 6
    chi_square = sum((seen[one] - expected) ** 2 / expected for one in permutations("abc"))
    assert chi_square < CHI_SQUARE_5


def test_nothing_else_that_is_random_is_touched() -> None:
    random.seed(1)
    before = random.getstate()
    blocks(CELLS, 3, 9)
    assert random.getstate() == before


def test_an_id_carries_its_place_and_fits_a_plan() -> None:
    order = Order(LARGEST_SEED, 100)
    item_id = ordered_id(order, random_id())
    assert order_of(item_id) == order
    assert re.match(CODE_PATTERN, item_id)
    assert len(item_id) <= 64


@pytest.mark.parametrize(
    "item_id", ["a1", "order-", "order-x-1-a", "order-1-1-", "fc6a5e7b-1247-40f8-b251-e56117593df7"]
)
def test_other_ids_carry_no_order(item_id: str) -> None:
    assert order_of(item_id) is None
