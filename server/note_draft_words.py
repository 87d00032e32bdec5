"""Phrases of a drafted note: what was asked, which help was given, what happened at the midline."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from analysis.registry import measure
from server.numbers import count_word, is_share, trimmed, unit_words
from server.sentences_criterion import bounds_said, label_words
from server.sentences_marks import help_words
from server.store_marks import SET_UP
from server.wording import joined, plural

Numbers = Mapping[str, Any]

# Words that only a person may write of a child; what holds one is not carried into a draft.
HUMAN_ONLY = re.compile(r"\b(improv\w*|(ab)?normal\w*|should)\b", re.IGNORECASE)

_DOTS = frozenset({"tap", "join"})
_PHRASES = {
    "in_corridor_share": "on the path for {} of its length",
    "hit_share": "{} of the dots hit at the first contact",
    "completion": "{} of the line drawn",
    "pressure_in_band_share": "pressure inside the asked band for {} of the time",
    "cut_within_tolerance_share": "edge within the band for {} of its length",
}
_DOTS_MET = "{} of the dots met"
_ENTERED = {"largest_stray_mm": "farthest from the line, by ruler,"}
WHOLE = 1.0


def own_words(text: str | None) -> str:
    r"""Return the first line of what an adult wrote, to be quoted in a draft.

    Empty if there is nothing, or if it holds a word that a draft never says.

    Examples
    --------
    >>> own_words("the bell\nagain"), own_words("much improved"), own_words(None)
    ('the bell', '', '')
    """
    lines = (text or "").strip().splitlines()
    first = lines[0].strip().rstrip(".") if lines else ""
    return "" if HUMAN_ONLY.search(first) else first


def criterion_words(criterion: Numbers, mode: str) -> str:
    """Return what was asked, to stand before "in 4 of 5 finished trials".

    Parameters
    ----------
    criterion : mapping
        Of a group of ``linnet-numbers/1``.
    mode : str
        Mode of the task.

    Examples
    --------
    >>> criterion_words({"measure": "in_corridor_share", "at_least": 0.8, "at_most": None}, "trace")
    'on the path for at least 80 % of its length'
    >>> criterion_words({"count": "gaps", "at_least": None, "at_most": 2}, "cut")
    'gaps at most 2'
    """
    if criterion.get("count") is not None:
        return f"{criterion['count'].replace('_', ' ')} {_bounds(criterion, 1.0, '')}"
    if criterion.get("entered") is not None:
        return f"{_ENTERED[criterion['entered']]} {_bounds(criterion, 1.0, ' mm')}"
    name = criterion["measure"]
    try:
        entry = measure(name)
    except KeyError:
        # Of a release whose registry knew another name.
        return f"{name.replace('_', ' ')} {_bounds(criterion, 1.0, '')}"
    if is_share(entry):
        bounds = _bounds(criterion, 100.0, " %")
        phrase = _PHRASES.get(name, f"{label_words(entry)} {{}}")
        if name == "completion":
            phrase = _DOTS_MET if mode in _DOTS else phrase
            whole = criterion["at_least"] == WHOLE and criterion["at_most"] is None
            bounds = "all" if whole else bounds
        return phrase.format(bounds)
    unit = unit_words(entry.unit)
    return f"{label_words(entry)} {_bounds(criterion, 1.0, f' {unit}' if unit else '')}"


def _bounds(criterion: Numbers, factor: float, unit: str) -> str:
    return bounds_said(criterion, lambda bound: f"{trimmed(factor * bound)}{unit}")


def given_help(noted: Mapping[str, Any] | None) -> str:
    """Return help in words without set-up, which is none; "" if nothing was noted.

    Examples
    --------
    >>> given_help({"setup": True, "cues": {"verbal": 2}, "physical": "none"})
    'two verbal cues'
    >>> given_help({"given": True}), given_help({"physical": "none"}), given_help(None)
    ('help that was not described', 'no help', '')
    """
    if noted is None:
        return ""
    words = help_words({name: value for name, value in noted.items() if name not in SET_UP})
    said = {"none": "no help", "some, not described": "help that was not described"}
    return said.get(words, words)


def help_clause(trials: Sequence[Numbers]) -> str:
    """Return which help was given in the trials that count; nothing for no trial.

    Parameters
    ----------
    trials : sequence of mapping
        Trials of ``linnet-numbers/1`` that share what was asked.

    Examples
    --------
    >>> ok = {"helped": False, "outcome": "finished", "help": None}
    >>> one = {"helped": True, "outcome": "finished", "help": {"cues": {"verbal": 1}}}
    >>> help_clause([ok, ok]), help_clause([one, ok]), help_clause([one, one])
    ('no help after set-up', 'help in 1 of 2 (one verbal cue)', 'one verbal cue each')
    """
    count = len(trials)
    helped = [one for one in trials if one["helped"]]
    # Who says how a trial ended, or notes set-up alone, says that there was no more help.
    silent = [one for one in trials if one["outcome"] is None and not one["help"]]
    if not trials:
        return ""
    if len(helped) == count:
        return _all_helped(helped)
    clauses = []
    if helped:
        clauses.append(f"help in {len(helped)} of {count} ({_told(helped)})")
    if silent:
        of = "" if len(silent) == count else f" in {len(silent)} of {count}"
        clauses.append(f"help not noted{of}")
    return joined(clauses) or "no help after set-up"


def _all_helped(helped: Sequence[Numbers]) -> str:
    told = {given_help(one["help"]) for one in helped}
    if len(told) == 1:
        return _told(helped)
    cues = [_verbal_only(one["help"]) for one in helped]
    if None not in cues:
        few, many = min(filter(None, cues)), max(filter(None, cues))
        between = "or" if many - few == 1 else "to"
        return f"{count_word(few)} {between} {count_word(many)} verbal cues each"
    return f"help in {len(helped)} of {len(helped)} ({_told(helped)})"


def _verbal_only(noted: Mapping[str, Any]) -> int | None:
    """Return how many verbal cues were given, if that was all the help."""
    count = int((noted.get("cues") or {}).get("verbal") or 0)
    return count if given_help(noted) == given_help({"cues": {"verbal": count}}) else None


def _told(helped: Sequence[Numbers]) -> str:
    counted = Counter(given_help(one["help"]) for one in helped)
    if len(counted) == 1:
        return next(iter(counted)) + (" each" if len(helped) > 1 else "")
    return ", ".join(f"{words} in {times}" for words, times in counted.items())


def midline_clause(trials: Sequence[Numbers]) -> str:
    """Return what happened at the midline, for the trials in which that is known.

    Parameters
    ----------
    trials : sequence of mapping
        Trials of ``linnet-numbers/1``.

    Returns
    -------
    str
        Nothing where no guide asks for a crossing, or no midline was given.
    """
    found = [
        (share, lifts)
        for one in trials
        if (share := _value(one, "midline_crossing_share")) is not None
        and (lifts := _value(one, "midline_lift_count")) is not None
    ]
    if not found:
        return ""
    lifted = sum(lifts > 0 for _, lifts in found)
    whole = sum(share >= WHOLE for share, _ in found)
    if len(found) == 1:
        crossed = "midline crossed without lifting" if whole else "midline not crossed in one go"
        return "pen lifted at the midline" if lifted else crossed
    clauses = []
    if lifted:
        clauses.append(f"pen lifted at the midline in {lifted} of {len(found)}")
    if not lifted or lifted + whole < len(found):
        clauses.append(f"midline crossed without lifting in {whole} of {len(found)}")
    return ", ".join(clauses)


def _value(trial: Numbers, name: str) -> float | None:
    found = trial["measures"].get(name)
    return None if found is None else found["value"]


def paper_clauses(trials: Sequence[Numbers]) -> Iterator[str]:
    """Yield what an adult counted on paper and found with a ruler, attempt by attempt."""
    counted: dict[str, list[str]] = {}
    for one in trials:
        for name, count in (one["counts"] or {}).items():
            counted.setdefault(name, []).append(trimmed(count))
    for name, counts in counted.items():
        yield f"{name.replace('_', ' ')} {joined(counts)}"
    strays = [
        trimmed(one["largest_stray_mm"]) for one in trials if one["largest_stray_mm"] is not None
    ]
    if strays:
        yield f"farthest from the line, by ruler, {joined(strays)} mm"


def finished(count: int) -> str:
    """Return a number of finished trials.

    Examples
    --------
    >>> finished(1), finished(5)
    ('1 finished trial', '5 finished trials')
    """
    return f"{count} finished {plural('trial', count)}"
