"""What pages and the JSON door say of the step of each task: a suggestion with its counts."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from analysis.registry import measure
from server.dates import day_words
from server.goal_bodies import OPEN
from server.goal_counting import LEFT_OUT
from server.library_steps import CORRIDOR, LENGTH, Step
from server.numbers import count_word
from server.sentences import DIRECTION_WORDS, HAND_WORDS, widths_words
from server.sentences_criterion import bounds_words
from server.sentences_goals import NOTE_HELP, interval_words
from server.sentences_steps import step_words
from server.step_suggestion import SESSIONS, TOO_LITTLE, Suggestion, suggestion
from server.store_attempts import StoredAttempt
from server.store_goals import goals_of
from server.store_steps import Tally, TaskStep, task_steps_of
from server.tables import GoalRow
from server.wording import capital, joined

PROBE = "probe"
RULE = (
    "Up: the two latest sessions each have at least 5 finished trials with at least 4 of 5 met, "
    "help within the goal, no distress. Down: at most 1 of 5 met in both, whatever the help, or "
    "help or distress rising in both. Where up and down hold at once it stays. A trial with more "
    "help than is allowed counts as not met; one of which nobody noted whether there was help, or "
    "how much, is left out and not among the 5. "
    "One step at a time, one session at a time. Nothing is changed by itself."
)
BY_TASK = "counted by the task's own criterion, set-up as the only help."
NO_GOAL, OTHER_GOALS = "No open goal", "No open goal is about these trials"
OF_A_PROBE = "The probe itself stays as it is; a step is for practice."
NOT_COUNTED = {
    "voided": "voided",
    "spoilt": "spoilt",
    "stopped": "stopped",
    "not_done": "not done",
    "scoring_failed": "that could not be computed",
    "hand_unknown": "of which the hand is not known",
    "help_not_told": "with help that was not described",
    "help_not_noted": "of which nobody noted whether there was help",
    "not_measured": "without a value of the criterion",
}
NO_HELP_NOTED = {"help_not_told", "help_not_noted"}


class StepWords(NamedTuple):
    """One task at its step, in words."""

    title: str
    verdict: str
    counts: str
    reasons: list[str]
    beside: str
    about: str


def step_lines(
    db: Session, child_id: str, today: date, attempts: Sequence[StoredAttempt] | None = None
) -> dict[str, list[StepWords]]:
    """Return the suggestions for a child's tasks, in words, the task drawn last first.

    Those of which there is enough to say something are ``told``, the others ``open``.
    `attempts` are all trials of the child, where they were read already.
    """
    lines: dict[str, list[StepWords]] = {"told": [], "open": []}
    has_goal = any(goal.status == OPEN for goal in goals_of(db, child_id))
    for one in task_steps_of(db, child_id, today, attempts):
        found = _suggested(one)
        lines["open" if found.verdict == TOO_LITTLE else "told"].append(
            _words(one, found, has_goal=has_goal)
        )
    return lines


def steps_as_dicts(db: Session, child_id: str, today: date) -> list[dict[str, Any]]:
    """Return the suggestions for a child's tasks with their counts, in plain types.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child.
    today : date
        The practice's day.

    Returns
    -------
    list of dict
        ``suggestion`` is ``up``, ``down``, ``stay`` or ``too little to say``, ``reasons`` are
        sentences; ``sessions`` hold the counts, newest last: two decide, and one before them
        tells whether help or distress rose. ``half_width_mm`` is the half of the path.
    """
    return [_as_dict(one, _suggested(one)) for one in task_steps_of(db, child_id, today)]


def _suggested(one: TaskStep) -> Suggestion:
    return suggestion([tally.count for tally in one.sessions])


def _as_dict(one: TaskStep, found: Suggestion) -> dict[str, Any]:
    return {
        "task_id": one.task_id,
        "task_name": one.task_name,
        "uses": sorted(one.uses),
        "half_width_mm": one.half_width_mm,
        "step": _named(one.step),
        "easier": _named(one.easier),
        "harder": _named(one.harder),
        "goal_id": None if one.goal is None else one.goal.id,
        "suggestion": found.verdict,
        "reasons": list(found.reasons),
        "sessions": [
            {"session_id": tally.session_id, "day": tally.day.isoformat()}
            | tally.count._asdict()
            | {"left_out": tally.left_out}
            for tally in one.sessions
        ],
    }


def _named(step: Step | None) -> dict[str, Any] | None:
    if step is None:
        return None
    return {"dimension": step.dimension, "value": step.value, "unit": step.unit}


def _words(one: TaskStep, found: Suggestion, *, has_goal: bool) -> StepWords:
    where = _where(one)
    latest = one.sessions[-SESSIONS:]
    return StepWords(
        title=", ".join([one.task_name, *([where] if where else []), *_asked(one)]),
        verdict=found.verdict,
        counts=f"{_counts(latest)}{_left_out(latest)}",
        reasons=list(found.reasons),
        beside=_beside(one),
        about=" ".join(
            [_judged_by(one.goal, has_goal=has_goal), *([OF_A_PROBE] if PROBE in one.uses else [])]
        ),
    )


def _judged_by(goal: GoalRow | None, *, has_goal: bool) -> str:
    if goal is None:
        return f"{OTHER_GOALS if has_goal else NO_GOAL}: {BY_TASK}"
    entry = measure(goal.measure)
    return f"Counted by the open goal: {entry.label}, {bounds_words(goal.criterion, entry)}."


def _where(one: TaskStep) -> str:
    # How long a line is says nothing of how wide its path was.
    if one.step is not None and one.step.dimension not in (CORRIDOR, LENGTH):
        return step_words(one.step)
    return widths_words(one.facts)


def _asked(one: TaskStep) -> list[str]:
    """Return hand and direction of the goal: other trials of the task are not counted here."""
    asked = {} if one.goal is None else one.goal.conditions
    words = [HAND_WORDS.get(asked.get("hand", "")), DIRECTION_WORDS.get(asked.get("direction", ""))]
    return [word for word in words if word]


def _counts(latest: Iterable[Tally]) -> str:
    said = [_met(one) for one in latest]
    head = "Last two sessions" if len(said) > 1 else "One session"
    return f"{head}: {joined(said)}."


def _met(one: Tally) -> str:
    met, finished = one.count.met, one.count.finished
    if not finished:
        return f"no trial counted on {day_words(one.day)}"
    return f"{met} of {finished} met on {day_words(one.day)} ({interval_words(met, finished)})"


def _left_out(latest: Iterable[Tally]) -> str:
    total: dict[str, int] = {}
    for one in latest:
        for reason, count in one.left_out.items():
            total[reason] = total.get(reason, 0) + count
    said = [
        f"{count_word(total[reason])} {NOT_COUNTED[reason]}"
        for reason in LEFT_OUT
        if reason in total
    ]
    if not said:
        return ""
    hint = f" {NOTE_HELP}" if NO_HELP_NOTED & total.keys() else ""
    return f" Not counted: {joined(said)}.{hint}"


def _beside(one: TaskStep) -> str:
    if one.step is None:
        return "Which step of the task this is cannot be told from its trials."
    said = []
    for step, word in ((one.harder, "up"), (one.easier, "down")):
        words = "" if step is None else step_words(step)
        said.append(f"one step {word} is {words}" if words else f"there is no step {word}")
    return capital(f"{joined(said)}.")
