"""What a child's sessions say of each task at each step: counts for the suggestion of a step."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from analysis.registry import measure
from analysis.report import criterion_row
from analysis.trial import Criterion
from analysis.value import Value
from server.drawn_steps import StepsOfTasks, step_of
from server.goal_matching import fits, has_failed, help_reason
from server.library_steps import Step
from server.step_suggestion import SessionCount
from server.store_goals import Measured, goals_of, measured_of
from server.store_marks import counts, latest_marks, was_helped
from server.store_results import facts_with
from server.store_sessions import sessions_of
from server.store_trials import results_of, trials_of_child
from server.store_voids import voided_ids
from server.tables import GoalRow, MarkRow, ObservationRow, SessionRow

DISTRESS = "distress"
OPEN, CUT = "open", "cut"
VOIDED, NOT_MEASURED = "voided", "not_measured"
# A trial without a goal: setting it up is no help, all else is. As `HelpBody` has it.
NO_HELP: Mapping[str, Any] = {"setup": True, "cues_at_most": {}, "physical_at_most": "none"}
# No more sessions than these are looked at: the two latest, and the one before them.
IN_A_ROW = 3


class Try(NamedTuple):
    """One trial of a child, with what a step is judged by.

    Attributes
    ----------
    session_id, task_id : str
        Of which session and task.
    place : tuple
        Which step: equal for trials of one step.
    facts : dict
        Of its current result.
    goal : GoalRow or None
        The open goal it is a trial of.
    met : bool or None
        Whether the goal's criterion is met, without a goal the task's own; None if not known.
    left_out : str or None
        Why it does not count.
    over, helped : bool
        More help than the goal allows; any help but set-up.
    """

    session_id: str
    task_id: str
    place: tuple[Any, ...]
    facts: dict[str, Any]
    goal: GoalRow | None
    met: bool | None
    left_out: str | None
    over: bool
    helped: bool


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


def task_steps_of(db: Session, child_id: str, today: date) -> list[TaskStep]:
    """Return what the sessions of a child say of each task at the step it was drawn at last.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child.
    today : date
        A session of this day that has not ended is not counted yet.

    Returns
    -------
    list of TaskStep
        The one drawn last first. Trials of an open goal stand apart from others of the task.
    """
    sessions = [one for one in sessions_of(db, child_id) if not is_running(one, today)]
    places = {session.id: place for place, session in enumerate(sessions)}
    steps = StepsOfTasks(db)
    tries = [one for one in _tries(db, child_id, steps) if one.session_id in places]
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


def _tries(db: Session, child_id: str, steps: StepsOfTasks) -> list[Try]:
    trials = trials_of_child(db, child_id)
    ids = [trial.id for trial in trials]
    marks, voided = latest_marks(db, ids), voided_ids(db, ids)
    found = list(results_of(db, trials, reports=False))
    goals = [
        one
        for one in goals_of(db, child_id)
        if one.status == OPEN and measure(one.measure).scope == "trial"
    ]
    measured = {
        name: measured_of(db, (result for _, result in found), name)
        for name in {goal.measure for goal in goals}
    }
    tries: list[Try] = []
    for trial, result in found:
        facts, mark = facts_with(result), marks.get(trial.id)
        if facts["task_id"] is None or facts["mode"] == CUT:
            continue
        # A trial of two goals is counted for each by itself.
        about = [one for one in goals if fits(one.conditions, facts, mark)]
        for goal in about or (None,):
            value = None if goal is None else measured[goal.measure].get(trial.id)
            one = _try(trial.session_id, facts, mark, goal, value, voided=trial.id in voided)
            tries.append(one._replace(place=steps.place(facts)))
    return tries


def _try(
    session_id: str,
    facts: dict[str, Any],
    mark: MarkRow | None,
    goal: GoalRow | None,
    value: Measured | None,
    *,
    voided: bool,
) -> Try:
    met, allowed = _met(facts, goal, value), NO_HELP if goal is None else goal.help
    return Try(
        session_id=session_id,
        task_id=facts["task_id"],
        place=(),
        facts=facts,
        goal=goal,
        met=met,
        left_out=_left_out(mark, met, voided=voided),
        over=help_reason(allowed, None if mark is None else mark.help) is not None,
        helped=was_helped(mark),
    )


def _met(facts: Mapping[str, Any], goal: GoalRow | None, value: Measured | None) -> bool | None:
    if has_failed(facts):
        return None
    if goal is None:
        return None if facts["criterion"] is None else facts["criterion"]["met"]
    if value is None:
        return None
    criterion = Criterion(
        goal.measure, goal.criterion.get("at_least"), goal.criterion.get("at_most")
    )
    judged = criterion_row(criterion, {goal.measure: Value(value.value, value.reason)})
    return None if judged is None else judged["met"]


def _left_out(mark: MarkRow | None, met: bool | None, *, voided: bool) -> str | None:
    if voided:
        return VOIDED
    if mark is not None and not counts(mark):
        return mark.outcome
    return NOT_MEASURED if met is None else None


def _tells_step(one: Try) -> bool:
    """Return whether a trial tells at which step its task was drawn."""
    return one.left_out != VOIDED and not has_failed(one.facts)


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
    finished = [one for one in tries if one.left_out is None]
    count = SessionCount(
        finished=len(finished),
        met=sum(one.met is True for one in finished),
        over=sum(one.over for one in finished),
        helped=sum(one.helped for one in finished),
        distress=distress.get(session.id, 0),
    )
    left = Counter(one.left_out for one in tries if one.left_out is not None)
    return Tally(session.id, session.day, count, dict(left))


def _distress(db: Session, session_ids: Iterable[str]) -> dict[str, int]:
    """Return how often distress was marked in each session, in whichever task."""
    rows = (
        select(ObservationRow.session_id, func.count())
        .where(ObservationRow.kind == DISTRESS, ObservationRow.session_id.in_(set(session_ids)))
        .group_by(ObservationRow.session_id)
    )
    return dict(db.execute(rows).all())
