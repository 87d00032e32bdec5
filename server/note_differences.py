"""What changed between two texts of a note, sentence by sentence."""

import re
from collections.abc import Mapping
from difflib import SequenceMatcher
from typing import NamedTuple

from server.numbers import count_word
from server.store_notes import SECTIONS
from server.wording import joined, plural

SAME, ADDED, TAKEN = "same", "added", "taken"
# A stop ends a sentence only before a space: "6.35 mm" stays whole.
_ENDS = re.compile(r"(?<=[.!?…])\s+|\n+")


class Piece(NamedTuple):
    """Sentences that stayed, were added or were taken out."""

    kind: str
    text: str


class SectionChange(NamedTuple):
    """One section of a note against an earlier text of it."""

    name: str
    pieces: list[Piece]
    added: int
    taken: int


def sentences_of(text: str) -> list[str]:
    r"""Return the sentences of a text.

    Examples
    --------
    >>> sentences_of("Gull, 6.35 mm. Rest: 2 min.\nSeated")
    ['Gull, 6.35 mm.', 'Rest: 2 min.', 'Seated']
    """
    return [one.strip() for one in _ENDS.split(text) if one.strip()]


def differences(before: str, after: str) -> list[Piece]:
    """Return one text against an earlier one, in the order in which they are read.

    Parameters
    ----------
    before, after : str
        The earlier and the later text.

    Returns
    -------
    list of Piece
        Those that are not taken out make up the later text, those not added the earlier one.

    Examples
    --------
    >>> [tuple(one) for one in differences("Even. Tired.", "Even. Awake.")]
    [('same', 'Even.'), ('taken', 'Tired.'), ('added', 'Awake.')]
    """
    old, new = sentences_of(before), sentences_of(after)
    pieces = []
    for tag, i, j, k, m in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag == "equal":
            pieces += [Piece(SAME, one) for one in old[i:j]]
            continue
        pieces += [Piece(TAKEN, one) for one in old[i:j]]
        pieces += [Piece(ADDED, one) for one in new[k:m]]
    return pieces


def section_changes(before: Mapping[str, str], after: Mapping[str, str]) -> list[SectionChange]:
    """Return the sections of a note whose sentences are not the same any more."""
    found = []
    for name in SECTIONS:
        pieces = differences(before[name], after[name])
        added, taken = (sum(one.kind == kind for one in pieces) for kind in (ADDED, TAKEN))
        if added or taken:
            found.append(SectionChange(name, pieces, added, taken))
    return found


def change_words(change: SectionChange) -> str:
    """Return how much of a section changed.

    Examples
    --------
    >>> change_words(SectionChange("plan", [], 2, 1))
    'Plan: two sentences added, one sentence taken out'
    """
    words = [
        f"{count_word(count)} {plural('sentence', count)} {what}"
        for count, what in ((change.added, "added"), (change.taken, "taken out"))
        if count
    ]
    return f"{change.name.capitalize()}: {', '.join(words)}"


def summary(changes: list[SectionChange]) -> str:
    """Return in one clause what changed; that nothing did is said too."""
    return joined([change_words(one) for one in changes]) or "the same words as before"
