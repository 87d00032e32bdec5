"""The goals that a session worked on, as its note keeps them."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from server.goal_bodies import OPEN
from server.note_numbers import Numbers, numbers_of
from server.settings import Settings
from server.store_goals import goals_of, versions_of
from server.tables import Child, GoalRow, SessionRow


def note_numbers_of(db: Session, session: SessionRow, settings: Settings) -> Numbers:
    """Return what a note is written with and what signing keeps: numbers, and goals worked on.

    Parameters
    ----------
    db : Session
        Database session.
    session : SessionRow
        Which session.
    settings : Settings
        Say which day it was when a goal was set or changed.

    Returns
    -------
    dict
        ``linnet-numbers/1`` of `server.note_numbers.numbers_of`, with `goals` besides.
    """
    numbers = numbers_of(db, session)
    goals = _worked_on(db, session, settings) if numbers["trials"] else []
    return numbers | {"goals": goals}


def _worked_on(db: Session, session: SessionRow, settings: Settings) -> list[Numbers]:
    """Return the goals that were open on the day of a session, with its counts alone.

    A note may be written days later: what became of a goal since then is no part of it.
    """
    # The counting of goals needs the analysis, which takes a second to load.
    from server.goal_progress import since_of

    found = []
    for goal in goals_of(db, session.child_id):
        versions = versions_of(db, goal.id)
        then = _open_then(versions, session.day, settings)
        if then is None:
            continue
        known = [one for one in versions if one.version <= then.version]
        if since_of(known, settings.day_of(versions[0].at)) > session.day:
            continue
        told = _told(db, then, session)
        if told is not None:
            found.append(told)
    return found


def _open_then(versions: Sequence[GoalRow], day: date, settings: Settings) -> GoalRow | None:
    """Return the last open version of a goal that was in force on a day, or None."""
    days = [(settings.day_of(one.at), one) for one in versions]
    from_before = [one for since, one in days if since < day][-1:]
    of_day = [one for since, one in days if since == day]
    # A goal that was ended on that very day was open on it too.
    return next((one for one in (*of_day[::-1], *from_before) if one.status == OPEN), None)


def _told(db: Session, goal: GoalRow, session: SessionRow) -> Numbers | None:
    """Return a goal with its count of a session; None if no trial of it is like the goal asks."""
    from server.goal_progress import progress_of
    from server.page_goals import task_name_of
    from server.page_words import child_words
    from server.sentences_goals import ANY_TASK, goal_sentence

    progress = progress_of(db, goal, session.day, session_id=session.id)
    left_out = sum(group["count"] for group in progress["left_out"])
    if not progress["counted"] and not left_out:
        return None
    name = child_words(db.get_one(Child, goal.child_id)).name
    task = task_name_of(db, goal.conditions.get("task_id"))
    told: dict[str, Any] = {
        "goal_id": goal.id,
        "task": task or ANY_TASK,
        "version": goal.version,
        "sentence": goal_sentence(goal, name, task),
        "met": sum(one["k"] for one in progress["by_day"]),
        "of": progress["counted"],
        "left_out": left_out,
    }
    return told
