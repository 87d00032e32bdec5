"""The goals of a child in words: on the child's page, and each on a page of its own."""

from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from analysis.registry import MEASURES
from server.dates import day_words
from server.goal_bodies import OPEN, speaks_against
from server.goal_fitting import task_of_goal
from server.goal_progress import progress_of, since_of
from server.goal_typed import ENDS, GoalForm, fresh, typed_of
from server.library import LIBRARY
from server.page_words import child_words
from server.sentences import DIRECTION_WORDS, HAND_WORDS, NO_NORM
from server.sentences_goals import (
    STATUS_WORDS,
    baseline_words,
    goal_sentence,
    interval_words,
    left_out_words,
    over_words,
    progress_words,
)
from server.settings import Settings
from server.store_goals import goals_of, versions_of
from server.store_tasks import own_tasks
from server.tables import Child, GoalRow
from server.wording import capital

WORDS_OF_STATUS = {
    "met": "Met: a person says so, whatever the count.",
    "continued": "Continued: it goes on in another form.",
    "changed": "Changed: another goal takes its place.",
    "stopped": "Stopped: it is not worked on any more.",
    "open": "Open again.",
}


class GoalLine(NamedTuple):
    """One goal on the child's page."""

    id: str
    sentence: str
    progress: str
    left_out: str
    baseline: str
    status: str


class Choice(NamedTuple):
    """One choice of a form."""

    value: str
    word: str


def goal_lists(db: Session, child: Child, settings: Settings) -> dict[str, list[GoalLine]]:
    """Return the open and the closed goals of a child, oldest first.

    Parameters
    ----------
    db : Session
        Database session.
    child : Child
        Whose goals.
    settings : Settings
        Say which day it was.

    Returns
    -------
    dict
        ``open`` with their progress, ``closed`` with the day of their last version.
    """
    name = child_words(child).name
    found: dict[str, list[GoalLine]] = {"open": [], "closed": []}
    for goal in goals_of(db, child.id):
        told = _progress(db, versions_of(db, goal.id), settings) if goal.status == OPEN else None
        line = _line(db, goal, name, settings, told)
        found["open" if goal.status == OPEN else "closed"].append(line)
    return found


def _line(
    db: Session, goal: GoalRow, name: str, settings: Settings, told: dict[str, Any] | None
) -> GoalLine:
    sentence = goal_sentence(goal, name, task_name_of(db, goal.conditions.get("task_id")))
    status = f"{capital(STATUS_WORDS[goal.status])} since {day_words(settings.day_of(goal.at))}"
    if told is None:
        return GoalLine(goal.id, sentence, "", "", baseline_words(goal), status)
    return GoalLine(
        goal.id,
        sentence,
        progress_words(told),
        left_out_words(told),
        baseline_words(goal),
        status,
    )


def _progress(db: Session, versions: list[GoalRow], settings: Settings) -> dict[str, Any]:
    return progress_of(db, versions[-1], since_of(versions, settings.day_of(versions[0].at)))


def task_name_of(db: Session, task_id: str | None) -> str | None:
    """Return the name of a task, also of one that is retired; None if it may be any."""
    if task_id is None:
        return None
    task = task_of_goal(db, task_id)
    return task_id if task is None else str(task["name"])


def goal_page(
    db: Session,
    child: Child,
    versions: list[GoalRow],
    settings: Settings,
    *,
    form: GoalForm | None = None,
    ended: str | None = None,
) -> dict[str, Any]:
    """Return what the page of one goal needs.

    Parameters
    ----------
    db : Session
        Database session.
    child : Child
        Whose goal.
    versions : list of GoalRow
        All versions, newest last.
    settings : Settings
        Say which day it was.
    form : GoalForm or None
        What was typed, if the form is shown again; else the goal as it is now.
    ended : str or None
        The status that was chosen, if that form is shown again.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    if form is not None or ended is not None:
        # Another version may have come while this one was sent.
        versions = versions_of(db, versions[-1].id)
    goal, name = versions[-1], child_words(child).name
    stale = form is not None and form.based_on.strip() not in ("", str(goal.version))
    if form is not None and stale:
        # Its status is not typed: to store the form is not to open or end the goal.
        form = form.model_copy(update={"status": goal.status})
    told = _progress(db, versions, settings) if goal.status == OPEN else None
    task_id = goal.conditions.get("task_id")
    return form_words(db, child, form or typed_of(goal)) | {
        "line": _line(db, goal, name, settings, told),
        "goal_id": goal.id,
        "days": [] if told is None else _days(told["by_day"]),
        "versions": [
            {
                "number": one.version,
                "day": day_words(settings.day_of(one.at)),
                "status": STATUS_WORDS[one.status],
                "sentence": goal_sentence(
                    one, name, task_name_of(db, one.conditions.get("task_id"))
                ),
            }
            for one in reversed(versions)
        ],
        "based_on": str(goal.version),
        "stale": stale,
        "ends": [Choice(value, WORDS_OF_STATUS[value]) for value in ENDS if value != goal.status],
        "ended": ended,
        "folded": form is None,
        "task_id": task_id,
    }


def _days(rows: Iterable[dict[str, Any]]) -> list[dict[str, str]]:
    return [
        {
            "day": day_words(date.fromisoformat(one["day"])),
            "met": f"{one['k']} of {one['n']}",
            "interval": interval_words(one["k"], one["n"]),
            "over": over_words(one["over"]),
        }
        for one in rows
    ]


def form_words(db: Session, child: Child, form: GoalForm | None = None) -> dict[str, Any]:
    """Return what the form of a goal needs: what is typed, and what can be chosen."""
    form = form or fresh()
    return {
        "child": child_words(child),
        "typed": form,
        "task_choices": _tasks(db, form.task_id),
        "measure_choices": _measures(),
        "hand_choices": [Choice(*one) for one in HAND_WORDS.items()],
        "direction_choices": [Choice(*one) for one in DIRECTION_WORDS.items()],
        "physical_choices": [
            Choice(word, word) for word in ("none", "minimal", "moderate", "maximal", "total")
        ],
        "cautions": [NO_NORM],
        "troubles": {},
        "trouble": None,
    }


def _tasks(db: Session, chosen: str) -> list[Choice]:
    known = [Choice(task["task_id"], task["name"]) for task in LIBRARY]
    known += [Choice(row.task_id, row.document["name"]) for row in own_tasks(db)]
    if chosen and chosen not in {one.value for one in known}:
        known.append(Choice(chosen, task_name_of(db, chosen) or chosen))
    return known


def _measures() -> list[tuple[str, list[Choice]]]:
    """Return the measures that a goal can rest on, by family."""
    families: dict[str, list[Choice]] = {}
    for entry in MEASURES:
        if speaks_against(entry) is None:
            families.setdefault(entry.family, []).append(Choice(entry.id, entry.label))
    return list(families.items())
