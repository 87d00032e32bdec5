"""Tasks, ways and help in the words that a family uses."""

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from server.wording import capital, joined


class Doing(NamedTuple):
    """What a child did in a task: the verb, and what it goes with, for one and for many."""

    verb: str
    one: str
    many: str


TASKS: Mapping[str, Doing] = {
    "quay-edge": Doing("drew", "a straight line", "straight lines"),
    "flagpole": Doing("drew", "an upright line", "upright lines"),
    "gangway": Doing("drew", "a slanted line", "slanted lines"),
    "high-bridge": Doing("drew", "a high bridge", "high bridges"),
    "low-bridge": Doing("drew", "a low bridge", "low bridges"),
    "swell": Doing("drew", "a line of waves", "lines of waves"),
    "buoy": Doing("drew", "a circle", "circles"),
    "hatch": Doing("drew", "a square", "squares"),
    "sail-seam": Doing("drew", "a zigzag line", "zigzag lines"),
    "two-islands": Doing("drew", "a figure of eight", "figures of eight"),
    "slow-tide": Doing("drew", "a line with even pressure", "lines with even pressure"),
    "portholes": Doing("tapped", "dots", "dots"),
    "mooring-posts": Doing("joined", "dots", "dots"),
    "night-beacons": Doing("joined", "dots that lie far apart", "dots that lie far apart"),
    "two-oars": Doing("drew", "a pair of lines with both hands", "pairs of lines with both hands"),
    "capstan": Doing(
        "drew",
        "a circle with one hand while the other kept still",
        "circles with one hand while the other kept still",
    ),
    "wide-bridge": Doing(
        "drew", "a very wide bridge with the whole arm", "very wide bridges with the whole arm"
    ),
    "tar-line": Doing("squeezed", "glue along a wavy line", "glue along wavy lines"),
    "ticket-snips": Doing("snipped", "paper tickets", "paper tickets"),
    "rope-lengths": Doing("cut", "a straight strip of paper", "straight strips of paper"),
    "bunting-curve": Doing("cut", "a round paper flag", "round paper flags"),
    "life-ring": Doing("cut", "a paper circle", "paper circles"),
    "crate-card": Doing("cut", "a square of card", "squares of card"),
    "punch-row": Doing("punched", "holes in a row", "rows of holes"),
}
# Tasks of a practice's own bear names that a family need not know.
MODES: Mapping[str, Doing] = {
    "trace": Doing("drew", "a line", "lines"),
    "tap": Doing("tapped", "dots", "dots"),
    "join": Doing("joined", "dots", "dots"),
    "both": Doing("drew", "a pair of lines with both hands", "pairs of lines with both hands"),
    "cut": Doing("cut", "a paper shape", "paper shapes"),
}
# A pen drawn along a cutting line is no cutting.
PEN_ON_CUTTING_LINE = Doing("followed", "a cutting line with the pen", "cutting lines with the pen")
OTHER = Doing("did", "a task", "tasks")

WAYS = {
    "left_to_right": "from left to right",
    "right_to_left": "from right to left",
    "downward": "from top to bottom",
    "upward": "from bottom to top",
    "clockwise": "round as the clock goes",
    "anticlockwise": "round against the clock",
}

HANDS = {"left": "with the left hand", "right": "with the right hand"}


def where_words(trial: Mapping[str, Any], *, hand: bool = True, way: bool = True) -> str:
    """Return with which hand and which way something was drawn, as far as it is known."""
    travelled = trial["travelled"] or trial["condition"]["direction"] or ""
    words = [
        HANDS.get(trial["hand_used"] or "", "") if hand else "",
        WAYS.get(travelled, "") if way else "",
    ]
    return " ".join(word for word in words if word)


def picture_words(trial: Mapping[str, Any], name: str) -> str:
    """Say what a picture of one line shows: what, whose, with which hand, which way."""
    doing = doing_of(trial["kind"], trial["task_id"], trial["mode"])
    where = where_words(trial)
    return f"{capital(doing.one)} that {name} {doing.verb} that day{where and f' {where}'}."


def doing_of(kind: str, task_id: str | None, mode: str) -> Doing:
    """Return what a child did in one attempt.

    Parameters
    ----------
    kind : str
        ``trial`` on a tablet; ``cut`` and ``entry`` on paper.
    task_id : str or None
        Of the library, or the practice's own.
    mode : str
        Mode of the task.
    """
    if kind == "trial" and mode == "cut":
        return PEN_ON_CUTTING_LINE
    return TASKS.get(task_id or "") or MODES.get(mode, OTHER)


def help_lead(notes: Iterable[Mapping[str, Any]]) -> str:
    """Return the help of some tries as a beginning of a sentence.

    Examples
    --------
    >>> help_lead([{"cues": {"verbal": 1}}])
    'with a reminder'
    >>> help_lead([{"cues": {"gesture": 2}, "physical": "minimal"}])
    'with reminders and a helping hand'
    """
    reminders, shown, hand = 0, False, False
    for note in notes:
        cues = note.get("cues") or {}
        reminders += int(cues.get("verbal") or 0) + int(cues.get("gesture") or 0)
        shown = shown or bool(cues.get("demonstration"))
        hand = (
            hand or note.get("physical") not in (None, "none") or bool(note.get("hand_over_hand"))
        )
    words = ["a reminder" if reminders == 1 else "reminders"] if reminders else []
    words += ["someone showing how first"] if shown else []
    words += ["a helping hand"] if hand else []
    return f"with {joined(words) or 'some help'}"


def done_words(done: Iterable[tuple[Doing, str, int]]) -> str:
    """Return what was done as the end of a sentence, one clause for each verb.

    Parameters
    ----------
    done : iterable of tuple
        What was done, which way (may be empty), how often.

    Examples
    --------
    >>> done_words([(TASKS["buoy"], "", 1), (TASKS["hatch"], "", 2), (MODES["cut"], "", 1)])
    'drew a circle and squares, and cut a paper shape'
    """
    clauses: dict[str, list[str]] = {}
    for doing, way, times in done:
        what = " ".join(word for word in (doing.one if times == 1 else doing.many, way) if word)
        found = clauses.setdefault(doing.verb, [])
        if what not in found:
            found.append(what)
    words = [f"{verb} {joined(whats)}" for verb, whats in clauses.items()]
    if len(words) == 2 and any(" and " in clause for clause in words):
        return f"{words[0]}, and {words[1]}"
    return joined(words)
