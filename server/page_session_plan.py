"""The plan of a session in words: its items in order, and the trials that came of them."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.block_order import Order, order_of
from server.library_paper import CUTTING_CAUTION
from server.numbers import NO_BREAK, each_side, trimmed
from server.plan_items import Item
from server.sentences import condition_words
from server.store_tasks import task_by_id
from server.wording import plural

MODE_WORDS = {
    "trace": "trace a line",
    "cut": "cut",
    "tap": "tap dots",
    "join": "join dots",
    "both": "both hands at once",
}

# Place in the order, name of the task, size.
_Block = tuple[Order, str, str]


class PlanItem(NamedTuple):
    """One item of a plan.

    Attributes
    ----------
    id : str
        Its id in the plan.
    place : int
        Where it stands, counted from 1.
    name, mode, size, condition : str
        The task, how it is done, its width or dots, and how it is asked.
    asked, came_in : str
        How often it is asked, and how many trials of it are in.
    closed : bool
        Whether it is asked any more.
    in_block : bool
        Whether it is one of a block: then the heading says what all of the block share.
    block : str or None
        The heading of the block that begins with it.
    cautions : list of str
        What an adult must know before it; said once for each task.
    """

    id: str
    place: int
    name: str
    mode: str
    size: str
    condition: str
    asked: str
    came_in: str
    closed: bool
    in_block: bool
    block: str | None
    cautions: list[str]


def plan_items(
    db: Session, items: Sequence[Item], done: Mapping[str | None, int]
) -> list[PlanItem]:
    """Return the items of a plan in words, in order.

    Parameters
    ----------
    db : Session
        Database session.
    items : sequence of dict
        Items of a ``linnet-plan/1``.
    done : mapping
        How many trials of each item are in, by its id. [1]

    Returns
    -------
    list of PlanItem
        In the order of the plan.
    """
    said: set[tuple[str, str]] = set()
    before: _Block | None = None
    rows = []
    for place, item in enumerate(items, start=1):
        block = _block_of(item)
        heading = _block_words(block, item, items) if block and block != before else None
        before = block
        task_id = item["task"]["task_id"]
        fresh = [line for line in cautions_of(db, item) if (task_id, line) not in said]
        said |= {(task_id, line) for line in fresh}
        row = _row(item, place, done.get(item["item_id"], 0))
        rows.append(row._replace(in_block=block is not None, block=heading, cautions=fresh))
    return rows


def came_in_words(count: int) -> str:
    """Say how many trials of an item are in.

    Examples
    --------
    >>> came_in_words(0), came_in_words(1)
    ('none in yet', '1 trial in')
    """
    return f"{count} {plural('trial', count)} in" if count else "none in yet"


def cautions_of(db: Session, item: Item) -> list[str]:
    """Return what an adult must know before an item is begun."""
    task = task_by_id(db, item["task"]["task_id"], item["task"]["revision"]) or {}
    said = list(task.get("cautions") or ())
    if item["task"]["mode"] == "cut" and CUTTING_CAUTION not in said:
        said.append(CUTTING_CAUTION)
    return said


def size_words(item: Item) -> str:
    """Return how wide or how large what is asked is; empty if the guide does not say.

    Examples
    --------
    >>> line = {"task": {"mode": "trace"}, "guide": {"points_mm": [], "corridor_mm": 12.0}}
    >>> size_words(line).replace(NO_BREAK, " ")
    '6 mm each side'
    """
    guide, mode = item["guide"], item["task"]["mode"]
    words = [_dots(guide, mode), _width(guide), _band(item["task"])]
    if mode == "cut" and len(guide.get("parts") or ()) > 1:
        words.insert(0, f"{len(guide['parts'])} lines")
    return ", ".join(word for word in words if word)


def _row(item: Item, place: int, count: int) -> PlanItem:
    task, asked = item["task"], item["repetitions"]
    return PlanItem(
        id=item["item_id"],
        place=place,
        name=_name(item),
        mode=MODE_WORDS.get(task["mode"], task["mode"]),
        size=size_words(item),
        condition=", ".join(condition_words(item["condition"])),
        asked={1: "asked once", 2: "asked twice"}.get(asked, f"asked {asked} times"),
        came_in=came_in_words(count),
        closed=item["state"] == "closed",
        in_block=False,
        block=None,
        cautions=[],
    )


def _name(item: Item) -> str:
    task = item["task"]
    return f"{task['name']} (probe)" if task["use"] == "probe" else str(task["name"])


def _block_of(item: Item) -> _Block | None:
    """Return what an item has in common with the others of its block; None if it is in none."""
    order = order_of(item["item_id"])
    return None if order is None else (order, _name(item), size_words(item))


def _block_words(block: _Block, item: Item, items: Sequence[Item]) -> str:
    order, name, size = block
    mine = [found for one in items if (found := _block_of(one)) is not None]
    last = max(
        found[0].block for found in mine if (found[0].seed, *found[1:]) == (order.seed, name, size)
    )
    what = ", ".join(
        word for word in (name, MODE_WORDS.get(item["task"]["mode"], ""), size) if word
    )
    return f"{what}: block {order.block} of {last}, random order, shuffle number {order.seed}"


def _width(guide: Mapping[str, Any]) -> str:
    lines = guide.get("parts") or ([guide] if guide.get("points_mm") is not None else [])
    widths: set[float] = set()
    for line in lines:
        width_mm = line.get("corridor_mm")
        widths |= set(width_mm) if isinstance(width_mm, list) else {width_mm}
    widths.discard(None)
    if len(widths) > 1:
        return "width varies along the line"
    return each_side(0.5 * widths.pop()) if widths else ""


def _dots(guide: Mapping[str, Any], mode: str) -> str:
    dots = guide.get("targets_mm") or []
    if not dots:
        return ""
    across = {2.0 * dot["radius"] for dot in dots}
    size = f" {trimmed(across.pop())}{NO_BREAK}mm across" if len(across) == 1 else ""
    if mode == "both":
        return f"a disc{size} to hold"
    if guide.get("pairs"):
        return f"{len(dots) // 2} pairs of dots{size}"
    return f"{len(dots)} {plural('dot', len(dots))}{size}"


def _band(task: Mapping[str, Any]) -> str:
    band = task.get("pressure_band")
    if band is None:
        return ""
    return f"pressure {trimmed(band[0])} to {trimmed(band[1])} of this pen's range, not force"
