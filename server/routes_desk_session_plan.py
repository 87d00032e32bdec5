"""Forms that change the plan of a session; each goes through the doors of the plan itself."""

from collections.abc import Iterator
from itertools import product
from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Form, Response
from pydantic import BaseModel, Field
from sqlalchemy.orm import Session

from server.block_order import LARGEST_SEED, Order, blocks, ordered_id
from server.deps import Config, Db, LinkedSession, Now, SeenSession, Therapist
from server.faults import Fault
from server.page_session_adding import directions_of, hands_of
from server.plan_items import MAX_ITEMS, MAX_REPETITIONS, NO_TASK, Item
from server.plan_making import ItemBody, made_item
from server.problems import Problem
from server.routes_desk_session import REFUSALS, back_to, refused_page
from server.routes_plans import FULL, BuiltOn, post_item, post_same_as_last, put_plan
from server.store_plans import latest_plan, version_of
from server.store_tasks import task_by_id
from server.tables import random_id

router = APIRouter(prefix="/sessions/{session_id}/plan", include_in_schema=False)

NO_HAND = "Choose at least one hand."
NO_DIRECTION = "Choose at least one direction."
NO_COUNT = f"This must be a whole number from 1 to {MAX_REPETITIONS}."
NO_SEED = f"This must be a whole number from 0 to {LARGEST_SEED}."
NO_SHARE = "This must be a number between 0 and 1, such as 0.4."

Short = Annotated[str, Field(max_length=64)]
Word = Annotated[str, Field(max_length=20)]


class ItemForm(BaseModel):
    """What is to be added to a plan, as a form sends it."""

    based_on: Word = ""
    task_id: Short = ""
    step: Short = ""
    hands: list[Word] = Field(default=[], max_length=8)
    directions: list[Word] = Field(default=[], max_length=8)
    repetitions: Word = ""
    position: Short = ""
    tool: Short = ""
    seed: Word = ""
    pressure_median: Word = ""


@router.post("/same-as-last")
def add_same(
    account: Therapist,
    seen: LinkedSession,
    db: Db,
    now: Now,
    settings: Config,
    based_on: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Add what the child was asked the last time."""
    try:
        built_on = BuiltOn(based_on=_whole(based_on, "based_on", ""))
        post_same_as_last(account, seen, built_on, db, now)
    except REFUSALS as error:
        return refused_page(db, account, seen, settings, error, form="plan", typed={})
    return back_to(seen, "plan")


@router.post("/items")
def add_items(
    account: Therapist,
    seen: LinkedSession,
    form: Annotated[ItemForm, Form()],
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Add a task: one item for one hand and direction, else a block-randomised order."""
    try:
        bodies, seed, repetitions = _asked(db, form)
        if len(bodies) == 1:
            post_item(account, seen, bodies[0], db, now)
        else:
            _check_room(db, seen, len(bodies) * repetitions)
            added = list(_in_blocks(db, bodies, repetitions, seed))
            raw = _with(db, seen, added, based_on=bodies[0].based_on)
            put_plan(account, seen, raw, db, now)
    except REFUSALS as error:
        typed = form.model_dump()
        return refused_page(
            db, account, seen, settings, error, form="add", typed=typed, task_id=form.task_id
        )
    return back_to(seen, "plan")


@router.post("/items/{item_id}/close")
def close_item(
    item_id: str, account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config
) -> Response:
    """Close an item: it stays in the plan and is not asked any more."""
    plan = latest_plan(db, seen.session.id)
    items: list[Item] = [] if plan is None else plan["items"]
    item = next((one for one in items if one["item_id"] == item_id), None)
    if item is None:
        raise Problem(404)
    if item["state"] == "closed":
        return back_to(seen, f"item-{item_id}")
    closed = [one | {"state": "closed"} if one is item else one for one in items]
    raw = orjson.dumps({"based_on": version_of(plan), "items": closed})
    try:
        put_plan(account, seen, raw, db, now)
    except REFUSALS as error:
        return refused_page(db, account, seen, settings, error, form="plan", typed={})
    return back_to(seen, f"item-{item_id}")


def _asked(db: Session, form: ItemForm) -> tuple[list[ItemBody], int, int]:
    """Return a body for each cell of hand and direction, the seed, and how many blocks."""
    repetitions = _whole(form.repetitions, "repetitions", NO_COUNT)
    seed = _whole(form.seed, "seed", NO_SEED)
    if seed > LARGEST_SEED:
        raise _refused("seed", NO_SEED)
    cells = _cells(db, form)
    if not 1 <= repetitions <= MAX_REPETITIONS:
        raise _refused("repetitions", NO_COUNT)
    usual: dict[str, Any] = {
        "based_on": _whole(form.based_on, "based_on", ""),
        "task_id": form.task_id,
        "repetitions": repetitions,
        "step": _step(form.step),
        "position": form.position or None,
        "tool": form.tool or None,
        "pressure_median": _share(form.pressure_median),
    }
    bodies = [
        ItemBody.model_validate(usual | {"hand": hand, "direction": way}) for hand, way in cells
    ]
    return bodies, seed, repetitions


def _cells(db: Session, form: ItemForm) -> list[tuple[str, str]]:
    """Return the chosen cells in a fixed order, so that a seed alone makes the order."""
    task = task_by_id(db, form.task_id)
    if task is None:
        raise _refused("task_id", NO_TASK)
    hands = [hand for hand in hands_of(task) if hand in form.hands]
    ways = [way for way in directions_of(task) if way in form.directions]
    if not hands:
        raise _refused("hands", NO_HAND)
    if not ways:
        raise _refused("directions", NO_DIRECTION)
    return list(product(hands, ways))


def _in_blocks(db: Session, bodies: list[ItemBody], repetitions: int, seed: int) -> Iterator[Item]:
    cells = [made_item(db, body) | {"repetitions": 1} for body in bodies]
    for number, block in enumerate(blocks(range(len(cells)), repetitions, seed), start=1):
        for at in block:
            yield cells[at] | {"item_id": ordered_id(Order(seed, number), random_id())}


def _check_room(db: Session, seen: SeenSession, more: int) -> None:
    # Before they are made: each of them is drawn out point by point.
    plan = latest_plan(db, seen.session.id)
    if len([] if plan is None else plan["items"]) + more > MAX_ITEMS:
        raise Problem(409, FULL)


def _with(db: Session, seen: SeenSession, added: list[Item], *, based_on: int) -> bytes:
    plan = latest_plan(db, seen.session.id)
    items = [] if plan is None else plan["items"]
    return orjson.dumps({"based_on": based_on, "items": [*items, *added]})


def _step(text: str) -> dict[str, Any] | None:
    dimension, _, value = text.partition(":")
    if not dimension:
        return None
    try:
        return {"dimension": dimension, "value": float(value)}
    except ValueError:
        return {"dimension": dimension, "value": None}


def _share(text: str) -> float | None:
    if not text.strip():
        return None
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise _refused("pressure_median", NO_SHARE) from None


def _whole(text: str, field: str, sentence: str) -> int:
    text = text.strip()
    if not (text.isascii() and text.isdecimal()):
        raise Problem(422, errors=[Fault(f"/{field}", sentence)] if sentence else [])
    return int(text)


def _refused(field: str, sentence: str) -> Problem:
    return Problem(422, errors=[Fault(f"/{field}", sentence)])
