"""A goal as one sentence, and how far it has come, in plain words."""

from collections.abc import Mapping
from datetime import date
from typing import Any, Protocol

from analysis.measure import Measure
from analysis.proportions import wilson_interval
from analysis.registry import measure
from server.dates import day_words
from server.numbers import (
    NO_BREAK,
    count_word,
    each_side,
    is_share,
    percent,
    trimmed,
    unit_words,
)
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.sentences_marks import CUE_WORDS
from server.wording import capital, joined, plural

ON_PATH = "in_corridor_share"
ANY_TASK = "any task"
# Labels that begin with a name keep its capital.
NAMES = ("Fréchet", "Hausdorff")
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
    return f"{on}, with the {_label(entry)} {bounds_words(asked, entry)}"


def _label(entry: Measure) -> str:
    if entry.label.startswith(NAMES):
        return entry.label
    return f"{entry.label[0].lower()}{entry.label[1:]}"


def bounds_words(criterion: Mapping[str, Any], entry: Measure) -> str:
    """Return the bounds of a criterion in words, shares as percent.

    Examples
    --------
    >>> bounds_words({"at_least": 0.8}, measure(ON_PATH)).replace(NO_BREAK, " ")
    'at least 80 %'
    >>> bounds_words({"at_most": 3.0}, measure("deviation_mean_abs")).replace(NO_BREAK, " ")
    'at most 3 mm'
    """
    words = {"at_least": "at least", "at_most": "at most"}
    return joined(
        [
            f"{word} {value_words(criterion[name], entry)}"
            for name, word in words.items()
            if criterion.get(name) is not None
        ]
    )


def value_words(value: float, entry: Measure) -> str:
    """Return a value that somebody typed, with its unit and no needless digit."""
    if is_share(entry):
        return f"{trimmed(100.0 * value, 1)}{NO_BREAK}%"
    unit = unit_words(entry.unit)
    return f"{trimmed(value)}{NO_BREAK}{unit}" if unit else trimmed(value)


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
    return f"{head} {which} that count, on {days} ({interval_words(k, n)}). Asked: {asked}."


def left_out_words(progress: Mapping[str, Any]) -> str:
    """Say which trials of a goal were not counted and why; nothing if there is none."""
    groups = progress["left_out"]
    if not groups:
        return ""
    said = [f"{one['count']} × {_because(one)}" for one in groups]
    return f"Left out: {'; '.join(said)}."


def _because(one: Mapping[str, Any]) -> str:
    words = one["words"].rstrip(".")
    why = one["because_words"]
    return words if why is None else f"{words} ({why.rstrip('.')})"
