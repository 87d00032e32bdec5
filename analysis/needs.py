"""What a measure needs before it may be computed, and the reason given without it."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from analysis import quality
from analysis.corners import corners
from analysis.guide import Guide
from analysis.midline_bands import (
    LEAST_LENGTH_MM,
    covered_bands_mm,
    crossing_parts,
    guide_bands_mm,
)
from analysis.value import Refused, first_reason

if TYPE_CHECKING:
    from analysis.workings import Workings

Need = Callable[["Workings"], bool]


def _whole(w: "Workings") -> bool:
    return w.kinematics is None or w.kinematics.lost_share <= quality.LOST_SHARE


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


NEEDS: dict[str, tuple[str, Need]] = {
    "samples": ("no_samples", lambda w: len(w.trace) > 0),
    "time": ("no_time", lambda w: w.trace.t_s is not None),
    "steps": ("too_few_samples", lambda w: w.trace.t_s is None or w.quality.rate_hz is not None),
    "rate_shape": ("rate_too_low", lambda w: len(w.trace) < 2 or w.quality.shape_ok),
    "rate_speed": ("rate_too_low", lambda w: w.quality.meets(quality.SPEED_RATE_HZ)),
    "rate_peaks": ("rate_too_low", lambda w: w.quality.meets(quality.PEAK_RATE_HZ)),
    "clock": ("time_not_monotone", lambda w: w.quality.monotone),
    "whole": ("gap_too_long", _whole),
    "calibrated": ("not_calibrated", lambda w: w.trial.device.calibrated),
    "guide": ("no_guide", lambda w: w.asked_guide is not None and bool(w.asked_guide.parts)),
    "corridor": ("guide_lacks_feature", lambda w: w.guide is None or w.guide.has_corridor),
    "closed": ("guide_lacks_feature", lambda w: w.guide is None or w.guide.closed),
    "one_part": ("guide_lacks_feature", _one_part),
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
    "traced": ("too_little_traced", lambda w: w.completion >= quality.LEAST_COMPLETION),
    "midline_traced": ("too_little_traced", _traced_at_midline),
    "hand": ("hand_unknown", lambda w: w.trial.condition.hand in {"left", "right"}),
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
TIMED = frozenset({"samples", "time", "clock"})
SPEED = TIMED | {"steps", "rate_speed", "whole"}
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
