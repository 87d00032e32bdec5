"""The one row of marks at the desk: what a tap says, in the words of the tablet's strip."""

from typing import Any

from server.routes_trials import Help, MarkBody
from server.store_marks import SET_UP, was_helped
from server.tables import MarkRow

# As on the strip of the tablet.
TAP_WORDS = {"ok": "OK", "helped": "Helped", "spoilt": "Spoilt", "stopped": "Stopped"}
OUTCOMES = {"ok": "finished", "helped": "finished", "spoilt": "spoilt", "stopped": "stopped"}


def tap_of(mark: MarkRow | None) -> str | None:
    """Return which of the four taps a mark is; None if it is none of them."""
    if mark is None or mark.outcome not in OUTCOMES.values():
        return None
    if mark.outcome == "finished":
        return "helped" if was_helped(mark) else "ok"
    return mark.outcome


def tapped(before: MarkRow | None, tap: str, mark_id: str) -> MarkBody:
    """Return the mark that a tap makes.

    The newest mark counts, so it carries what was said before: the hand always, the reason
    as long as the outcome stays, the help unless the tap is "OK", which takes it back.

    Parameters
    ----------
    before : MarkRow or None
        The mark that counts so far.
    tap : {"ok", "helped", "spoilt", "stopped"}
        Which button.
    mark_id : str
        UUID made by the sender.

    Returns
    -------
    MarkBody
        As ``POST /api/trials/{id}/marks`` takes it.
    """
    noted = {} if tap == "ok" else _help_of(before)
    if tap == "helped":
        noted = {"given": True} | noted
    return MarkBody.model_validate(
        {
            "id": mark_id,
            "outcome": OUTCOMES[tap],
            "why": before.why if before is not None and tap_of(before) == tap else None,
            "hand_used": None if before is None else before.hand_used,
            "help": noted or None,
        }
    )


def is_help(noted: dict[str, Any]) -> bool:
    """Return whether what was noted is help with the task: setting it up is none.

    Examples
    --------
    >>> is_help({"setup": True, "physical": "none"}), is_help({"cues": {"verbal": 1}})
    (False, True)
    """
    return was_helped(MarkRow(help=noted))


def _help_of(mark: MarkRow | None) -> dict[str, Any]:
    noted = {} if mark is None or mark.help is None else dict(mark.help)
    if any(noted.get(key) for key in SET_UP):
        noted["setup"] = True
    return {key: value for key, value in noted.items() if key in Help.model_fields}
