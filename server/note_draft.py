"""The objective part of a note as a draft: what was counted and noted, without a judgement."""

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any, NamedTuple

import orjson

from server.goal_matching import has_failed
from server.note_draft_words import (
    criterion_words,
    finished,
    given_help,
    help_clause,
    midline_clause,
    own_words,
    paper_clauses,
)
from server.note_facts import Local, distinct, time_words
from server.note_numbers import groups_of
from server.numbers import NO_BREAK, count_word, each_side, minutes_words
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.wording import ATTENDANCE_WORDS, capital, joined, plural, sentence_of

Numbers = Mapping[str, Any]
# What makes one line of a task, whichever way it is drawn and whatever is asked of it.
LINE = ("task_id", "task_name", "mode", "guide_id", "half_width_mm", "hand")
# Equal words for lines that are not equal would read as one of them said twice.
ANOTHER = " (another size of it)"
NO_SPREADS: Mapping[str, str] = MappingProxyType({})

# A pen drawn along the line of a task for scissors is practice, and no criterion is met by it.
PEN_PRACTICE = "pen_practice"
REASON_WORDS = {
    "stopped": "stopped",
    "spoilt": "spoilt",
    "not_done": "not done",
    "voided": "voided",
    "not_measured": "not measured",
    "no_criterion": "without a criterion",
    PEN_PRACTICE: "as pen practice along a scissors line",
}
KIND_WORDS = {"cut": "paper and scissors", "entry": "on paper, entered by hand"}
MODE_NAMES = {
    "trace": "A line",
    "cut": "A scissors line",
    "tap": "Dots",
    "join": "Dots in order",
    "both": "Lines for both hands",
}
TICK_WORDS = {
    "helper_hand_holds": "helper hand held the paper",
    "helper_hand_turns": "helper hand turned the paper",
    "thumb_up": "thumb up in the scissors",
    "elbow_off_table": "elbow off the table",
    "trunk_still": "trunk still",
    "turned_instead_of_crossing": "turned the page or the body instead of crossing",
    "swapped_hands": "swapped hands",
    "grip_whole_hand": "grip with the whole hand",
    "grip_fingers_pronated": "grip with the fingers pronated",
    "grip_static_tripod": "static tripod grip",
    "grip_dynamic_tripod": "dynamic tripod grip",
    "grip_other": "another grip",
    "distress": "distress",
}


class Tried(NamedTuple):
    """One trial, the group it makes alone, and why it is not counted, if it is not."""

    trial: Numbers
    group: Numbers
    left_out: str | None


def objective(
    numbers: Numbers, child: str, local: Local, spreads: Mapping[str, str] = NO_SPREADS
) -> str:
    """Return the drafted objective part of a note.

    Parameters
    ----------
    numbers : mapping
        ``linnet-numbers/1`` of the session.
    child : str
        The child as desk pages name it.
    local : callable
        Brings a moment into the practice's time zone.
    spreads : mapping
        Of `server.note_spread.spread_clauses`: this session against earlier ones, by trial.

    Returns
    -------
    str
        Lines of plain sentences: head, conditions, one line for each task, width and hand,
        what was left out, activities, rest, what was ticked. What is not known is not said.
    """
    tried = [_tried(one) for one in numbers["trials"]]
    seen = numbers["observations"]
    lines = [
        _head(numbers["session"], child, local),
        _conditions(numbers["session"], tried),
        *_tasks(tried, spreads),
        _counted(tried),
        _activities([one for one in seen if one["kind"] == "activity"]),
        _rests([one for one in seen if one["kind"] == "rest"]),
        _ticks([one for one in seen if one["kind"] in TICK_WORDS]),
    ]
    return "\n".join(line for line in lines if line).replace(NO_BREAK, " ")


def _tried(trial: Numbers) -> Tried:
    # What one trial makes as a group of its own: the rule of k of n stands in one place only.
    (group,) = groups_of([dict(trial)])
    reason = next((name for name, count in group["left_out"].items() if count), None)
    if is_pen_practice(trial) and reason in (None, "not_measured", "no_criterion"):
        reason = PEN_PRACTICE
    return Tried(trial, group, reason)


def is_pen_practice(trial: Numbers) -> bool:
    """Return whether a pen was drawn along a line that is meant for scissors."""
    return bool(trial["kind"] == "trial" and trial["mode"] == "cut")


def _head(session: Numbers, child: str, local: Local) -> str:
    words = [
        child,
        time_words(session, local),
        session["kind"] or "",
        session["place"] or "",
        ATTENDANCE_WORDS.get(session["attendance"] or "", ""),
    ]
    return f"{', '.join(word for word in words if word)}."


def _conditions(session: Numbers, tried: Sequence[Tried]) -> str:
    """Say position and tool, where somebody said them."""
    asked = [one.trial["condition"] for one in tried]
    positions = distinct([session["position"], *(one["position"] for one in asked)])
    tools = distinct([one["tool"] for one in asked])
    words = [joined(positions), f"tool: {joined(tools)}" if tools else ""]
    return sentence_of(", ".join(word for word in words if word))


