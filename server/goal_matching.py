"""Whether a trial is what a goal is about, and how its help compares with what is allowed."""

from collections.abc import Mapping
from typing import Any

from server.store_results import SCORING_FAILED
from server.tables import MarkRow
from server.trial_readings import hand_used

PHYSICAL = ("none", "minimal", "moderate", "maximal", "total")
CUES = ("verbal", "gesture", "demonstration")
HANDS = ("left", "right", "both")
HELP_OVER, HELP_NOT_TOLD, HELP_NOT_NOTED = "help_over", "help_not_told", "help_not_noted"
# Widths are whole hundredths of a millimetre.
SAME_WIDTH_MM = 0.005


def fits(
    conditions: Mapping[str, Any], facts: Mapping[str, Any], mark: MarkRow | None
) -> bool | None:
    """Return whether a trial was made as a goal asks.

    Parameters
    ----------
    conditions : mapping
        Of the goal; what is not there may be anything.
    facts : mapping
        Of the current result of the trial.
    mark : MarkRow or None
        The mark that counts.

    Returns
    -------
    bool or None
        None if it was not; False if all fits but the hand that drew is not known. Of a trial
        whose scoring failed only what was asked is compared: nothing else is known.
    """
    there = {
        "task_id": facts.get("task_id"),
        "position": facts.get("position"),
        "tool": facts.get("tool") or facts.get("pointer_type"),
        "direction": facts.get("travelled") or facts.get("direction"),
    }
    if not has_failed(facts):
        there["guide_id"] = facts.get("guide_id")
        if not _same_width(conditions.get("corridor_mm"), facts):
            return None
    if any(conditions[name] != there[name] for name in there.keys() & conditions.keys()):
        return None
    return _same_hand(conditions.get("hand"), facts, mark)


def has_failed(facts: Mapping[str, Any]) -> bool:
    """Return whether the computing failed, so that nothing is known but what was asked."""
    return SCORING_FAILED in facts.get("flags", ())


def _same_width(asked_mm: float | None, facts: Mapping[str, Any]) -> bool:
    half_mm = facts.get("half_width_mm")
    if asked_mm is None or half_mm is None:
        return asked_mm is None
    return bool(abs(2 * half_mm - asked_mm) < SAME_WIDTH_MM)


def _same_hand(asked: str | None, facts: Mapping[str, Any], mark: MarkRow | None) -> bool | None:
    if asked is None:
        return True
    if asked == "free":
        return True if facts.get("hand") == "free" else None
    used = hand_used(facts, mark)
    if used in HANDS:
        return True if used == asked else None
    return False


def help_reason(allowed: Mapping[str, Any], mark: MarkRow | None) -> str | None:
    """Return what speaks against the help of a trial, or None.

    Parameters
    ----------
    allowed : mapping
        Of the goal: ``setup``, ``cues_at_most``, ``physical_at_most``.
    mark : MarkRow or None
        The mark that counts.

    Returns
    -------
    str or None
        ``help_not_noted`` if nobody said whether there was help: who says how a trial ended and
        names no help says that there was none. ``help_over``, ``help_not_told``, or None.

    Examples
    --------
    >>> allowed = {"setup": True, "cues_at_most": {"verbal": 1}, "physical_at_most": "none"}
    >>> help_reason(allowed, MarkRow(outcome="finished", help={"cues": {"verbal": 1}}))
    >>> help_reason(allowed, MarkRow(outcome="finished", help={"given": True}))
    'help_not_told'
    >>> help_reason(allowed, None), help_reason(allowed, MarkRow(outcome="finished"))
    ('help_not_noted', None)
    """
    if mark is None or (mark.outcome is None and not mark.help):
        return HELP_NOT_NOTED
    noted: Mapping[str, Any] = mark.help or {}
    level = noted.get("physical")
    over = _set_up(noted) and not allowed.get("setup", True)
    over = over or _cues_over(allowed.get("cues_at_most") or {}, noted.get("cues") or {})
    most = PHYSICAL.index(allowed.get("physical_at_most", "none"))
    over = over or (level is not None and PHYSICAL.index(level) > most)
    guided = bool(noted.get("hand_over_hand")) and level in (None, "none")
    if over or (guided and most == 0):
        return HELP_OVER
    told = _set_up(noted) or any((noted.get("cues") or {}).values()) or level not in (None, "none")
    if guided or (noted.get("given") and not told):
        return HELP_NOT_TOLD
    return None


def _set_up(noted: Mapping[str, Any]) -> bool:
    # The marks of the first demo wrote it in two words.
    return bool(noted.get("setup") or noted.get("set_up"))


def _cues_over(most: Mapping[str, int], given: Mapping[str, int]) -> bool:
    return any(given.get(kind, 0) > most.get(kind, 0) for kind in CUES)
