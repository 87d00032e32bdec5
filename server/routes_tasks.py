"""Tasks: the library and the practice's own, for therapists to choose from and to draw."""

from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import Field

from server import audit
from server.deps import Db, Now, Therapist
from server.library import LIBRARY
from server.library_steps import Step, TaskDict, steps_of
from server.own_tasks import OwnTask, own_task
from server.problems import Problem
from server.request_fields import Body
from server.store_tasks import (
    Make,
    add_task,
    guide_id_of,
    library_task,
    own_tasks,
    retire_task,
    revise_task,
    revisions_of,
)
from server.tables import TaskRow

router = APIRouter(prefix="/api/tasks")

# Lines and dots are told by the task itself, not in the list.
LARGE = ("parts", "targets_mm", "template")

Revision = Annotated[int, Field(strict=True, ge=1, le=1_000_000)]


class RevisedTask(OwnTask):
    """A task as it is to be from now on, whole, and the revision that was looked at."""

    based_on: Revision


class Retiring(Body):
    """The revision that was looked at."""

    based_on: Revision


def _step(step: Step) -> dict[str, Any]:
    return dict(step._asdict())


def _library(task: TaskDict) -> dict[str, Any]:
    return {
        "task_id": task["task_id"],
        "revision": task["revision"],
        "own": False,
        "retired": False,
        "at": None,
        "guide_id": guide_id_of(task),
        "steps": [_step(step) for step in steps_of(task)],
        "task": task,
    }


def _own(row: TaskRow) -> dict[str, Any]:
    return {
        "task_id": row.task_id,
        "revision": row.revision,
        "own": True,
        "retired": row.retired,
        "at": row.at.isoformat(),
        "guide_id": row.guide_id,
        "steps": [_step(step) for step in steps_of(row.document)],
        "task": row.document,
    }


def _in_list(entry: dict[str, Any]) -> dict[str, Any]:
    task = {key: value for key, value in entry["task"].items() if key not in LARGE}
    return entry | {"task": task}


def _made(sent: OwnTask) -> Make:
    return lambda task_id, revision: own_task(sent, task_id=task_id, revision=revision)


@router.get("")
def read_tasks(
    account: Therapist, db: Db, now: Now, retired: Annotated[bool, Query()] = False
) -> dict[str, Any]:
    """Return the library and the practice's own tasks, each with its steps, without its points."""
    entries = [_library(task) for task in LIBRARY]
    entries += [_own(row) for row in own_tasks(db, retired=retired)]
    audit.note(db, now, account.id, "saw", "tasks")
    db.commit()
    return {"tasks": [_in_list(entry) for entry in entries]}


@router.post("", status_code=201)
def make_task(body: OwnTask, account: Therapist, db: Db, now: Now) -> dict[str, Any]:
    """Make a task of the practice's own from points, lines, a drawing's path, or dots."""
    row = add_task(db, _made(body), account_id=account.id, at=now)
    audit.note(db, now, account.id, "made", "task", row.task_id)
    db.commit()
    return _own(row)


@router.get("/{task_id}")
def read_task(task_id: str, account: Therapist, db: Db, now: Now) -> dict[str, Any]:
    """Return all revisions of a task with their points, newest last."""
    known = library_task(task_id)
    rows = [] if known is not None else revisions_of(db, task_id)
    found = [_own(row) for row in rows] if known is None else [_library(known)]
    if not found:
        raise Problem(404)
    audit.note(db, now, account.id, "saw", "task", task_id)
    db.commit()
    return {"task_id": task_id, "revisions": found}


@router.post("/{task_id}/revisions", status_code=201)
def add_revision(
    task_id: str, body: RevisedTask, account: Therapist, db: Db, now: Now
) -> dict[str, Any]:
    """Add a revision of an own task; plans and trials keep the one they have."""
    row = revise_task(db, task_id, body.based_on, _made(body), account_id=account.id, at=now)
    audit.note(db, now, account.id, "revised", "task", task_id)
    db.commit()
    return _own(row)


@router.post("/{task_id}/retire")
def retire(task_id: str, body: Retiring, account: Therapist, db: Db, now: Now) -> dict[str, Any]:
    """Take an own task out of use; a later revision takes it into use again."""
    row, changed = retire_task(db, task_id, body.based_on, account_id=account.id, at=now)
    if changed:
        audit.note(db, now, account.id, "retired", "task", task_id)
        db.commit()
    return _own(row)
