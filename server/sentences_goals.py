"""A goal as one sentence, and how far it has come, in plain words."""

from collections.abc import Mapping
from datetime import date
from typing import Any, Protocol

from analysis.proportions import wilson_interval
from analysis.registry import measure
from server.dates import day_words
from server.numbers import NO_BREAK, count_word, each_side, percent
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.sentences_criterion import bounds_words, label_words, value_words
from server.sentences_marks import CUE_WORDS
from server.wording import capital, joined, plural

ON_PATH = "in_corridor_share"
ANY_TASK = "any task"
NOTE_HELP = "Help can still be noted on the page of each trial."
STATUS_WORDS = {
    "open": "open",
    "met": "met",
    "continued": "continued",
    "changed": "changed",
    "stopped": "stopped",
}


class Goal(Protocol):
    """What a sentence needs of a goal."""

    measure: str
    criterion: dict[str, Any]
    k: int
    n: int
    days: int
    conditions: dict[str, Any]
    help: dict[str, Any]
    purpose: str
    due: date | None
    baseline: dict[str, Any] | None


def goal_sentence(goal: Goal, name: str, task_name: str | None) -> str:
    """Say a goal in one sentence.

    Parameters
    ----------
    goal : Goal
        One version of it.
    name : str
        What pages call the child.
    task_name : str or None
        Name of the goal's task; None if it may be any.

    Returns
    -------
    str
        By when, during what, who, does what, on which task, how near, how, with how much help,
        how often.
    """
    purpose = " ".join(goal.purpose.split()).rstrip(".")
    when = [] if goal.due is None else [f"by {day_words(goal.due)}"]
    asked = [word for word in (*_how(goal.conditions), _help(goal.help)) if word]
    days = "" if goal.days == 1 else f" on {goal.days}{NO_BREAK}days"
    return (
        f"{capital(', '.join([*when, f'during {purpose}']))}, {name} will "
        f"{_action(goal, task_name or ANY_TASK)}, {', '.join(asked)}, in "
        f"{goal.k} of {goal.n} finished {plural('trial', goal.n)}{days}."
    )


def _action(goal: Goal, task: str) -> str:
    entry, asked = measure(goal.measure), goal.criterion
    width_mm = goal.conditions.get("corridor_mm")
    beside = [] if width_mm is None else [f"within {each_side(width_mm / 2.0)}"]
    if entry.id == ON_PATH and "at_most" not in asked:
        on = ", ".join([f"stay on the path of {task}", *beside])
        return f"{on}, for {bounds_words(asked, entry)} of the line"
    verb = "cut" if entry.scope == "cut" else "do"
    on = ", ".join([f"{verb} {task}", *beside])
    return f"{on}, with the {label_words(entry)} {bounds_words(asked, entry)}"


def _how(conditions: Mapping[str, Any]) -> list[str]:
    plain = [conditions.get(name, "").replace("_", " ") for name in ("position", "tool")]
    return [
        HAND_WORDS.get(conditions.get("hand", ""), ""),
        DIRECTION_WORDS.get(conditions.get("direction", ""), ""),
        *plain,
    ]


def _help(allowed: Mapping[str, Any]) -> str:
    words = ["set-up"] if allowed.get("setup", True) else []
    cues = allowed.get("cues_at_most") or {}
    for kind, word in CUE_WORDS.items():
        count = cues.get(kind, 0)
        if count:
            words.append(f"{count_word(count)} {plural(word, count)}")
    physical = allowed.get("physical_at_most", "none")
    if physical != "none":
        words.append(f"{physical} physical help")
    if not words:
        return "without help"
    return "with no help but set-up" if words == ["set-up"] else f"with at most {joined(words)}"


def interval_words(k: int, n: int) -> str:
    """Return the interval in which the true share may lie, given k of n.

    Examples
    --------
    >>> interval_words(4, 5).replace(NO_BREAK, " ")
    '95 % interval 38 to 96 %'
    """
    low, high = interval_ends(k, n)
    return f"95{NO_BREAK}% interval {low} to {high}"


def interval_ends(k: int, n: int) -> tuple[str, str]:
    """Return both ends of that interval, the unit with the second.

    Examples
    --------
    >>> [end.replace(NO_BREAK, " ") for end in interval_ends(4, 5)]
    ['38', '96 %']
    """
    low, high = (percent(100.0 * end) for end in wilson_interval(k, n))
    return low.removesuffix(f"{NO_BREAK}%"), high


def baseline_words(goal: Goal) -> str:
    """Return the baseline of a goal as a sentence; nothing without one."""
    if goal.baseline is None:
        return ""
    known = goal.baseline
    day = day_words(date.fromisoformat(known["day"]))
    value = known.get("value")
    measured = "" if value is None else f"; {value_words(value, measure(goal.measure))} measured"
    k, n = known["k"], known["n"]
    return f"Baseline: {k} of {n} on {day} ({interval_words(k, n)}){measured}."


def progress_words(progress: Mapping[str, Any]) -> str:
    """Say how far a goal has come: counts and interval, no judgement.

    Parameters
    ----------
    progress : mapping
        Of `server.goal_progress.progress_of`.

    Returns
    -------
    str
        One sentence or two.
    """
    latest, wanted = progress["latest"], progress["wanted"]
    since = day_words(date.fromisoformat(progress["since"]))
    days = f"{latest['days']} {plural('day', latest['days'])}"
    asked = f"{wanted['k']} of {wanted['n']} on {wanted['days']} {plural('day', wanted['days'])}"
    if latest["n"] == 0:
        return f"No trial that counts since {since}. Asked: {asked}."
    k, n = latest["k"], latest["n"]
    which = f"{k} of {n} trials" if latest["reason"] else f"{k} of the latest {n} trials"
    head = "So far met in" if latest["reason"] else "Met in"
    said = f"{head} {which} that count, on {days} ({interval_words(k, n)})."
    return " ".join(word for word in (said, over_words(latest["over"]), f"Asked: {asked}.") if word)


def over_words(over: int) -> str:
    """Return in how many trials that count there was too much help; nothing if in none.

    Examples
    --------
    >>> over_words(2), over_words(0)
    ('More help than the goal allows in 2 of these: not met.', '')
    """
    return f"More help than the goal allows in {over} of these: not met." if over else ""


def left_out_words(progress: Mapping[str, Any]) -> str:
    """Say which trials of a goal were not counted and why; nothing if there is none."""
    groups = progress["left_out"]
    if not groups:
        return ""
    said = [f"{one['count']} × {_because(one)}" for one in groups]
    unsaid = {"help_not_told", "help_not_noted"} & {one["reason"] for one in groups}
    return f"Left out: {'; '.join(said)}.{f' {NOTE_HELP}' if unsaid else ''}"


def _because(one: Mapping[str, Any]) -> str:
    words = one["words"].rstrip(".")
    why = one["because_words"]
    return words if why is None else f"{words} ({why.rstrip('.')})"
