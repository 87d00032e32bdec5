"""The page for a family, drafted: what was done, what went without help, what with it.

Nothing here says how well anything went, why it went so, or what to do next: that is for
the people who know the child.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from server.dates import WEEKDAYS
from server.family_words import Doing, doing_of, done_words, help_lead, where_words
from server.wording import capital

YOUR_CHILD = "your child"
CUTTING_TASKS = frozenset({"punch-row"})
SHARP = re.compile(r"\b(?:scissor|snip|cut)", re.IGNORECASE)
ALONE, HELPED, SOMETIMES = "alone", "helped", "sometimes"


@dataclass(frozen=True)
class FamilyDraft:
    """What a machine may write for a family; an empty text has nothing to say.

    Attributes
    ----------
    did, alone, helped, breaks : str
        What was done; what without help; what with help; quiet breaks.
    cutting : bool
        Whether paper was cut or punched, so that the caution has to stand on the page.
    """

    did: str
    alone: str
    helped: str
    breaks: str
    cutting: bool


class Part(NamedTuple):
    """One task, with one hand and one way where those were otherwise: how often, what help."""

    doing: Doing
    where: str
    times: int
    help: str
    lead: str


Tries = Sequence[Mapping[str, Any]]


def family_draft(numbers: Mapping[str, Any], nickname: str | None) -> FamilyDraft:
    """Return the page for a family, as far as the numbers of a session carry it.

    Parameters
    ----------
    numbers : mapping
        ``linnet-numbers/1`` of the session.
    nickname : str or None
        How the family's child is called there; None says "your child".

    Returns
    -------
    FamilyDraft
        Without figures, measures or any word of the trade.
    """
    name = nickname or YOUR_CHILD
    parts = _parts(_counted(numbers["trials"]))
    return FamilyDraft(
        did=_did(parts, name, numbers["session"]["day"]),
        alone=_alone(parts, name),
        helped=_helped(parts, name),
        breaks=_breaks(numbers["observations"], name),
        cutting=_is_cutting(numbers),
    )


def speaks_of_cutting(texts: Iterable[str]) -> bool:
    """Return whether words speak of scissors or cutting.

    Examples
    --------
    >>> speaks_of_cutting(["Snip old tickets."]), speaks_of_cutting(["Wipe the table."])
    (True, False)
    """
    return any(SHARP.search(text) for text in texts)


def caution_words(nickname: str | None) -> str:
    """Return what stands on the page of a family wherever scissors come in."""
    name = nickname or YOUR_CHILD
    return (
        f"An adult stays beside {name}: scissors and small parts. Follow what the therapist has "
        "shown."
    )


def _counted(trials: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    return [
        one
        for one in trials
        if not one["voided"]
        and one["outcome"] in (None, "finished")
        and "nothing_drawn" not in one["flags"]
    ]


# How the tries of one task are told apart, the shortest words first.
APART = (
    {"hand": False, "way": False},
    {"hand": False, "way": True},
    {"hand": True, "way": False},
    {"hand": True, "way": True},
)


def _parts(trials: Tries) -> list[Part]:
    """Return what was done in the order in which it came first."""
    tasks: dict[Doing, list[Mapping[str, Any]]] = {}
    for one in trials:
        tasks.setdefault(_doing(one), []).append(one)
    return [
        _part(doing, where, tries)
        for doing, mine in tasks.items()
        for where, tries in _told_apart(mine).items()
    ]


def _doing(trial: Mapping[str, Any]) -> Doing:
    return doing_of(trial["kind"], trial["task_id"], trial["mode"])


def _told_apart(tries: Tries) -> dict[str, list[Mapping[str, Any]]]:
    """Return the tries of one task by hand and way, as far as help differed with them."""
    ways = []
    for apart in APART:
        groups: dict[str, list[Mapping[str, Any]]] = {}
        for one in tries:
            groups.setdefault(where_words(one, **apart), []).append(one)
        ways.append(groups)
    # The first of those with the fewest tries that have another's help said of them.
    return min(ways, key=lambda groups: sum(len(g) for g in groups.values() if _is_mixed(g)))


def _is_mixed(tries: Tries) -> bool:
    return len({(one["helped"], one["outcome"] is None) for one in tries}) > 1


def _part(doing: Doing, where: str, tries: Tries) -> Part:
    helped = [one for one in tries if one["helped"]]
    lead, given = "", ""
    if helped:
        given = HELPED if len(helped) == len(tries) else SOMETIMES
        lead = help_lead(one["help"] or {} for one in helped)
        if given == SOMETIMES:
            lead += " on one try" if len(helped) == 1 else " on some tries"
    elif all(one["outcome"] is not None for one in tries):
        # Where nobody said how it went, it is not known whether there was help.
        given = ALONE
    return Part(doing, where, len(tries), given, lead)


def _did(parts: Sequence[Part], name: str, day: str) -> str:
    if not parts:
        return ""
    times: dict[Doing, int] = {}
    for part in parts:
        times[part.doing] = times.get(part.doing, 0) + part.times
    weekday = WEEKDAYS[date.fromisoformat(day).weekday()]
    done = done_words((doing, "", count) for doing, count in times.items())
    return f"On {weekday}, {name} {done}."


def _alone(parts: Sequence[Part], name: str) -> str:
    mine = [part for part in parts if part.help == ALONE]
    if not mine:
        return ""
    if len(mine) == len(parts):
        single = len(mine) == 1 and mine[0].times == 1
        return f"{'This' if single else 'All of this'} was done without help."
    return f"Without help, {name} {_done(mine)}."


def _helped(parts: Sequence[Part], name: str) -> str:
    leads: dict[str, list[Part]] = {}
    for part in parts:
        if part.lead:
            leads.setdefault(part.lead, []).append(part)
    return " ".join(f"{capital(lead)}, {name} {_done(mine)}." for lead, mine in leads.items())


def _done(mine: Iterable[Part]) -> str:
    return done_words((part.doing, part.where, part.times) for part in mine)


def _breaks(observations: Iterable[Mapping[str, Any]], name: str) -> str:
    rests = sum(one["kind"] == "rest" for one in observations)
    if not rests:
        return ""
    return f"{capital(name)} had {'a quiet break' if rests == 1 else 'quiet breaks'}."


def _is_cutting(numbers: Mapping[str, Any]) -> bool:
    on_paper = any(
        one["kind"] != "trial" and (one["mode"] == "cut" or one["task_id"] in CUTTING_TASKS)
        for one in numbers["trials"]
        if one["outcome"] != "not_done"
    )
    said = [one["text"] or "" for one in numbers["observations"] if one["kind"] == "activity"]
    return on_paper or speaks_of_cutting(said)
