"""Whether a harder or an easier step may be worth a thought: a suggestion, never a change.

The rule asks two sessions in a row. Checked after every trial, or after one session alone, it
would speak up for many a child whose line did not change at all.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

from server.numbers import count_word
from server.wording import plural

Verdict = Literal["up", "down", "stay", "too little to say"]
TOO_LITTLE: Verdict = "too little to say"

LEAST_FINISHED = 5
"""Fewer finished trials than this say too little of a session. [1]"""

OF = 5
MOST_FOR_DOWN, LEAST_FOR_UP = 1, 4
"""At most 1 of 5 met for a step down, at least 4 of 5 for a step up: shares if there are more."""

SESSIONS = 2
RISES = SESSIONS + 1
"""A rise in each of two sessions needs the one before them."""


class SessionCount(NamedTuple):
    """What one session says of one task at one step.

    Attributes
    ----------
    finished, met : int
        Trials that count, and how many of them met the criterion with no more help than the
        goal allows. [1]
    over : int
        How many of the finished had more help than the goal allows. [1]
    helped : int
        How many of the finished, and of those that are not told, had any help but set-up. [1]
    distress : int
        Marks of distress in the session. [1]
    reached : int or None
        How many of the finished met the criterion, whatever the help; None as many as met. [1]
    not_told : int
        Further trials that ended with help of which nobody noted how much: not counted. [1]
    """

    finished: int
    met: int
    over: int = 0
    helped: int = 0
    distress: int = 0
    reached: int | None = None
    not_told: int = 0

    @property
    def ended(self) -> int:
        """All trials of which it is known whether there was help: a rise is told by them. [1]"""
        return self.finished + self.not_told

    @property
    def with_any_help(self) -> int:
        """How many of the finished met the criterion, whatever the help. [1]"""
        return self.met if self.reached is None else self.reached


class Suggestion(NamedTuple):
    """What the rule says, and why, in sentences."""

    verdict: Verdict
    reasons: tuple[str, ...]


def suggestion(sessions: Sequence[SessionCount]) -> Suggestion:
    """Say whether the step of a task may be worth a change.

    Parameters
    ----------
    sessions : sequence of SessionCount
        Sessions in a row of one task at one step, newest last. The last two decide; the one
        before them only tells whether help or distress rose in the first of the two.

    Returns
    -------
    Suggestion
        ``up``: both sessions have 5 finished trials or more, at least 4 of 5 of them met, help
        within the goal, no mark of distress. ``down``: in both at most 1 of 5 met the criterion,
        whatever the help, or help rose in both, or distress did. ``too little to say``: fewer
        than 5 finished in either. ``stay``: otherwise, and where up and down hold at once.

    Raises
    ------
    ValueError
        If counts cannot be: below 0, or more of something than there are trials.

    Examples
    --------
    >>> suggestion([SessionCount(5, 3), SessionCount(6, 4)]).verdict
    'stay'
    >>> suggestion([SessionCount(5, 4), SessionCount(5, 5)]).verdict
    'up'
    """
    for one in sessions:
        _check(one)
    latest = sessions[-SESSIONS:]
    if len(latest) < SESSIONS or any(one.finished < LEAST_FINISHED for one in latest):
        return Suggestion(TOO_LITTLE, (*_too_little(latest), *_too_much(latest), *_rises(sessions)))
    hindrances = _against_up(latest)
    downs = (*_few_met(latest), *_rises(sessions))
    if not hindrances and downs:
        return Suggestion("stay", (_both("at least 4 of 5 met"), *downs))
    if not hindrances:
        met = _both("at least 4 of 5 met")
        return Suggestion(
            "up", (met, "Help stayed within what is allowed, and no distress was marked.")
        )
    if downs:
        return Suggestion("down", downs)
    return Suggestion("stay", hindrances)


def _check(one: SessionCount) -> None:
    counts = [count for count in one if count is not None]
    of_finished = max(one.met, one.over, one.with_any_help)
    if min(counts) < 0 or of_finished > one.finished or one.helped > one.ended:
        raise ValueError("counts must be at least 0, and met, over and helped at most finished")


def _too_little(latest: Sequence[SessionCount]) -> list[str]:
    if len(latest) < SESSIONS:
        found = "no session" if not latest else "one session"
        return [f"Two sessions in a row at this step are needed; there is {found} so far."]
    return [f"Each of the two sessions needs {LEAST_FINISHED} finished trials or more."]


def _against_up(latest: Sequence[SessionCount]) -> tuple[str, ...]:
    found = []
    if not all(OF * one.met >= LEAST_FOR_UP * one.finished for one in latest):
        found.append("A step up asks for at least 4 of 5 met in both sessions.")
    found += _too_much(latest)
    distress = sum(one.distress for one in latest)
    if distress:
        found.append(f"Distress was marked {_times(distress)}.")
    return tuple(found)


def _too_much(latest: Sequence[SessionCount]) -> list[str]:
    """Return in how many trials the help was not within the goal, as far as it is known."""
    over, not_told = sum(one.over for one in latest), sum(one.not_told for one in latest)
    found = []
    if over:
        found.append(f"More help than is allowed in {_trials(over)}: not met.")
    if not_told:
        found.append(f"Help was given and not described in {_trials(not_told)}: not counted.")
    return found


def _trials(count: int) -> str:
    return f"{count_word(count)} {plural('trial', count)}"


def _few_met(latest: Sequence[SessionCount]) -> list[str]:
    few = all(OF * one.with_any_help <= MOST_FOR_DOWN * one.finished for one in latest)
    return [_both("at most 1 of 5 met")] if few else []


def _rises(sessions: Sequence[SessionCount]) -> list[str]:
    """Return what rose from session to session, in both of the last two."""
    words: tuple[tuple[str, Callable[[SessionCount, SessionCount], bool]], ...] = (
        # As shares, so that a session with more trials is not one with more help.
        ("Help", lambda a, b: b.helped * a.ended > a.helped * b.ended),
        ("Distress", lambda a, b: b.distress > a.distress),
    )
    row = sessions[-RISES:]
    if len(row) < RISES:
        return []
    return [
        f"{word} rose in both sessions."
        for word, rose in words
        if all(rose(before, after) for before, after in pairwise(row))
    ]


def _both(what: str) -> str:
    return f"In both sessions {what}."


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count_word(count)} times")
