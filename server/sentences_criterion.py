"""What a criterion asks for, in words: its bounds, as they were typed."""

from collections.abc import Callable, Mapping
from typing import Any

from analysis.measure import Measure
from server.numbers import NO_BREAK, is_share, trimmed, unit_words
from server.wording import joined

BOUNDS = {"at_least": "at least", "at_most": "at most"}
# Labels that begin with a name keep its capital.
NAMES = ("Fréchet", "Hausdorff")


def bounds_words(criterion: Mapping[str, Any], entry: Measure) -> str:
    """Return the bounds of a criterion on a measure in words, shares as percent.

    Examples
    --------
    >>> from analysis.registry import measure
    >>> bounds_words({"at_least": 0.8}, measure("in_corridor_share")).replace(NO_BREAK, " ")
    'at least 80 %'
    >>> bounds_words({"at_most": 2.75}, measure("deviation_mean_abs")).replace(NO_BREAK, " ")
    'at most 2.75 mm'
    """
    return bounds_said(criterion, lambda bound: value_words(bound, entry))


def bounds_said(criterion: Mapping[str, Any], say: Callable[[float], str]) -> str:
    """Return the bounds of any criterion in words.

    Parameters
    ----------
    criterion : mapping
        With ``at_least``, ``at_most`` or both; None is none.
    say : callable
        Says one bound with its unit.

    Examples
    --------
    >>> bounds_said({"at_least": 1.0, "at_most": 2.0}, trimmed)
    'at least 1 and at most 2'
    """
    return joined(
        [
            f"{word} {say(criterion[name])}"
            for name, word in BOUNDS.items()
            if criterion.get(name) is not None
        ]
    )


def value_words(value: float, entry: Measure) -> str:
    """Return a value that somebody typed, with its unit and no needless digit.

    A signed one keeps its sign: "at least 1 mm right" would say another thing than "at least
    −1 mm".
    """
    if is_share(entry):
        return f"{trimmed(100.0 * value, 1)}{NO_BREAK}%"
    unit = unit_words(entry.unit)
    return f"{trimmed(value)}{NO_BREAK}{unit}" if unit else trimmed(value)


def label_words(entry: Measure) -> str:
    """Return the label of a measure as it stands within a sentence.

    Examples
    --------
    >>> from analysis.registry import measure
    >>> label_words(measure("completion")), label_words(measure("frechet_distance"))
    ('share of the line drawn or dots met', 'Fréchet distance')
    """
    if entry.label.startswith(NAMES):
        return entry.label
    return f"{entry.label[0].lower()}{entry.label[1:]}"
