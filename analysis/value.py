"""What a measure gives: a finite number, or one reason why there is none."""

import math
from dataclasses import dataclass
from typing import Literal

Better = Literal["low", "high", "near", "none"]
"""Direction of improvement; ``none`` unless the trade agrees."""

REASONS: dict[str, str] = {
    "no_samples": "Nothing was drawn.",
    "no_time": "The samples have no times, or there is none to count from.",
    "too_few_samples": "Too few samples.",
    "rate_too_low": "The tablet reported too few points a second.",
    "time_not_monotone": "The tablet's clock went back or stood still during the trial.",
    "gap_too_long": "The tablet reported nothing for too long while the pen was down.",
    "not_calibrated": "The tablet was not calibrated, so lengths in mm are not known.",
    "no_guide": "There was no guide.",
    "guide_lacks_feature": "This task has nothing to measure it on.",
    "too_little_traced": "Too little of the line was drawn.",
    "too_little_inside": "Too little of the line was drawn inside the corridor.",
    "no_pressure_sensor": "The pen or finger has no pressure sensor.",
    "pressure_constant": "The pressure reading never changed, so it was not a measurement.",
    "pressure_saturated": "The pressure was at the end of the pen's range too often.",
    "position_too_coarse": "The tablet reported positions too coarsely.",
    "too_few_trials": "Too few tries to tell.",
    "too_few_sessions": "Too few sessions yet.",
    "zero_variance": "Nothing varied enough to measure this on.",
    "outline_invalid": "The outline is not one closed shape, or far too small for its template.",
    "hand_unknown": "Which hand drew is not known.",
    "midline_unknown": "Where the middle of the body was is not known.",
    "traced_other_way": "The line was drawn the other way.",
    "not_alike": "The two hands did not move alike enough to tell which leads.",
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
class Estimate:
    """A number with its interval, all in the unit of the measure.

    Parameters
    ----------
    number : float
        The value.
    low, high : float
        The interval's ends; its level is part of the measure's definition.
    """

    number: float
    low: float
    high: float


@dataclass(frozen=True)
class Value:
    """One number or one reason, never both.

    Parameters
    ----------
    number : float or None
        The finite value, in the unit of its measure.
    reason : str or None
        Reason code when there is no number.
    low, high : float or None
        Ends of the number's interval, where its measure has one.

    Raises
    ------
    ValueError
        If both or neither of number and reason are given, a number is not finite, or an
        interval has one end only.
    """

    number: float | None
    reason: str | None = None
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        if (self.number is None) == (self.reason is None):
            raise ValueError("a value is a number or a reason")
        if any(n is not None and not math.isfinite(n) for n in (self.number, self.low, self.high)):
            raise ValueError("a value's numbers must be finite")
        if (self.low is None) != (self.high is None) or (self.low is not None and self.reason):
            raise ValueError("an interval has two ends and a number between them")
        if self.reason is not None and self.reason not in _RANK:
            raise ValueError(f"unknown reason code {self.reason}")

    @classmethod
    def of(cls, found: "float | Estimate") -> "Value":
        """Return the value of a number or of a number with its interval."""
        if isinstance(found, Estimate):
            return cls(float(found.number), None, float(found.low), float(found.high))
        return cls(float(found))


def first_reason(codes: list[str]) -> str:
    """Return the code that comes first in `REASONS`."""
    return min(codes, key=_RANK.__getitem__)
