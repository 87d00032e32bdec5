"""What the page of one child says: goals, steps, trends, hand and direction, sessions."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from server.attempts import TRIAL
from server.child_attempts import Reading, readings_with
from server.measure_choice import Option, chosen_measure, measure_options, measure_words
from server.page_goals import goal_lists
from server.page_grid import hand_grid
from server.page_sessions import session_blocks
from server.page_steps import RULE, step_lines
from server.page_trend import baseline_until, trend_words
from server.page_words import child_words
from server.sentences import NO_NORM, SAME_SERIES
from server.settings import Settings
from server.store_attempts import attempts_of_child
from server.store_results import values_of
from server.store_sessions import sessions_of
from server.store_trials import ATTEMPTS
from server.tables import Child
from server.trend_series import series_from
from server.trial_readings import readings_from

__all__ = ["Reading", "child_page"]


def child_page(
    db: Session,
    child: Child,
    settings: Settings,
    today: date,
    measure_id: str | None,
    path_id: str | None,
) -> dict[str, Any]:
    """Return what the template of a child needs.

    Parameters
    ----------
    db : Session
        Database session.
    child : Child
        A child that the reader may see.
    settings : Settings
        Say on which day something was.
    today : date
        The practice's day.
    measure_id, path_id : str or None
        The measure and the path chosen; what is not known falls back to the first choice.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    sessions = sessions_of(db, child.id)
    measure = chosen_measure(measure_id)
    attempts = attempts_of_child(db, child.id, kinds=ATTEMPTS)
    values = values_of(db, (one.result for one in attempts), {measure.id})
    drawn = [one for one in attempts if one.trial.kind == TRIAL.name]
    readings = readings_with(drawn, values, measure.id)
    tasks = _tasks(readings)
    path = path_id if path_id in tasks else next(iter(tasks), None)
    compared = series_from(list(readings_from(drawn, values)), sessions, measure)
    series = [one for one in compared if one.path_id == path]
    until = baseline_until(db, child.id, measure.id, series)
    return {
        "child": child_words(child),
        "goals": goal_lists(db, child, settings),
        "steps": step_lines(db, child.id, today, attempts=drawn),
        "step_rule": RULE,
        "tasks": [Option(value, word, value == path) for value, word in tasks.items()],
        "measures": measure_options(measure),
        "measure_words": measure_words(measure),
        "trend": trend_words(child.id, measure, series, readings, until),
        "same_series": SAME_SERIES,
        "grid": hand_grid(readings, sessions, measure, path),
        "sessions": session_blocks(sessions, readings_with(attempts, values, measure.id)),
        "cautions": [NO_NORM],
    }


def _tasks(readings: Iterable[Reading]) -> dict[str, str]:
    """Paths the child has drawn and their names; probes first, then the most drawn."""
    found: dict[str, list[Reading]] = {}
    for reading in readings:
        path = reading.facts["path_id"]
        if path is not None:
            found.setdefault(path, []).append(reading)
    order = sorted(found, key=lambda path: (not _is_probe(found[path]), -len(found[path])))
    return {path: _task_word(found[path]) for path in order}


def _is_probe(readings: list[Reading]) -> bool:
    return any(reading.facts["use"] == "probe" for reading in readings)


def _task_word(readings: list[Reading]) -> str:
    facts = readings[-1].facts
    name = facts["task_name"] or facts["mode"]
    return f"{name} (probe)" if _is_probe(readings) else str(name)