def _tasks(tried: Sequence[Tried], spreads: Mapping[str, str]) -> Iterator[str]:
    heads: dict[bytes, list[Tried]] = {}
    for one in tried:
        key = [one.trial["kind"], *(one.group[name] for name in LINE)]
        heads.setdefault(orjson.dumps(key), []).append(one)
    said: set[str] = set()
    for mine in heads.values():
        head = task_words(mine[0].trial, mine[0].group)
        another = ANOTHER if head in said else ""
        said.add(head)
        yield f"{head}{another}. {' '.join(_ways(mine, spreads))}"


def task_words(trial: Numbers, group: Numbers) -> str:
    """Return task, width and hand of a group, such as "High Bridge, 6 mm each side, left hand"."""
    width = ""
    if "uncalibrated" in trial["flags"]:
        width = "width in mm not known"
    elif group["half_width_mm"] is not None:
        width = each_side(group["half_width_mm"])
    elif (group["criterion"] or {}).get("measure") == "in_corridor_share":
        failed = has_failed(trial)
        width = "width in mm not known" if failed else "width varies along the line"
    words = [
        group["task_name"] or MODE_NAMES.get(group["mode"], "A task"),
        width,
        HAND_WORDS.get(group["hand"] or "", "hand not noted"),
        KIND_WORDS.get(trial["kind"], ""),
        "pen along the scissors line, as practice" if is_pen_practice(trial) else "",
    ]
    return ", ".join(word for word in words if word)


def _ways(tried: Sequence[Tried], spreads: Mapping[str, str]) -> Iterator[str]:
    ways: dict[bytes, list[Tried]] = {}
    for one in tried:
        key = orjson.dumps([one.group["direction"], one.group["criterion"]])
        ways.setdefault(key, []).append(one)
    before: Numbers | None = None
    for mine in ways.values():
        group = mine[0].group
        asked = group["criterion"]
        words = _way(mine, spreads, again=asked is not None and asked == before)
        if any(one.left_out is None for one in mine):
            before = asked
        direction = DIRECTION_WORDS.get(group["direction"] or "")
        yield f"{capital(direction)}: {words}." if direction else sentence_of(words)


def _way(mine: Sequence[Tried], spreads: Mapping[str, str], *, again: bool) -> str:
    """Say what came of equal trials: k of n, help, midline, paper, and earlier sessions."""
    counted = [one.trial for one in mine if one.left_out is None]
    done = counted or [
        one.trial for one in mine if one.left_out in ("no_criterion", PEN_PRACTICE, "not_measured")
    ]
    if not done:
        return "no trial that counts"
    group = mine[0].group
    if counted:
        met = sum(one["criterion"]["met"] for one in counted)
        asked = "" if again else criterion_words(group["criterion"], group["mode"])
        result = f"{asked} in {met} of {finished(len(counted))}" if asked else ""
        result = result or f"the same in {met} of {finished(len(counted))}"
    else:
        result = finished(len(done))
    helped = help_clause(done)
    first = f"{result}, {helped}" if helped else result
    # Trials of two pens or tablets are two series: then each is named by nothing here.
    earlier = {spreads.get(one["trial_id"], "") for one in counted}
    more = [midline_clause(done), *paper_clauses(done), earlier.pop() if len(earlier) == 1 else ""]
    return "; ".join([first, *filter(None, more)])


def _counted(tried: Sequence[Tried]) -> str:
    """Say how many trials count, and why the others do not: the parts add up to all of them."""
    if not tried:
        return "No trial came in."
    count = len(tried)
    out = [one for one in tried if one.left_out is not None]
    if not out:
        return "The one trial counted." if count == 1 else f"All {count} trials counted."
    reasons = [
        _reason(name, mine)
        for name in REASON_WORDS
        if (mine := [one.trial for one in out if one.left_out == name])
    ]
    return (
        f"{count} {plural('trial', count)} in all, {count - len(out)} counted. "
        f"Kept, not counted: {joined(reasons)}."
    )


def _reason(name: str, trials: Sequence[Numbers]) -> str:
    given = list(dict.fromkeys(filter(None, (own_words(one["why"]) for one in trials))))
    why = f" ({'; '.join(given)})" if given else ""
    return f"{count_word(len(trials))} {REASON_WORDS[name]}{why}"


def _activities(seen: Sequence[Numbers]) -> str:
    said = []
    for one in seen:
        words = [
            own_words(one["text"]) or "an activity",
            _lasted(one),
            given_help(one["help"]),
        ]
        said.append(", ".join(word for word in words if word))
    return f"Off the tablet: {'; '.join(said)}." if said else ""


def _rests(seen: Sequence[Numbers]) -> str:
    said = []
    for one in seen:
        why = own_words(one["text"])
        long = _lasted(one) or "minutes not noted"
        said.append(f"{long} ({why})" if why else long)
    return f"Rest: {'; '.join(said)}." if said else ""


def _lasted(seen: Numbers) -> str:
    return "" if seen["minutes"] is None else minutes_words(seen["minutes"])


def _ticks(seen: Sequence[Numbers]) -> str:
    said = []
    for kind, words in TICK_WORDS.items():
        mine = [one for one in seen if one["kind"] == kind]
        trials = {one["trial_id"] for one in mine} - {None}
        often = f" in {len(trials)} trials" if len(trials) > 1 else ""
        why = "; ".join(dict.fromkeys(filter(None, (own_words(one["text"]) for one in mine))))
        if mine:
            said.append(f"{words}{often}{f' ({why})' if why else ''}")
    return f"Seen: {', '.join(said)}." if said else ""
