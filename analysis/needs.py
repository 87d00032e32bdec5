"""What a measure needs before it may be computed, and the reason given without it."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from analysis import curvature, quality, rhythm
from analysis.corners import corners, full_reversals
from analysis.deviation import is_simple
from analysis.guide import Guide
from analysis.midline_bands import (
    LEAST_LENGTH_MM,
    covered_bands_mm,
    crossing_parts,
    guide_bands_mm,
)
from analysis.pressure import Pressing
from analysis.relative_phase import is_cyclic
from analysis.smoothness import STROKES_SHARE, has_moved, held_share
from analysis.value import Refused, first_reason
from analysis.workings import AIMED

if TYPE_CHECKING:
    from analysis.workings import Workings

Need = Callable[["Workings"], bool]


def _each(w: "Workings") -> list["Workings"]:
    """The trial itself and, of two hands, each contact."""
    return [w, *(contact.workings for contact in w.contacts)]


def _whole(w: "Workings") -> bool:
    return all(
        one.kinematics is None or one.kinematics.lost_share <= quality.LOST_SHARE
        for one in _each(w)
    )


def _one_hand(w: "Workings") -> bool:
    """Whether it is known which hand drew, from the first to the last stroke."""
    switched = any(mark.kind == "hand_switch" for mark in w.trial.marks)
    return w.trial.condition.hand in {"left", "right"} and not switched


def _asked(w: "Workings") -> bool:
    """Whether there is a line or, where targets are met, at least a target."""
    guide = w.asked_guide
    return guide is not None and (bool(guide.parts) or w.trial.mode in AIMED)


def _dense(w: "Workings") -> bool:
    """Whether samples are dense enough for geometry; a tap needs one only."""
    drawn = [w, *(contact.workings for contact in w.contacts if contact.part is not None)]
    return w.trial.mode == "tap" or all(len(one.trace) < 2 or one.quality.shape_ok for one in drawn)


def _parts(w: "Workings", *counts: int) -> bool:
    guide = w.asked_guide
    return w.trial.mode != "both" or guide is None or len(guide.parts) in counts


def _followed(w: "Workings") -> bool:
    """Whether two contacts each drew enough of the part that they follow."""
    drawn = [contact.workings.line_completion for contact in w.contacts]
    return len(drawn) == 2 and min(drawn) >= quality.LEAST_COMPLETION


def _together(w: "Workings", code: str) -> bool:
    """Whether the progress of two contacts can be laid side by side, but for other reasons."""
    each = [contact.workings for contact in w.contacts]
    if len(each) < 2 or any(one.alignment is None or one.kinematics is None for one in each):
        return True
    return not isinstance(w.together, Refused) or w.together.code != code


def _on_midline(w: "Workings", test: Callable[[Guide, float], bool]) -> bool:
    """Whether the guide has a feature at the midline; true if either is not known."""
    if w.guide is None or not w.guide.parts or w.midline_x_mm is None:
        return True
    return test(w.guide, w.midline_x_mm)


def _traced_at_midline(w: "Workings") -> bool:
    if w.guide is None or w.midline_x_mm is None or w.alignment is None:
        return True
    try:
        bands = covered_bands_mm(w.profile, w.guide, w.midline_x_mm)
    except Refused:
        return False
    return bands.least >= LEAST_LENGTH_MM


def _one_part(w: "Workings") -> bool:
    return w.guide is None or len(w.guide.parts) == 1


def _simple(w: "Workings") -> bool:
    return w.guide is None or not w.guide.closed or is_simple(w.guide)


def _round_corners(w: "Workings") -> bool:
    return w.guide is None or not w.guide.parts or not full_reversals(w.guide)


def _moved(w: "Workings", least: int) -> bool:
    return w.kinematics is None or len(w.kinematics.moving_speed_mm_s) >= least


def _long_strokes(w: "Workings") -> bool:
    return w.kinematics is None or w.kinematics.speed_peak_count is not None


def _held(w: "Workings") -> bool:
    return w.kinematics is None or held_share(w.kinematics.pieces) >= STROKES_SHARE


def _many_bends(w: "Workings") -> bool:
    return w.kinematics is None or len(w.kinematics.bends[0]) >= curvature.LEAST_SAMPLES


def _long_piece(w: "Workings") -> bool:
    if w.kinematics is None:
        return True
    return any(piece.lasts_s >= rhythm.LEAST_S for piece in w.kinematics.pieces)


def _senses(w: "Workings") -> bool:
    read = w.trace.pressure
    return w.trial.device.pointer_type == "pen" and read is not None and not np.isnan(read).all()


def _pressed(w: "Workings", test: Callable[[Pressing], bool]) -> bool:
    """Whether the pressure passes a test; true if it is not known."""
    return w.pressing is None or w.pressing.lasts_s <= 0 or test(w.pressing)


NEEDS: dict[str, tuple[str, Need]] = {
    "samples": ("no_samples", lambda w: len(w.trace) > 0),
    "time": ("no_time", lambda w: w.trace.t_s is not None),
    "steps": ("too_few_samples", lambda w: w.trace.t_s is None or w.quality.rate_hz is not None),
    "paced": ("too_few_samples", lambda w: w.kinematics is None or bool(w.kinematics.pieces)),
    "moving": ("too_few_samples", lambda w: _moved(w, 1)),
    "moving_twice": ("too_few_samples", lambda w: _moved(w, 2)),
    "long_strokes": ("too_few_samples", _long_strokes),
    "many_bends": ("too_few_samples", _many_bends),
    "long_piece": ("too_few_samples", _long_piece),
    "together": ("too_few_samples", lambda w: _together(w, "too_few_samples")),
    "pressure_time": ("too_few_samples", lambda w: w.pressing is None or w.pressing.lasts_s > 0),
    "pressure_long": ("too_few_samples", lambda w: _pressed(w, lambda found: found.drifts)),
    "rate_pressure": ("rate_too_low", lambda w: w.quality.meets(quality.PRESSURE_RATE_HZ)),
    "rate_shape": ("rate_too_low", _dense),
    "rate_speed": (
        "rate_too_low",
        lambda w: all(one.quality.meets(quality.SPEED_RATE_HZ) for one in _each(w)),
    ),
    "rate_peaks": ("rate_too_low", lambda w: w.quality.meets(quality.PEAK_RATE_HZ)),
    "rate_fine": ("rate_too_low", lambda w: w.quality.meets(quality.FINE_RATE_HZ)),
    "clock": ("time_not_monotone", lambda w: w.quality.monotone),
    "held": ("gap_too_long", _held),
    "whole": ("gap_too_long", _whole),
    "within_an_hour": ("gap_too_long", lambda w: _together(w, "gap_too_long")),
    "calibrated": ("not_calibrated", lambda w: w.trial.device.calibrated),
    "guide": ("no_guide", lambda w: w.asked_guide is not None and bool(w.asked_guide.parts)),
    "asked": ("no_guide", _asked),
    "targets": (
        "guide_lacks_feature",
        lambda w: w.trial.mode not in AIMED or w.asked_guide is None or bool(w.asked_guide.targets),
    ),
    "hands_parts": ("guide_lacks_feature", lambda w: _parts(w, 1, 2)),
    "two_parts": ("guide_lacks_feature", lambda w: _parts(w, 2)),
    "held_part": ("guide_lacks_feature", lambda w: _parts(w, 1)),
    "cyclic": (
        "guide_lacks_feature",
        lambda w: not _parts(w, 2) or w.asked_guide is None or is_cyclic(w.asked_guide),
    ),
    "corridor": ("guide_lacks_feature", lambda w: w.guide is None or w.guide.has_corridor),
    "closed": ("guide_lacks_feature", lambda w: w.guide is None or w.guide.closed),
    "one_part": ("guide_lacks_feature", _one_part),
    "simple": ("guide_lacks_feature", _simple),
    "round_corners": ("guide_lacks_feature", _round_corners),
    "corner": (
        "guide_lacks_feature",
        lambda w: w.guide is None or not w.guide.parts or bool(corners(w.guide)),
    ),
    "midline_feature": (
        "guide_lacks_feature",
        lambda w: _on_midline(w, lambda guide, x_mm: bool(crossing_parts(guide, x_mm))),
    ),
    "midline_bands": (
        "guide_lacks_feature",
        lambda w: _on_midline(
            w, lambda guide, x_mm: guide_bands_mm(guide, x_mm).least >= LEAST_LENGTH_MM
        ),
    ),
    "bent": ("guide_lacks_feature", lambda w: w.guide is None or curvature.is_bent(w.guide)),
    "pressure_band": ("guide_lacks_feature", lambda w: w.trial.pressure_band is not None),
    "pressure_sensor": ("no_pressure_sensor", _senses),
    "pressure_varies": ("pressure_constant", lambda w: _pressed(w, lambda p: not p.is_constant)),
    "pressure_range": ("pressure_saturated", lambda w: _pressed(w, lambda p: not p.is_saturated)),
    "fine_positions": ("position_too_coarse", lambda w: not w.quality.coarse),
    "traced": ("too_little_traced", lambda w: w.line_completion >= quality.LEAST_COMPLETION),
    "jerk_moved": (
        "too_little_traced",
        lambda w: w.kinematics is None or has_moved(w.kinematics.jerk_pieces),
    ),
    "two_contacts": ("too_little_traced", lambda w: len(w.contacts) == 2),
    "both_followed": ("too_little_traced", _followed),
    "midline_traced": ("too_little_traced", _traced_at_midline),
    "hand": ("hand_unknown", _one_hand),
    "midline": ("midline_unknown", lambda w: w.midline_x_mm is not None),
    "asked_way": (
        "traced_other_way",
        lambda w: w.alignment is None or not w.alignment.other_way,
    ),
}
"""Name of each need: the reason code when it is not met, and the test."""

SHAPE = frozenset({"samples", "rate_shape", "guide"})
DEVIATION = SHAPE | {"traced"}
CORRIDOR = DEVIATION | {"corridor"}
TARGETS = frozenset({"samples", "rate_shape", "asked", "targets"})
TIMED = frozenset({"samples", "time", "clock"})
SPEED = TIMED | {"steps", "paced", "rate_speed", "whole"}
HANDS = SHAPE | {"two_parts", "both_followed"}
TOGETHER = HANDS | SPEED | {"together", "within_an_hour"}
HOLD = frozenset({"samples", "guide", "held_part", "two_contacts"})
PRESSURE = TIMED | {
    "steps",
    "whole",
    "rate_pressure",
    "pressure_time",
    "pressure_sensor",
    "pressure_varies",
    "pressure_range",
}
MIDLINE = frozenset({"samples", "guide", "midline", "midline_feature"})
MIDLINE_BANDS = MIDLINE | {"midline_bands", "midline_traced"}


def unmet(w: "Workings", needs: frozenset[str]) -> str | None:
    """Return the reason that comes first among the needs not met, or None.

    Parameters
    ----------
    w : Workings
        Of one trial.
    needs : frozenset of str
        Keys of `NEEDS`.

    Returns
    -------
    str or None
        A reason code.
    """
    if len(w.trace) == 0 and "samples" in needs:
        return "no_samples"
    codes = [code for name, (code, met) in NEEDS.items() if name in needs and not met(w)]
    return first_reason(codes) if codes else None
