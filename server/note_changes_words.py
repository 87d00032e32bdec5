"""What differs from the numbers that were signed, as lines for people."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from analysis.registry import measure
from server.dates import clock_words, day_words
from server.note_draft_words import given_help
from server.note_facts import Local
from server.numbers import count_word, each_side, measured, minutes_words, percent, trimmed
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.wording import ATTENDANCE_WORDS, capital, joined, plural

Change = Mapping[str, Any]

# After this many values of one trial the others are only counted.
MOST_VALUES = 4
FIELD_WORDS = {
    "started_at": "start",
    "ended_at": "end",
    "day": "day",
    "minutes": "minutes",
    "place": "place",
    "position": "position",
    "attendance": "attendance",
    "kind": "individual or group",
    "outcome": "outcome",
    "why": "reason",
    "help": "help",
}
NOT_KNOWN, NOT_SAID = "not known", "not said"
MOMENTS = ("started_at", "ended_at")
MET_WORDS = {True: "met", False: "not met", None: "cannot be said"}
# Words that go before a value; a hand and a direction say themselves what they are.
VALUE_NAMES = {
    "hand_used": "",
    "travelled": "",
    "half_width_mm": "",
    "scores": "",
    "criterion": "criterion ",
}
SCORE_WORDS = {"on_path_pct": "on the path", "covered_pct": "covered", "moving_pct": "moving"}


def change_lines(
    changes: Iterable[Change],
    signed: Mapping[str, Any],
    live: Mapping[str, Any],
    local: Local = lambda moment: moment,
) -> list[str]:
    """Return what changed since signing, a line for each thing, values trial by trial.

    Parameters
    ----------
    changes : iterable of mapping
        Of `server.note_changes.changed_since`.
    signed, live : mapping
        The ``linnet-numbers/1`` that were compared.
    local : callable
        Brings a moment into the practice's time zone.

    Returns
    -------
    list of str
        Whole sentences.
    """
    names = _names(live) | _names(signed)
    lines: list[str] = []
    values: dict[str, list[Change]] = {}
    for one in changes:
        if one["what"] == "value_changed":
            values.setdefault(one["trial_id"], []).append(one)
        else:
            lines.append(_line(one, names, local))
    return lines + [_values(names[trial_id], mine) for trial_id, mine in values.items()]


def _names(numbers: Mapping[str, Any]) -> dict[str, str]:
    return {
        one["trial_id"]: f"trial {number}, {one['task_name'] or one['mode']}"
        for number, one in enumerate(numbers["trials"], start=1)
    }


def _line(change: Change, names: Mapping[str, str], local: Local) -> str:
    if change["what"] == "session_changed":
        return f"Of the session itself: {_fields(change, local)}."
    trial = capital(names[change["trial_id"]])
    match change["what"]:
        case "trial_added":
            late = ", late from its tablet" if change["late"] else ""
            return f"{trial}, came in after signing{late}."
        case "moved_away":
            return f"{trial}, was moved to another session."
        case "amended":
            added = change["now"] - change["signed"]
            return f"{trial}, has {count_word(added)} {plural('correction', added)} more."
        case "voided":
            return f"{trial}, was voided."
        case "used_again":
            return f"{trial}, is used again."
        case _:
            return f"{trial}, was marked again: {_fields(change, local) or 'the same once more'}."


def _fields(change: Change, local: Local) -> str:
    """Say what each field was when the note was signed, and what it is now."""
    return "; ".join(
        f"{FIELD_WORDS.get(name, name.replace('_', ' '))} "
        f"{_said(name, change['signed'][name], local)} when signed, "
        f"{_said(name, change['now'][name], local)} now"
        for name in change["fields"]
    )


def _said(name: str, value: Any, local: Local) -> str:
    if value is None or value == "":
        return NOT_SAID
    if name in MOMENTS:
        return clock_words(local(datetime.fromisoformat(value)))
    if name == "day":
        return day_words(date.fromisoformat(value))
    if name == "minutes":
        return minutes_words(value)
    if name == "help":
        return given_help(value) or NOT_SAID
    if name == "attendance":
        return ATTENDANCE_WORDS.get(value) or str(value)
    return f'"{value}"' if name == "why" else str(value).replace("_", " ")


def _values(trial: str, changes: list[Change]) -> str:
    # What reads the same in the digits that pages show is counted, not told.
    told = [words for one in changes if (words := _value(one))]
    rest = len(changes) - len(told[:MOST_VALUES])
    more = [f"{count_word(rest)} more {plural('value', rest)}"] if rest else []
    if rest and not told:
        more = [f"{count_word(rest)} {plural('value', rest)} in digits that are not shown"]
    was, now = changes[0]["signed_version"], changes[0]["now_version"]
    versions = "" if was == now else f" Analysis version {was} when signed, {now} now."
    return f"{capital(trial)}: {'; '.join([*told[:MOST_VALUES], *more])}.{versions}"


def _value(change: Change) -> str:
    """Return one value as signed and as it is now; nothing if both read the same."""
    name = change["name"]
    was, now = (_read(name, change[when]) for when in ("signed", "now"))
    return "" if was == now else f"{_label(name)}{was} when signed, {now} now"


def _label(name: str) -> str:
    if name in VALUE_NAMES:
        return VALUE_NAMES[name]
    try:
        label = measure(name).label
    except KeyError:
        # Of a release whose registry knew another name.
        label = name.replace("_", " ")
    return f"{label[0].lower()}{label[1:]} "


def _read(name: str, found: Any) -> str:
    if name in VALUE_NAMES:
        return _plain(name, found)
    if found["value"] is None:
        return NOT_KNOWN
    try:
        return measured(found["value"], measure(name))
    except KeyError:
        return trimmed(found["value"])


def _plain(name: str, value: Any) -> str:
    if value is None:
        return NOT_KNOWN
    if name == "scores":
        read = [
            f"{SCORE_WORDS[one]} {NOT_KNOWN if pct is None else percent(pct)}"
            for one, pct in value.items()
        ]
        return joined(read)
    if name == "criterion":
        return MET_WORDS[value["met"]]
    if name == "half_width_mm":
        return each_side(value)
    words = HAND_WORDS if name == "hand_used" else DIRECTION_WORDS
    return words.get(value, str(value).replace("_", " "))
