"""Whether the task of a goal can meet it: its measure, direction, hand and width."""

from collections.abc import Iterator

from sqlalchemy.orm import Session

from server.faults import Fault
from server.goal_bodies import CUT, ConditionsBody, GoalBody
from server.library_fit import PAPER
from server.library_steps import TaskDict
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.store_tasks import library_task, revisions_of
from server.task_asking import directions_of, hands_of, has_width

NO_TASK = "There is no such task."
NOT_IN_TASK = "This measure is not taken in this task."
NO_PATH = "This task has no path with a width: leave it empty."


def task_of_goal(db: Session, task_id: str) -> TaskDict | None:
    """Return the task that a goal names, also one that is retired; None if there is none."""
    known = library_task(task_id)
    if known is not None:
        return known
    rows = revisions_of(db, task_id)
    return rows[-1].document if rows else None


def fitting_faults(db: Session, body: GoalBody) -> Iterator[Fault]:
    """Yield why no trial of the goal's task could ever count towards it.

    Parameters
    ----------
    db : Session
        Database session.
    body : GoalBody
        From a request.

    Yields
    ------
    Fault
        For each part that does not fit; none for a goal of any task.
    """
    asked = body.conditions
    if asked.task_id is None:
        return
    task = task_of_goal(db, asked.task_id)
    if task is None:
        yield Fault("/conditions/task_id", NO_TASK)
        return
    if not _is_measured(body.measure, task):
        yield Fault("/measure", NOT_IN_TASK)
    yield from _condition_faults(asked, task)


def _is_measured(measure_id: str, task: TaskDict) -> bool:
    # The analysis takes a second to load; nothing else here needs it.
    from analysis.registry import MEASURES

    entry = next((one for one in MEASURES if one.id == measure_id), None)
    if entry is None:
        # It is told of elsewhere.
        return True
    if entry.scope == CUT:
        return bool(task["mode"] == CUT)
    # On paper no line is recorded.
    return task["mode"] != CUT and task["mode"] in entry.modes and task.get("medium") != PAPER


def _condition_faults(asked: ConditionsBody, task: TaskDict) -> Iterator[Fault]:
    ways, hands = directions_of(task), hands_of(task)
    if asked.direction is not None and asked.direction not in ways:
        yield Fault("/conditions/direction", _direction_words(ways))
    if asked.hand is not None and asked.hand not in hands:
        words = _either([HAND_WORDS[hand] for hand in hands])
        yield Fault("/conditions/hand", f"This task can be asked for {words}.")
    # A plan may ask for any width of a path, so there is only one that none can meet.
    if asked.corridor_mm is not None and not has_width(task):
        yield Fault("/conditions/corridor_mm", NO_PATH)


def _direction_words(ways: list[str]) -> str:
    words = [DIRECTION_WORDS[way] for way in ways if way in DIRECTION_WORDS]
    if not words:
        return "This task has no direction."
    return f"This task can be drawn {_either(words)}."


def _either(words: list[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last
