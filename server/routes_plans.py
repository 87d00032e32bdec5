"""The plan of a session: read, written anew, added to, copied from the last time."""

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Request, Response
from sqlalchemy.orm import Session

from server import audit
from server.bodies import read_document
from server.deps import Db, LinkedSession, Now, SeenSession, Therapist
from server.etags import tag_of, unless_held
from server.fields import LARGEST_INTEGER, Count
from server.openapi import ASKS_AGAIN, HELD, gives, takes
from server.plan_items import MAX_ITEMS, Item, merged, read_plan
from server.plan_making import ItemBody, made_item
from server.problems import Problem
from server.request_fields import Body
from server.routes_trials import json_answer
from server.store_plans import (
    FORMAT,
    OTHER_VERSION,
    items_of_last_session,
    latest_plan,
    next_version,
    plan_at,
    version_of,
)
from server.tables import random_id

router = APIRouter(prefix="/api/sessions/{session_id}")

CLOSED = "This session is closed. Reopen it to change its plan."
FULL = f"A plan holds at most {MAX_ITEMS} items."
NO_LAST = "There is no earlier session of this child with a plan."

Version = Annotated[int, Path(ge=1, le=LARGEST_INTEGER)]
# Read before anything is asked of the database, but only after the rights were checked.
RawBody = Annotated[bytes, Depends(read_document)]


class BuiltOn(Body):
    """The version that something builds on; 0 if there is none."""

    based_on: Count


def plan_as_dict(seen: SeenSession, plan: dict[str, Any] | None) -> dict[str, Any]:
    """Return a plan with the child's signs; version 0 without items if there is none."""
    empty = {"format": FORMAT, "plan_id": seen.session.plan_id, "version": 0, "items": []}
    return (plan or empty) | {"session_label": seen.child.sign.split()}


@router.get("/plan", responses=gives("PlanDocument") | HELD, openapi_extra=ASKS_AGAIN)
def read_latest(seen: LinkedSession, request: Request, db: Db) -> Response:
    """Return the newest version of the plan, or 304 if it is held already."""
    plan = plan_as_dict(seen, latest_plan(db, seen.session.id))
    return unless_held(request, tag_of(plan), lambda: plan)


@router.get("/plans/{version}", responses=gives("PlanDocument"))
def read_version(seen: LinkedSession, version: Version, db: Db) -> Response:
    """Return one version of the plan."""
    plan = plan_at(db, seen.session.id, version)
    if plan is None:
        raise Problem(404)
    return json_answer(plan_as_dict(seen, plan))


@router.put("/plan", responses=gives("PlanDocument"), openapi_extra=takes("SentPlan"))
def put_plan(account: Therapist, seen: LinkedSession, raw: RawBody, db: Db, now: Now) -> Response:
    """Keep the plan that was sent as the next version."""
    sent = read_plan(raw)
    items = merged(db, _items(db, seen, sent.based_on), sent)
    return _kept(db, seen, items, based_on=sent.based_on, account_id=account.id, now=now)


@router.post("/plan/items", status_code=201, responses=gives("PlanDocument", status=201))
def post_item(
    account: Therapist, seen: LinkedSession, body: ItemBody, db: Db, now: Now
) -> Response:
    """Make an item from a task and keep the plan with it as the next version."""
    items = [*_items(db, seen, body.based_on), made_item(db, body)]
    return _kept(
        db, seen, items, based_on=body.based_on, account_id=account.id, now=now, status=201
    )


@router.post("/plan/same-as-last", status_code=201, responses=gives("PlanDocument", status=201))
def post_same_as_last(
    account: Therapist, seen: LinkedSession, body: BuiltOn, db: Db, now: Now
) -> Response:
    """Add the items of the child's last session, open again, under ids of their own."""
    last = items_of_last_session(db, seen.session)
    if not last:
        raise Problem(409, NO_LAST)
    copies = [item | {"item_id": random_id(), "state": "open"} for item in last]
    items = [*_items(db, seen, body.based_on), *copies]
    return _kept(
        db, seen, items, based_on=body.based_on, account_id=account.id, now=now, status=201
    )


def _items(db: Session, seen: SeenSession, based_on: int) -> list[Item]:
    if seen.session.closed_at is not None:
        raise Problem(409, CLOSED)
    plan = latest_plan(db, seen.session.id)
    if version_of(plan) != based_on:
        raise Problem(409, OTHER_VERSION)
    items: list[Item] = [] if plan is None else plan["items"]
    return items


def _kept(
    db: Session,
    seen: SeenSession,
    items: list[Item],
    *,
    based_on: int,
    account_id: str,
    now: datetime,
    status: int = 200,
) -> Response:
    if len(items) > MAX_ITEMS:
        raise Problem(409, FULL)
    plan = next_version(
        db,
        seen.session,
        {"session_label": seen.child.sign.split(), "items": items},
        based_on=based_on,
        account_id=account_id,
        at=now,
    )
    audit.note(db, now, account_id, "planned", "session", seen.session.id, child_id=seen.child.id)
    db.commit()
    return json_answer(plan_as_dict(seen, plan), status)
