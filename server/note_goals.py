"""The goals that a session worked on, as its note keeps them."""

from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from server.note_numbers import Numbers, numbers_of
from server.store_goals import goals_of, versions_of
from server.tables import Child, GoalRow, SessionRow

OPEN = "open"


def note_numbers_of(db: Session, session: SessionRow) -> Numbers:
    """Return what a note is written with and what signing keeps: numbers, and goals worked on.

    Parameters
    ----------
    db : Session
        Database session.
    session : SessionRow
        Which session.

    Returns
    -------
    dict
        ``linnet-numbers/1`` of `server.note_numbers.numbers_of`, with `goals` besides.
    """
    numbers = numbers_of(db, session)
    ids = {one["trial_id"] for one in numbers["trials"]}
    return numbers | {"goals": _worked_on(db, session, ids) if ids else []}


def _worked_on(db: Session, session: SessionRow, trial_ids: set[str]) -> list[Numbers]:
    found = []
    for goal in goals_of(db, session.child_id):
        if goal.status != OPEN or _begun(db, goal) > session.day:
            continue
        told = _on_day(db, goal, session.day, trial_ids)
        if told is not None:
            found.append(told)
    return found


def _begun(db: Session, goal: GoalRow) -> date:
    return versions_of(db, goal.id)[0].at.date()


def _on_day(db: Session, goal: GoalRow, day: date, trial_ids: set[str]) -> Numbers | None:
    """Return a goal with its count of a day; None if no trial of the session is like it."""
    # The words of a goal and its counting need the analysis, which takes a second to load.
    from server.goal_progress import progress_of
    from server.page_goals import task_name_of
    from server.page_words import child_words
    from server.sentences_goals import ANY_TASK, goal_sentence

    progress = progress_of(db, goal, day)
    counted = next((one for one in progress["by_day"] if one["day"] == day.isoformat()), None)
    left_out = [one for group in progress["left_out"] for one in group["trial_ids"]]
    mine = [one for one in left_out if one in trial_ids]
    if counted is None and not mine:
        return None
    name = child_words(db.get_one(Child, goal.child_id)).name
    task = task_name_of(db, goal.conditions.get("task_id"))
    told: dict[str, Any] = {
        "goal_id": goal.id,
        "task": task or ANY_TASK,
        "version": goal.version,
        "sentence": goal_sentence(goal, name, task),
        "met": 0 if counted is None else counted["k"],
        "of": 0 if counted is None else counted["n"],
        "left_out": len(mine),
    }
    return told
