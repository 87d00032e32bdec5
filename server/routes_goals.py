"""Goals of a child: set and changed by supervisors, read by everybody linked."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Response

from server import audit
from server.dates import iso
from server.deps import Config, Db, LinkedChild, Now, Supervisor, Therapist
from server.goal_bodies import NewGoalBody, VersionBody, content_as_sent, content_of
from server.openapi import REPEATED
from server.problems import Problem
from server.request_fields import Day
from server.routes_trials import json_answer
from server.store_children import child_of
from server.store_goals import add_goal, add_version, goal_as_sent, goals_of, versions_of
from server.tables import Child, GoalRow

router = APIRouter(prefix="/api")


@dataclass(frozen=True)
class SeenGoal:
    """All versions of a goal that may be seen, newest last, with its child."""

    versions: list[GoalRow]
    child: Child

    @property
    def newest(self) -> GoalRow:
        """The goal as it is now."""
        return self.versions[-1]


def linked_goal(goal_id: str, account: Therapist, db: Db, now: Now) -> SeenGoal:
    """Return a goal of a child the therapist is linked to; others do not exist."""
    versions = versions_of(db, goal_id)
    child = child_of(db, account, versions[0].child_id) if versions else None
    if child is None:
        raise Problem(404)
    audit.note_look(db, now, account.id, "goal", goal_id, child_id=child.id)
    return SeenGoal(versions, child)


LinkedGoal = Annotated[SeenGoal, Depends(linked_goal)]


def goal_as_dict(goal: GoalRow) -> dict[str, Any]:
    """Return one version of a goal in plain types."""
    return {
        "goal_id": goal.id,
        "version": goal.version,
        "child_id": goal.child_id,
        "measure": goal.measure,
        "criterion": goal.criterion,
        "k": goal.k,
        "n": goal.n,
        "days": goal.days,
        "conditions": goal.conditions,
        "help": goal.help,
        "purpose": goal.purpose,
        "due": iso(goal.due),
        "baseline": goal.baseline,
        "status": goal.status,
        "account_id": goal.account_id,
        "at": goal.at.isoformat(),
    }


@router.get("/children/{child_id}/goals")
def read_goals(child: LinkedChild, db: Db) -> Response:
    """Return the goals of a child as they are now, oldest first."""
    return json_answer({"goals": [goal_as_dict(one) for one in goals_of(db, child.id)]})


@router.post("/children/{child_id}/goals", status_code=201, responses=REPEATED)
def post_goal(
    account: Supervisor, child: LinkedChild, body: NewGoalBody, db: Db, now: Now, settings: Config
) -> Response:
    """Set a goal: 201 if it is new, 200 if it is there already under its id, 409 if another is."""
    # What was set once is set, also if its day has gone by since it was sent first.
    sent = None if body.id is None else content_as_sent(body)
    found = None if body.id is None or sent is None else goal_as_sent(db, child.id, body.id, sent)
    if found is not None:
        return json_answer(goal_as_dict(found))
    content = content_of(db, body, settings.day_of(now))
    goal, created = add_goal(db, child.id, content, account_id=account.id, at=now, goal_id=body.id)
    if created:
        _note(db, now, account.id, "added", goal)
    return json_answer(goal_as_dict(goal), 201 if created else 200)


@router.get("/goals/{goal_id}")
def read_goal(seen: LinkedGoal) -> Response:
    """Return all versions of a goal, newest last."""
    return json_answer({"versions": [goal_as_dict(one) for one in seen.versions]})


@router.post("/goals/{goal_id}/versions", status_code=201)
def post_version(
    account: Supervisor, seen: LinkedGoal, body: VersionBody, db: Db, now: Now, settings: Config
) -> Response:
    """Change a goal: its next version, whole. 409 if another one has come in the meantime."""
    content = content_of(db, body, settings.day_of(now))
    goal = add_version(db, seen.newest, body.based_on, content, account_id=account.id, at=now)
    _note(db, now, account.id, "changed", goal)
    return json_answer(goal_as_dict(goal), 201)


def _note(db: Db, now: datetime, account_id: str, verb: str, goal: GoalRow) -> None:
    audit.note(db, now, account_id, verb, "goal", goal.id, child_id=goal.child_id)
    db.commit()


@router.get("/goals/{goal_id}/progress")
def read_progress(
    seen: LinkedGoal, db: Db, settings: Config, since: Annotated[Day | None, Query()] = None
) -> Response:
    """Return k of n over the trials that count, what was left out and why.

    `since` is the first day whose trials count; if it is not given, the day on which the goal
    was set, or the day after its baseline's.
    """
    # The analysis takes a second to load; nothing else here needs it.
    from server.goal_progress import progress_of, since_of

    first = since or since_of(seen.versions, settings.day_of(seen.versions[0].at))
    return json_answer(progress_of(db, seen.newest, first))
