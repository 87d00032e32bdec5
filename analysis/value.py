"""What a measure gives: a finite number, or one reason why there is none."""

import math
from dataclasses import dataclass

REASONS: dict[str, str] = {
    "no_samples": "Nothing was drawn.",
    "no_time": "The samples have no times.",
    "too_few_samples": "Too few samples.",
    "rate_too_low": "The tablet reported too few points a second.",
    "time_not_monotone": "The tablet's clock went back during the trial.",
    "gap_too_long": "The tablet reported nothing for too long while the pen was down.",
    "not_calibrated": "The tablet was not calibrated, so lengths in mm are not known.",
    "no_guide": "There was no guide.",
    "guide_lacks_feature": "This guide has nothing to measure it on.",
    "too_little_traced": "Too little of the line was drawn.",
    "no_pressure_sensor": "The pen or finger has no pressure sensor.",
    "pressure_constant": "The pressure reading never changed, so it was not a measurement.",
    "pressure_saturated": "The pressure was at the end of the pen's range too often.",
    "position_too_coarse": "The tablet reported positions too coarsely.",
    "too_few_trials": "Too few trials yet.",
    "too_few_sessions": "Too few sessions yet.",
    "zero_variance": "All values are equal.",
    "outline_invalid": "The outline is not a single closed shape.",
    "hand_unknown": "Which hand drew is not known.",
    "midline_unknown": "Where the middle of the body was is not known.",
    "traced_other_way": "The line was drawn the other way.",
}
"""Every reason code, in order of precedence, with the sentence a page shows."""

_RANK = {code: rank for rank, code in enumerate(REASONS)}


class Refused(Exception):
    """Raised inside a measure when it cannot be honestly computed.

    Parameters
    ----------
    code : str
        One of `REASONS`.
    """

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True)
class Value:
    """One number or one reason, never both.

    Parameters
    ----------
    number : float or None
        The finite value, in the unit of its measure.
    reason : str or None
        Reason code when there is no number.

    Raises
    ------
    ValueError
        If both or neither are given, or the number is not finite.
    """

    number: float | None
    reason: str | None = None

    def __post_init__(self) -> None:
        if (self.number is None) == (self.reason is None):
            raise ValueError("a value is a number or a reason")
        if self.number is not None and not math.isfinite(self.number):
            raise ValueError("a value's number must be finite")
        if self.reason is not None and self.reason not in _RANK:
            raise ValueError(f"unknown reason code {self.reason}")


def first_reason(codes: list[str]) -> str:
    """Return the code that comes first in `REASONS`."""
    return min(codes, key=_RANK.__getitem__)
