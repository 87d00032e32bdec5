"""How words are put together in a sentence: several of a thing, a list, a capital."""

from collections.abc import Sequence

# How a child came to a session, where it was not simply there.
ATTENDANCE_WORDS = {
    "late": "came late",
    "left_early": "left early",
    "absent": "absent",
    "cancelled": "cancelled",
}


def joined(words: Sequence[str]) -> str:
    """Return words as a list in a sentence.

    Examples
    --------
    >>> joined(["a", "b", "c"])
    'a, b and c'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def plural(word: str, count: int) -> str:
    """Return a word for one or for several.

    Examples
    --------
    >>> plural("pause", 2), plural("stretch", 2)
    ('pauses', 'stretches')
    """
    if count == 1:
        return word
    return word + ("es" if word.endswith("ch") else "s")


def capital(clause: str) -> str:
    """Return a clause with a capital at its beginning; nothing stays nothing."""
    return f"{clause[0].upper()}{clause[1:]}" if clause else ""


def sentence_of(clause: str) -> str:
    """Return a clause as a sentence of its own; nothing stays nothing.

    Examples
    --------
    >>> sentence_of("no pause"), sentence_of("")
    ('No pause.', '')
    """
    return f"{capital(clause)}." if clause else ""
