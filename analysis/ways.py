"""The way in which a child went along a guide, against the way that was asked."""

from typing import TYPE_CHECKING

from analysis import quality
from analysis.guide import Guide
from analysis.travel import OPPOSITE, direction_of, is_horizontal

if TYPE_CHECKING:
    from analysis.workings import Workings


def is_mismatched(w: "Workings") -> bool:
    """Whether the label of the direction contradicts the guide: with two hands, all of it."""
    guide, said = w.asked_guide, w.trial.condition.direction
    if guide is None or not guide.parts or said not in {"left_to_right", "right_to_left"}:
        return False
    lines = [guide]
    if w.trial.mode == "both":
        lines = [Guide((part,)) for part in guide.parts]
    return all(is_horizontal(line) and direction_of(line) != said for line in lines)


def travelled(w: "Workings") -> str | None:
    """Direction in which the child went.

    Parameters
    ----------
    w : Workings
        Of one trial.

    Returns
    -------
    str or None
        A word of `analysis.travel`. Two hands: as asked if all went as asked, the opposite if
        all went the other way, else None. None too if less than a quarter of a line was drawn,
        and for dots to tap, which may be met in any order.
    """
    if w.trial.mode == "both":
        return _by_both(w)
    if w.alignment is None or w.line_completion < quality.LEAST_COMPLETION:
        return None
    asked = w.trial.condition.direction or direction_of(w.alignment.guide)
    if w.asked_guide is not None and is_mismatched(w):
        asked = direction_of(w.asked_guide)
    elif w.trial.condition.direction is None:
        return asked
    return OPPOSITE.get(asked, asked) if w.alignment.other_way else asked


def _by_both(w: "Workings") -> str | None:
    followed = [contact.workings for contact in w.contacts if contact.part is not None]
    ways = {one.alignment.other_way for one in followed if one.alignment is not None}
    enough = all(one.line_completion >= quality.LEAST_COMPLETION for one in followed)
    if len(ways) != 1 or not enough or w.asked_guide is None:
        return None
    asked = w.trial.condition.direction
    if asked is None or is_mismatched(w):
        runs = {direction_of(Guide((part,))) for part in w.asked_guide.parts}
        asked = runs.pop() if len(runs) == 1 else "none"
    return OPPOSITE.get(asked, asked) if ways.pop() else asked
