"""The trials of a child, each with what a step is judged by."""

from collections.abc import Sequence
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from analysis.registry import measure
from server.drawn_steps import StepsOfTasks
from server.goal_bodies import CUT, OPEN
from server.goal_counting import Standing, standing_in_goal, standing_in_task
from server.store_attempts import StoredAttempt
from server.store_goals import goals_of, measured_of
from server.store_marks import was_helped
from server.tables import GoalRow


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
    standing : Standing
        Whether it counts, and whether the goal is met in it; without a goal the task's own
        criterion.
    helped : bool
        Any help but set-up.
    """

    session_id: str
    task_id: str
    place: tuple[Any, ...]
    facts: dict[str, Any]
    goal: GoalRow | None
    standing: Standing
    helped: bool


def step_tries_of(
    db: Session, child_id: str, attempts: Sequence[StoredAttempt], steps: StepsOfTasks
) -> list[Try]:
    """Return the trials of a child that were drawn at a step, in order.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child.
    attempts : sequence of StoredAttempt
        All its trials, in order.
    steps : StepsOfTasks
        Steps of tasks.

    Returns
    -------
    list of Try
        A trial of two open goals is there twice, once for each: it is counted for each alone.
    """
    goals = _open_goals(db, child_id)
    measured = {
        name: measured_of(db, (one.result for one in attempts), name)
        for name in {goal.measure for goal in goals}
    }
    tries: list[Try] = []
    for one in attempts:
        facts, trial = one.facts, one.trial
        if facts["task_id"] is None or facts["mode"] == CUT:
            continue
        standings: list[tuple[GoalRow | None, Standing]] = []
        for goal in goals:
            value = measured[goal.measure].get(trial.id)
            told = standing_in_goal(goal, facts, one.mark, value, voided=one.voided)
            standings += [] if told is None else [(goal, told)]
        if not standings:
            standings = [(None, standing_in_task(facts, one.mark, voided=one.voided))]
        of_trial = (trial.session_id, facts["task_id"], steps.place(facts), facts)
        helped = was_helped(one.mark)
        tries += [Try(*of_trial, goal, standing, helped) for goal, standing in standings]
    return tries


def _open_goals(db: Session, child_id: str) -> list[GoalRow]:
    return [
        one
        for one in goals_of(db, child_id)
        if one.status == OPEN and measure(one.measure).scope == "trial"
    ]
