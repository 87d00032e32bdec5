"""The items of a plan as a therapist sends them: what fits, and what may change."""

from collections.abc import Iterator
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from server.documents import NO_BAND, NO_BOUND
from server.faults import BadDocument, Fault
from server.fields import Count, Fields, Label
from server.guides import guide_of
from server.plan_formats import ItemFields, ShowFields
from server.store_tasks import task_by_id
from server.strict_json import read_json
from server.tools import tool_trouble
from server.validation import names_of, validated

MAX_ITEMS = 100
MAX_REPETITIONS = 100
MAX_PLAN_BYTES = 1024 * 1024

TOO_LARGE = "This plan is too large."
UNKNOWN_KEY = "This object has a key that a plan does not have."
TWICE = "Another item of this plan has this id."
GONE = "Items of the version before are missing. Close an item instead of deleting it."
CLOSED = "A closed item stays closed. Add a new one instead."
FIXED = "This cannot change any more. Close the item and add a new one."
NO_TASK = "This must be a task of the library or of this practice, in a revision that exists."
OTHER_TASK = "This must be as the task itself has it."
NO_GUIDE = "An item of this mode needs a line or dots."
ODD_DOTS = "Dots that are joined two by two must be even in number."
# What an item keeps for ever.
KEPT = ("task", "guide", "condition")

Item = dict[str, Any]


class ShownFields(ShowFields):
    """How an item is shown; words of the format only."""

    model_config = ConfigDict(extra="forbid")

    feedback: Label | None = None


class SentItem(ItemFields):
    """One item as it is sent."""

    state: Literal["open", "closed"]
    repetitions: Annotated[int, Field(ge=1, le=MAX_REPETITIONS)]
    show: ShownFields | None = None


class SentPlan(Fields):
    """A plan as it is sent: the version that it was made from, and all its items."""

    based_on: Count
    items: list[SentItem] = Field(max_length=MAX_ITEMS)


@cache
def _names() -> frozenset[str]:
    return names_of(SentPlan)


def read_plan(raw: bytes) -> SentPlan:
    """Return a plan that was sent, every field of it checked by itself.

    Raises
    ------
    BadDocument
        With the place of each fault.
    """
    if len(raw) > MAX_PLAN_BYTES:
        raise BadDocument([Fault("", TOO_LARGE)], status=413)
    sent = validated(SentPlan, read_json(raw, _names()), _names())
    faults = list(_faults(sent))
    if faults:
        raise BadDocument(faults)
    return sent


def _faults(sent: SentPlan) -> Iterator[Fault]:
    taken = set()
    yield from _unknown_keys(sent, "")
    for at, item in enumerate(sent.items):
        path = f"/items/{at}"
        if item.item_id in taken:
            yield Fault(f"{path}/item_id", TWICE)
        taken.add(item.item_id)
        yield from _task_faults(item, f"{path}/task")
        if guide_of(item.guide, f"{path}/guide") is None and item.task.mode != "cut":
            yield Fault(f"{path}/guide", NO_GUIDE)
        if item.guide.pairs and len(item.guide.targets_mm or ()) % 2:
            yield Fault(f"{path}/guide/pairs", ODD_DOTS)


def _unknown_keys(value: Any, path: str) -> Iterator[Fault]:
    """Yield where a key stands that the format does not have: it could say anything."""
    if isinstance(value, list):
        for at, inner in enumerate(value):
            yield from _unknown_keys(inner, f"{path}/{at}")
    elif isinstance(value, BaseModel):
        if value.model_extra:
            yield Fault(path, UNKNOWN_KEY)
        for name in type(value).model_fields:
            yield from _unknown_keys(getattr(value, name), f"{path}/{name}")


def _task_faults(item: SentItem, path: str) -> Iterator[Fault]:
    criterion, band = item.task.criterion, item.task.pressure_band
    if criterion is not None and criterion.at_least is None and criterion.at_most is None:
        yield Fault(f"{path}/criterion", NO_BOUND)
    if band is not None and band[0] >= band[1]:
        yield Fault(f"{path}/pressure_band", NO_BAND)


def merged(db: Session, before: list[Item], sent: SentPlan) -> list[Item]:
    """Return the items of the next version of a plan.

    Parameters
    ----------
    db : Session
        Database session.
    before : list of dict
        Items of the version before.
    sent : SentPlan
        What the next one is to be.

    Returns
    -------
    list of dict
        Items in the order sent. Those that were there keep their task, guide and condition.

    Raises
    ------
    BadDocument
        If an item is missing, opened again, or changed in what it keeps; or if a new item
        is not of a known task.
    """
    old = {item["item_id"]: item for item in before}
    faults, items = [], []
    if not old.keys() <= {item.item_id for item in sent.items}:
        faults.append(Fault("/items", GONE))
    for at, item in enumerate(sent.items):
        path, was = f"/items/{at}", old.get(item.item_id)
        found = _new_faults(db, item, path) if was is None else _changed(was, item, path)
        faults += found
        items.append(_plain(item) if was is None else _updated(was, item))
    if faults:
        raise BadDocument(faults)
    return items


def _plain(item: ItemFields) -> Item:
    # Null and left out mean the same everywhere in an item.
    return item.model_dump(exclude_none=True)


def _updated(was: Item, item: SentItem) -> Item:
    changed = {"state": item.state, "repetitions": item.repetitions}
    shown = {} if item.show is None else {"show": item.show.model_dump(exclude_none=True)}
    return was | changed | shown


def _changed(was: Item, item: SentItem, path: str) -> Iterator[Fault]:
    before, after = _plain(ItemFields.model_validate(was)), _plain(item)
    for key in KEPT:
        if before[key] != after[key]:
            yield Fault(f"{path}/{key}", FIXED)
    if was["state"] == "closed" and item.state != "closed":
        yield Fault(f"{path}/state", CLOSED)


def _new_faults(db: Session, item: SentItem, path: str) -> Iterator[Fault]:
    task = task_by_id(db, item.task.task_id, item.task.revision)
    if task is None:
        yield Fault(f"{path}/task/task_id", NO_TASK)
        return
    # Whether it is a probe or practice is chosen for the child.
    for key in ("name", "mode"):
        if getattr(item.task, key) != task[key]:
            yield Fault(f"{path}/task/{key}", OTHER_TASK)
    needs = item.task.needs
    if needs is not None and needs != task.get("needs"):
        yield Fault(f"{path}/task/needs", OTHER_TASK)
    trouble = tool_trouble(task, item.condition.tool)
    if trouble is not None:
        yield Fault(f"{path}/condition/tool", trouble)
