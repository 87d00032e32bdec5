"""What an adult noted after a trial, in plain words."""

from collections.abc import Mapping
from typing import Any

from server.numbers import count_word
from server.sentences import HAND_WORDS
from server.tables import MarkRow
from server.wording import joined, plural

OUTCOME_WORDS = {
    "finished": "finished",
    "stopped": "stopped",
    "spoilt": "spoilt",
    "not_done": "not done",
}
CUE_WORDS = {"verbal": "verbal cue", "gesture": "gesture", "demonstration": "demonstration"}


def mark_sentence(mark: MarkRow) -> str:
    """Return everything one mark says."""
    parts = []
    if mark.outcome is not None:
        why = f": {mark.why}" if mark.why else ""
        parts.append(f"{OUTCOME_WORDS[mark.outcome].capitalize()}{why}.")
    if mark.hand_used is not None:
        parts.append(f"Hand used: {HAND_WORDS[mark.hand_used]}.")
    if mark.help is not None:
        parts.append(f"Help: {help_words(mark.help)}.")
    return " ".join(parts) or "Looked at; nothing noted."


def help_words(noted: Mapping[str, Any]) -> str:
    """Return help as its three things: set-up, cues, physical.

    Examples
    --------
    >>> help_words({"setup": True, "cues": {"verbal": 2}, "physical": "none"})
    'set-up and two verbal cues'
    >>> help_words({"physical": "none"})
    'none'
    """
    words = []
    if noted.get("setup"):
        words.append("set-up")
    for kind, word in CUE_WORDS.items():
        count = int((noted.get("cues") or {}).get(kind) or 0)
        if count:
            words.append(f"{count_word(count)} {plural(word, count)}")
    physical = noted.get("physical")
    if physical not in (None, "none"):
        words.append(f"{physical} physical help")
    if noted.get("hand_over_hand"):
        words.append("hand over hand")
    if not words and noted.get("given"):
        return "some, not described"
    return joined(words) or "none"


def outcome_caution(mark: MarkRow | None, asked_hand: str | None) -> list[str]:
    """Say what a mark changes about how a trial is to be read."""
    if mark is None:
        return []
    said = []
    if mark.outcome == "stopped":
        said.append("Stopped: it is shown here and never counted as a failure.")
    if mark.outcome == "spoilt":
        why = f" ({mark.why})" if mark.why else ""
        said.append(f"Spoilt{why}: it is kept and not counted.")
    if mark.outcome == "not_done":
        said.append("Not done: it is kept and not counted.")
    one_hand = {"left", "right"}
    if mark.hand_used in one_hand and asked_hand in one_hand and mark.hand_used != asked_hand:
        said.append(
            f"Asked for the {HAND_WORDS[asked_hand or '']}, drawn with the "
            f"{HAND_WORDS[mark.hand_used or '']}: it is grouped by the hand that drew."
        )
    return said
