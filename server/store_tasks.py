"""Tasks: the library's, and revisions of the practice's own, which are added and never change."""

import secrets
from collections.abc import Callable
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, aliased

from analysis.guide import Guide, Part, Target
from analysis.identity import guide_id
from server.library import task_of
from server.library_steps import TaskDict
from server.problems import Problem
from server.tables import TaskRow

OWN_PREFIX = "own-"
ID_BYTES = 5
LIBRARY_TASK = (
    "The library's own tasks do not change. Make a task of the practice's own in its place."
)
NEWER = "This task has been changed in the meantime. Look at its newest revision first."

Make = Callable[[str, int], TaskDict]


def guide_id_of(task: TaskDict) -> str | None:
    """Return the id of what a task shows at its usual step; None if it shows nothing.

    Examples
    --------
    >>> from server.library import placed
    >>> swell = task_of("swell")
    >>> guide_id_of(swell) == placed(swell, screen_mm=(207, 136))["id"]
    True
    """
    parts = [_part(part) for part in task.get("parts") or ()]
    targets = tuple(
        Target(dot["x"], dot["y"], dot["radius"], dot["order"])
        for dot in task.get("targets_mm") or ()
    )
    return guide_id(Guide(parts, targets=targets)) if parts or targets else None


def _part(part: dict[str, Any]) -> Part:
    width_mm = part.get("corridor_mm")
    return Part(
        np.array(part["points_mm"]),
        part["closed"],
        None if width_mm is None else np.array(width_mm),
    )


def library_task(task_id: str) -> TaskDict | None:
    """Return the library's task with an id, or None."""
    try:
        return task_of(task_id)
    except KeyError:
        return None


def task_by_id(db: Session, task_id: str, revision: int | None = None) -> TaskDict | None:
    """Return a task of the library or of the practice's own.

    Parameters
    ----------
    db : Session
        Database session.
    task_id : str
        Id of the task.
    revision : int or None
        Which revision, also one of a task that is retired by now; None for the newest one
        of a task that is not retired.

    Returns
    -------
    dict or None
        A ``linnet-task/1``; None if there is no such task or revision.
    """
    known = library_task(task_id)
    if known is not None:
        return known if revision in (None, known["revision"]) else None
    if revision is None:
        newest = newest_revision(db, task_id)
        return None if newest is None or newest.retired else newest.document
    return db.scalar(
        select(TaskRow.document).where(TaskRow.task_id == task_id, TaskRow.revision == revision)
    )


def revisions_of(db: Session, task_id: str) -> list[TaskRow]:
    """Return the revisions of a task of the practice's own, newest last."""
    return list(
        db.scalars(select(TaskRow).where(TaskRow.task_id == task_id).order_by(TaskRow.revision))
    )


def newest_revision(db: Session, task_id: str) -> TaskRow | None:
    """Return the newest revision of a task of the practice's own, or None."""
    return db.scalar(
        select(TaskRow).where(TaskRow.task_id == task_id).order_by(TaskRow.revision.desc()).limit(1)
    )


def own_tasks(db: Session, *, retired: bool = False) -> list[TaskRow]:
    """Return the newest revision of each task of the practice's own, the newest task last.

    Parameters
    ----------
    db : Session
        Database session.
    retired : bool
        Whether retired ones are wanted too.

    Returns
    -------
    list of TaskRow
        In the order in which the tasks were made.
    """
    other = aliased(TaskRow)
    newest = select(func.max(other.revision)).where(other.task_id == TaskRow.task_id)
    first = select(func.min(other.at)).where(other.task_id == TaskRow.task_id)
    query = select(TaskRow).where(TaskRow.revision == newest.scalar_subquery())
    if not retired:
        query = query.where(TaskRow.retired.is_(False))
    return list(db.scalars(query.order_by(first.scalar_subquery(), TaskRow.task_id)))


def add_task(db: Session, make: Make, *, account_id: str, at: datetime) -> TaskRow:
    """Add a task of the practice's own; the caller commits.

    Parameters
    ----------
    db : Session
        Database session.
    make : callable
        Returns the ``linnet-task/1`` for an id and a revision.
    account_id : str
        Who made it.
    at : datetime
        Now.

    Returns
    -------
    TaskRow
        Its first revision.
    """
    task_id = f"{OWN_PREFIX}{secrets.token_hex(ID_BYTES)}"
    return _added(db, make(task_id, 1), retired=False, account_id=account_id, at=at)


def revise_task(
    db: Session, task_id: str, based_on: int, make: Make, *, account_id: str, at: datetime
) -> TaskRow:
    """Add a revision to a task; the caller commits. A retired task is in use again.

    Parameters
    ----------
    db : Session
        Database session.
    task_id : str
        Which task.
    based_on : int
        Revision that was looked at. [1]
    make, account_id, at
        As in `add_task`.

    Returns
    -------
    TaskRow
        The new revision.

    Raises
    ------
    Problem
        404 if there is no such task; 409 if it is the library's or was changed meanwhile.
    """
    _newest_of_own(db, task_id, based_on)
    document = make(task_id, based_on + 1)
    return _added(db, document, retired=False, account_id=account_id, at=at)


def retire_task(
    db: Session, task_id: str, based_on: int, *, account_id: str, at: datetime
) -> tuple[TaskRow, bool]:
    """Take a task out of use; the caller commits. Plans and trials keep what they have.

    Arguments and errors are those of `revise_task`.

    Returns
    -------
    row : TaskRow
        Its newest revision: the task as it was, retired.
    changed : bool
        False if it was retired already.
    """
    newest = _newest_of_own(db, task_id, based_on)
    if newest.retired:
        return newest, False
    document = newest.document | {"revision": newest.revision + 1}
    return _added(db, document, retired=True, account_id=account_id, at=at), True


def _newest_of_own(db: Session, task_id: str, based_on: int) -> TaskRow:
    if library_task(task_id) is not None:
        raise Problem(409, LIBRARY_TASK)
    newest = newest_revision(db, task_id)
    if newest is None:
        raise Problem(404)
    if newest.revision != based_on:
        raise Problem(409, NEWER)
    return newest


def _added(
    db: Session, document: TaskDict, *, retired: bool, account_id: str, at: datetime
) -> TaskRow:
    row = TaskRow(
        task_id=document["task_id"],
        revision=document["revision"],
        document=document,
        guide_id=guide_id_of(document),
        retired=retired,
        account_id=account_id,
        at=at,
    )
    db.add(row)
    try:
        db.flush()
    except IntegrityError:
        # Somebody else's revision got there first.
        db.rollback()
        raise Problem(409, NEWER) from None
    return row
