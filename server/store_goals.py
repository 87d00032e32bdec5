"""Goals: what a child works towards. Every change is a new version; none is ever changed."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import func, inspect, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.batches import batches
from server.problems import Problem
from server.store_trials import refuse_erased
from server.tables import GoalRow, MeasureValue, ResultRow, SessionRow, TrialRow, random_id

CHANGED_MEANWHILE = (
    "This goal was changed in the meantime. Nothing was stored: read it again, then change it."
)
OTHER_GOAL = "Another goal is already stored under this id."


def goals_of(db: Session, child_id: str) -> list[GoalRow]:
    """Return the newest version of each goal of a child, the oldest goal first."""
    newest = (
        select(
            GoalRow.id,
            func.max(GoalRow.version).label("version"),
            func.min(GoalRow.at).label("begun"),
        )
        .where(GoalRow.child_id == child_id)
        .group_by(GoalRow.id)
        .subquery()
    )
    rows = (
        select(GoalRow)
        .join(newest, (GoalRow.id == newest.c.id) & (GoalRow.version == newest.c.version))
        .order_by(newest.c.begun, GoalRow.id)
    )
    return list(db.scalars(rows))


def versions_of(db: Session, goal_id: str) -> list[GoalRow]:
    """Return all versions of a goal, newest last; none if there is no such goal."""
    rows = select(GoalRow).where(GoalRow.id == goal_id).order_by(GoalRow.version)
    return list(db.scalars(rows))


def add_goal(
    db: Session,
    child_id: str,
    content: dict[str, Any],
    *,
    account_id: str,
    at: datetime,
    goal_id: str | None = None,
) -> tuple[GoalRow, bool]:
    """Add a goal, version 1.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    child_id : str
        Whose goal.
    content : dict
        The columns of `GoalRow` that say what is to be reached.
    account_id : str
        Who sets it.
    at : datetime
        Now.
    goal_id : str or None
        UUID made by the sender: the same goal sent again changes nothing. None for a fresh one.

    Returns
    -------
    goal : GoalRow
        The goal; of one that was there already its newest version.
    created : bool
        False if it was there already.

    Raises
    ------
    Problem
        409 if the id belongs to another goal; 410 if the child was erased meanwhile.
    """
    values = content | {"child_id": child_id}
    found = None if goal_id is None else _same_goal(db, goal_id, values)
    if found is not None:
        return found, False
    goal = GoalRow(id=goal_id or random_id(), version=1, account_id=account_id, at=at, **values)
    db.add(goal)
    try:
        db.flush()
    except IntegrityError:
        db.rollback()
        found = None if goal_id is None else _same_goal(db, goal_id, values)
        if found is not None:
            return found, False
        refuse_erased(db, child_id)
        raise
    return goal, True


def _same_goal(db: Session, goal_id: str, values: dict[str, Any]) -> GoalRow | None:
    versions = versions_of(db, goal_id)
    if versions and any(getattr(versions[0], name) != values[name] for name in values):
        raise Problem(409, OTHER_GOAL)
    return versions[-1] if versions else None


def add_version(
    db: Session,
    newest: GoalRow,
    based_on: int,
    content: dict[str, Any],
    *,
    account_id: str,
    at: datetime,
) -> GoalRow:
    """Add the next version of a goal.

    Parameters
    ----------
    db : Session
        Database session; the caller commits.
    newest : GoalRow
        The newest version as it was read.
    based_on : int
        The version that was changed.
    content, account_id, at
        As in `add_goal`.

    Returns
    -------
    GoalRow
        The new version.

    Raises
    ------
    Problem
        409 if another version has come in the meantime.
    """
    if based_on != newest.version:
        raise Problem(409, CHANGED_MEANWHILE)
    goal = GoalRow(
        id=newest.id,
        version=newest.version + 1,
        child_id=newest.child_id,
        account_id=account_id,
        at=at,
        **content,
    )
    db.add(goal)
    try:
        db.flush()
    except IntegrityError:
        db.rollback()
        raise Problem(409, CHANGED_MEANWHILE) from None
    return goal


def goal_as_sent(
    db: Session, child_id: str, goal_id: str, content: dict[str, Any]
) -> GoalRow | None:
    """Return a goal that was set just so under its id, as it is now; None if none was.

    Parameters are as in `add_goal`.
    """
    try:
        return _same_goal(db, goal_id, content | {"child_id": child_id})
    except Problem:
        return None


def is_stored(db: Session, goal_id: str, based_on: int, content: dict[str, Any]) -> bool:
    """Return whether a change of a goal is there already: its newest version is that very change.

    Parameters
    ----------
    db : Session
        Database session.
    goal_id : str
        Which goal.
    based_on : int
        The version that was changed.
    content : dict
        As in `add_goal`.

    Returns
    -------
    bool
        False too if there is no such goal.
    """
    versions = versions_of(db, goal_id)
    if not versions or versions[-1].version != based_on + 1:
        return False
    return all(getattr(versions[-1], name) == content[name] for name in content)


def trials_since(
    db: Session, child_id: str, kind: str, since: date, *, session_id: str | None = None
) -> list[tuple[TrialRow, date]]:
    """Return a child's trials of one kind from a day on, in the order of their sessions.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child.
    kind : {"trial", "cut"}
        A tablet's trial, or a cut piece.
    since : date
        First day.
    session_id : str or None
        Only the trials of this session, if one is given.

    Returns
    -------
    list of (TrialRow, date)
        Each with the day of its session.
    """
    rows = (
        select(TrialRow, SessionRow.day)
        .join(SessionRow, SessionRow.id == TrialRow.session_id)
        .where(SessionRow.child_id == child_id, SessionRow.day >= since, TrialRow.kind == kind)
        .order_by(
            SessionRow.day,
            SessionRow.number,
            TrialRow.seq.is_(None),
            TrialRow.seq,
            TrialRow.arrival,
        )
    )
    if session_id is not None:
        rows = rows.where(SessionRow.id == session_id)
    return [(trial, day) for trial, day in db.execute(rows)]


class Measured(NamedTuple):
    """A value of a measure, or the reason why there is none."""

    value: float | None
    reason: str | None


def measured_of(db: Session, results: Iterable[ResultRow], name: str) -> dict[str, Measured]:
    """Return one measure of some results.

    Parameters
    ----------
    db : Session
        Database session.
    results : iterable of ResultRow
        One for each trial.
    name : str
        Id of the measure.

    Returns
    -------
    dict of str to Measured
        By trial id; a trial of another mode does not have the measure and is left out.
    """
    found: dict[str, Measured] = {}
    kept: dict[int, str] = {}
    for result in results:
        if inspect(result).persistent:
            kept[result.id] = result.trial_id
        elif name in result.report["measures"]:
            # One that could not be kept has no rows of values.
            row = result.report["measures"][name]
            found[result.trial_id] = Measured(row["value"], row.get("reason"))
    for batch in batches(kept):
        rows = select(MeasureValue).where(
            MeasureValue.result_id.in_(batch), MeasureValue.measure == name
        )
        for row in db.scalars(rows):
            found[kept[row.result_id]] = Measured(row.value, row.reason)
    return found
