"""What a child's sessions say of each task at each step: counts for the suggestion of a step."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.drawn_steps import StepsOfTasks, step_of
from server.goal_counting import VOIDED
from server.goal_matching import HELP_NOT_TOLD, has_failed
from server.library_steps import Step
from server.step_suggestion import SessionCount
from server.step_tries import Try, step_tries_of
from server.store_attempts import StoredAttempt, attempts_of_child
from server.store_sessions import sessions_of
from server.tables import GoalRow, ObservationRow, SessionRow

DISTRESS = "distress"
# No more sessions than these are looked at: the two latest, and the one before them.
IN_A_ROW = 3


@dataclass
class Tally:
    """One session of one task at one step."""

    session_id: str
    day: date
    count: SessionCount
    left_out: dict[str, int] = field(default_factory=dict)


@dataclass
class TaskStep:
    """A task at the step at which it was drawn last.

    Attributes
    ----------
    task_id, task_name : str
        Which task.
    uses : frozenset of str
        ``probe``, ``practice`` or both.
    half_width_mm : float or None
        Of the corridor. [mm]
    facts : list of dict
        Of the trials of its sessions.
    step, easier, harder : Step or None
        The rung, and those beside it; None where the task has none or it is not known.
    goal : GoalRow or None
        The open goal its trials are judged by.
    sessions : list of Tally
        Sessions in a row, newest last; three at the most.
    """

    task_id: str
    task_name: str
    uses: frozenset[str]
    half_width_mm: float | None
    facts: list[dict[str, Any]]
    step: Step | None
    easier: Step | None
    harder: Step | None
    goal: GoalRow | None
    sessions: list[Tally]


def task_steps_of(
    db: Session, child_id: str, today: date, attempts: Sequence[StoredAttempt] | None = None
) -> list[TaskStep]:
    """Return what the sessions of a child say of each task at the step it was drawn at last.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child.
    today : date
        A session of this day that has not ended is not counted yet.
    attempts : sequence of StoredAttempt or None
        All trials of the child, where they were read already.

    Returns
    -------
    list of TaskStep
        The one drawn last first. Trials of an open goal stand apart from others of the task.
    """
    sessions = [one for one in sessions_of(db, child_id) if not is_running(one, today)]
    places = {session.id: place for place, session in enumerate(sessions)}
    steps = StepsOfTasks(db)
    trials = attempts_of_child(db, child_id) if attempts is None else attempts
    found_tries = step_tries_of(db, child_id, trials, steps)
    tries = [one for one in found_tries if one.session_id in places]
    drawn: dict[str, dict[str, set[tuple[Any, ...]]]] = defaultdict(lambda: defaultdict(set))
    groups: dict[tuple[Any, ...], list[Try]] = defaultdict(list)
    for one in tries:
        groups[one.task_id, one.place, one.goal and one.goal.id].append(one)
        if _tells_step(one):
            drawn[one.task_id][one.session_id].add(one.place)
    distress = _distress(db, places)
    found = []
    for mine in groups.values():
        at = drawn[mine[0].task_id]
        newest = max(at, key=lambda session_id: places[session_id], default="")
        row = _in_a_row(mine, at, sessions)
        if row and mine[0].place in at[newest]:
            found.append(_task_step(steps, mine, row, distress))
    return sorted(found, key=lambda one: (-one.sessions[-1].day.toordinal(), one.task_name))


def is_running(session: SessionRow, today: date) -> bool:
    """Return whether a session is of this day and has not ended: its counts still change."""
    return session.day >= today and session.ended_at is None and session.closed_at is None


def _tells_step(one: Try) -> bool:
    """Return whether a trial tells at which step its task was drawn."""
    return one.standing.reason != VOIDED and not has_failed(one.facts)


def _in_a_row(
    mine: Iterable[Try],
    drawn: Mapping[str, set[tuple[Any, ...]]],
    sessions: Sequence[SessionRow],
) -> list[tuple[SessionRow, list[Try]]]:
    """Return the last sessions of a step, back to one in which the task had another step only."""
    by_session: dict[str, list[Try]] = defaultdict(list)
    for one in mine:
        by_session[one.session_id].append(one)
    row: list[tuple[SessionRow, list[Try]]] = []
    for session in reversed(sessions):
        found = by_session.get(session.id)
        if found is not None and any(_tells_step(one) for one in found):
            row.append((session, found))
        elif row and session.id in drawn and row[0][1][0].place not in drawn[session.id]:
            break
        if len(row) == IN_A_ROW:
            break
    return row[::-1]


def _task_step(
    steps: StepsOfTasks,
    mine: Sequence[Try],
    row: Sequence[tuple[SessionRow, list[Try]]],
    distress: Mapping[str, int],
) -> TaskStep:
    facts = mine[-1].facts
    rungs, guides = steps.rungs(facts)
    step = step_of(rungs, guides, facts)
    at = None if step is None else rungs.index(step)
    return TaskStep(
        task_id=facts["task_id"],
        task_name=facts["task_name"] or facts["task_id"],
        uses=frozenset(one.facts["use"] for one in mine),
        half_width_mm=facts["half_width_mm"],
        facts=[one.facts for _, tries in row for one in tries],
        step=step,
        easier=rungs[at - 1] if at else None,
        harder=None if at is None or at + 1 == len(rungs) else rungs[at + 1],
        goal=mine[-1].goal,
        sessions=[_tally(session, tries, distress) for session, tries in row],
    )


def _tally(session: SessionRow, tries: Sequence[Try], distress: Mapping[str, int]) -> Tally:
    left = Counter(one.standing.reason for one in tries if one.standing.reason is not None)
    counted = [one.standing for one in tries if one.standing.reason is None]
    with_help_known = [one for one in tries if one.standing.reason in (None, HELP_NOT_TOLD)]
    count = SessionCount(
        finished=len(counted),
        met=sum(one.met is True for one in counted),
        reached=sum(one.reached is True for one in counted),
        over=sum(one.is_over for one in counted),
        not_told=left[HELP_NOT_TOLD],
        helped=sum(one.helped for one in with_help_known),
        distress=distress.get(session.id, 0),
    )
    return Tally(session.id, session.day, count, dict(left))


def _distress(db: Session, session_ids: Iterable[str]) -> dict[str, int]:
    """Return how often distress was marked in each session, in whichever task."""
    rows = (
        select(ObservationRow.session_id, func.count())
        .where(ObservationRow.kind == DISTRESS, ObservationRow.session_id.in_(set(session_ids)))
        .group_by(ObservationRow.session_id)
    )
    return dict(db.execute(rows).all())
