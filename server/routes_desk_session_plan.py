"""Forms that change the plan of a session; each goes through the doors of the plan itself."""

import re
from collections.abc import Iterator
from itertools import count, product
from typing import Annotated, Any
from uuid import UUID, uuid5

import orjson
from fastapi import APIRouter, Form, Response
from pydantic import BaseModel
from sqlalchemy.orm import Session

from server.block_order import LARGEST_SEED, Order, blocks, ordered_id
from server.deps import Config, Db, LinkedSession, Now, SeenSession, Therapist
from server.fields import UUID_PATTERN
from server.page_session_adding import POSITIONS
from server.plan_items import MAX_ITEMS, MAX_REPETITIONS, NO_TASK, Item
from server.plan_making import ItemBody, made_item
from server.problems import Problem
from server.routes_desk_session import REFUSALS, back_to, refusal, refused_page
from server.routes_plans import FULL, BuiltOn, post_same_as_last, put_plan
from server.store_plans import latest_plan, version_of
from server.store_tasks import task_by_id
from server.tables import random_id
from server.task_asking import directions_of, hands_of
from server.tools import TOOLS
from server.trial_forms import NOT_LISTED

router = APIRouter(prefix="/sessions/{session_id}/plan", include_in_schema=False)

NO_HAND = "Choose at least one hand."
NO_DIRECTION = "Choose at least one direction."
NO_COUNT = f"This must be a whole number from 1 to {MAX_REPETITIONS}."
NO_SEED = f"This must be a whole number from 0 to {LARGEST_SEED}."
NOT_WHOLE = "This form did not come in whole. Look at the plan as it is now, and send it again."
NO_SHARE = "This must be a number between 0 and 1, such as 0.4."

MOST_DIGITS = 20


class ItemForm(BaseModel):
    """What is to be added to a plan, as a form sends it; the same with its id is added once."""

    id: str = ""
    based_on: str = ""
    task_id: str = ""
    step: str = ""
    hands: list[str] = []
    directions: list[str] = []
    repetitions: str = ""
    position: str = ""
    tool: str = ""
    seed: str = ""
    pressure_median: str = ""


@router.post("/same-as-last")
def add_same(
    account: Therapist,
    seen: LinkedSession,
    db: Db,
    now: Now,
    settings: Config,
    based_on: Annotated[str, Form()] = "",
) -> Response:
    """Add what the child was asked the last time."""
    try:
        built_on = BuiltOn(based_on=_whole(based_on, "", NOT_WHOLE))
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
        if not _is_added(db, seen, form):
            bodies, seed, repetitions = _asked(db, form)
            own = _own_ids(form)
            if len(bodies) == 1:
                added = [made_item(db, bodies[0]) | {"item_id": next(own)}]
            else:
                _check_room(db, seen, len(bodies) * repetitions)
                added = list(_in_blocks(db, bodies, repetitions, seed, own))
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
    # The task first: without one no other field is on the page.
    cells = _cells(db, form)
    repetitions = _whole(form.repetitions, "repetitions", NO_COUNT)
    seed = _whole(form.seed, "seed", NO_SEED)
    if seed > LARGEST_SEED:
        raise refusal("seed", NO_SEED)
    if not 1 <= repetitions <= MAX_REPETITIONS:
        raise refusal("repetitions", NO_COUNT)
    if form.position not in ("", *POSITIONS):
        raise refusal("position", NOT_LISTED)
    if form.tool not in ("", *TOOLS):
        raise refusal("tool", NOT_LISTED)
    usual: dict[str, Any] = {
        "based_on": _whole(form.based_on, "", NOT_WHOLE),
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
        raise refusal("task_id", NO_TASK)
    hands = _chosen("hands", form.hands, hands_of(task), NO_HAND)
    ways = _chosen("directions", form.directions, directions_of(task), NO_DIRECTION)
    return list(product(hands, ways))


def _chosen(field: str, sent: list[str], offered: list[str], nothing: str) -> list[str]:
    chosen = [one for one in offered if one in sent]
    if not chosen:
        raise refusal(field, nothing)
    if not set(sent) <= set(offered):
        raise refusal(field, NOT_LISTED)
    return chosen


def _own_ids(form: ItemForm) -> Iterator[str]:
    """Yield what makes each item's id unique: the same ids each time the same is sent."""
    if form.id and not re.fullmatch(UUID_PATTERN, form.id):
        raise refusal("", NOT_WHOLE)
    # Whoever goes back to a form and changes it asks for something else.
    asked = form.model_dump_json(exclude={"id", "based_on"})
    for at in count():
        yield str(uuid5(UUID(form.id), f"{at} {asked}")) if form.id else random_id()


def _is_added(db: Session, seen: SeenSession, form: ItemForm) -> bool:
    """Return whether what a form asks is in the plan: it was sent before, and sent again."""
    plan = latest_plan(db, seen.session.id)
    if not form.id or plan is None:
        return False
    first = next(_own_ids(form))
    return any(item["item_id"].endswith(first) for item in plan["items"])


def _in_blocks(
    db: Session, bodies: list[ItemBody], repetitions: int, seed: int, own: Iterator[str]
) -> Iterator[Item]:
    cells = [made_item(db, body) | {"repetitions": 1} for body in bodies]
    for number, block in enumerate(blocks(range(len(cells)), repetitions, seed), start=1):
        for at in block:
            yield cells[at] | {"item_id": ordered_id(Order(seed, number), next(own))}


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
        raise refusal("pressure_median", NO_SHARE) from None


def _whole(text: str, field: str, sentence: str) -> int:
    text = text.strip()
    if len(text) > MOST_DIGITS or not (text.isascii() and text.isdecimal()):
        raise refusal(field, sentence)
    return int(text)
