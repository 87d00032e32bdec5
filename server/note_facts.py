"""The facts of a session as its note holds them: when, where, who came, how, towards what."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple

from server.clock_times import whole_minutes
from server.dates import clock_words, weekday_words
from server.numbers import minutes_words
from server.page_session import CAME_WORDS, KIND_WORDS
from server.wording import capital, joined

Numbers = Mapping[str, Any]
Local = Callable[[datetime], datetime]

NOT_NOTED = "not noted"
NO_GOAL = "No trial of this session counts towards an open goal."


class Fact(NamedTuple):
    """One line of facts: what it is, and what was noted of it."""

    label: str
    words: str


def time_words(session: Numbers, local: Local) -> str:
    """Return start, end and minutes of a session; "" if nothing of it is known.

    Parameters
    ----------
    session : mapping
        Of ``linnet-numbers/1``.
    local : callable
        Brings a moment into the practice's time zone.
    """
    start, end = (
        None if session[name] is None else clock_words(local(datetime.fromisoformat(session[name])))
        for name in ("started_at", "ended_at")
    )
    when = f"{start}–{end}" if start and end else f"from {start}" if start else ""
    minutes = session["minutes"]
    words = [when, "" if minutes is None else minutes_words(whole_minutes(minutes))]
    return ", ".join(word for word in words if word)


def distinct(words: Sequence[str | None]) -> list[str]:
    """Return the words that were said, each once, as they are read."""
    return list(dict.fromkeys(word.replace("_", " ") for word in words if word))


def session_facts(numbers: Numbers, local: Local) -> list[Fact]:
    """Return the facts of a session, whether they are noted or not.

    Parameters
    ----------
    numbers : mapping
        ``linnet-numbers/1``, as they are or as they were signed.
    local : callable
        Brings a moment into the practice's time zone.

    Returns
    -------
    list of Fact
        Day, time, place, attendance, individual or group, position, tool.
    """
    session = numbers["session"]
    asked = [one["condition"] for one in numbers["trials"]]
    position = joined(distinct([session["position"], *(one["position"] for one in asked)]))
    tool = joined(distinct([one["tool"] for one in asked]))
    found = [
        Fact("Day", weekday_words(date.fromisoformat(session["day"]))),
        Fact("Time", time_words(session, local)),
        Fact("Place", session["place"] or ""),
        Fact("Attendance", CAME_WORDS.get(session["attendance"] or "", "")),
        Fact("Individual or group", KIND_WORDS.get(session["kind"] or "", "")),
        Fact("Position", position),
    ]
    # Without a trial there is no tool that somebody could have noted.
    found += [Fact("Tool", tool)] if asked else []
    return [Fact(one.label, capital(one.words) or capital(NOT_NOTED)) for one in found]


def goal_lines(numbers: Numbers) -> list[str]:
    """Return the goals that were worked on in a session, each with its count.

    Parameters
    ----------
    numbers : mapping
        ``linnet-numbers/1`` with `goals`; those signed by an earlier release have none.
    """
    goals = numbers.get("goals")
    if goals is None:
        return []
    return [_goal(one) for one in goals] or [NO_GOAL]


def goal_changes(signed: Numbers, live: Numbers) -> list[str]:
    """Return which counts of goals differ from those that were signed, a sentence for each."""
    if signed.get("goals") is None:
        return []
    was, now = (
        {one["goal_id"]: one for one in numbers.get("goals") or []} for numbers in (signed, live)
    )
    lines = []
    for goal_id in dict.fromkeys([*was, *now]):
        task = (was.get(goal_id) or now[goal_id])["task"]
        before, after = (_counted(found.get(goal_id)) for found in (was, now))
        if before != after:
            lines.append(f"Goal on {task}: {before} when signed, {after} now.")
    return lines


def _goal(goal: Numbers) -> str:
    return f"{goal['sentence']} {capital(_counted(goal))} in this session."


def _counted(goal: Numbers | None) -> str:
    if goal is None:
        return "not worked on"
    met, of, left_out = goal["met"], goal["of"], goal["left_out"]
    counted = f"met in {met} of {of} trials that count" if of else "no trial that counts"
    return f"{counted}, {left_out} left out" if left_out else counted
