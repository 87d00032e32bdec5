"""One entry of the registry of measures."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from analysis.workings import Workings

Better = Literal["low", "high", "near", "none"]
Scope = Literal["trial", "session", "series"]

LINE_MODES = frozenset({"trace", "cut"})
TIMED_MODES = frozenset({"trace", "cut", "join", "tap"})


@dataclass(frozen=True)
class Measure:
    """A number with a unit, a definition and a source.

    Parameters
    ----------
    id : str
        Quantity first, statistic last.
    label : str
        What a therapist reads.
    unit : str
        UCUM code; ``1`` for counts, shares and ratios.
    family : str
        Heading it stands under.
    meaning : str
        One sentence a researcher would cite.
    source : str
        Where the definition comes from.
    function : callable
        Takes the `Workings` of a trial, gives a number or raises `Refused`.
    needs : frozenset of str
        Keys of `analysis.needs.NEEDS`; ``calibrated`` is added by the unit.
    better : {"low", "high", "near", "none"}
        Direction of improvement where the trade agrees.
    near : float or None
        The value to be near to.
    modes : frozenset of str
        Modes of trial it applies to.
    scope : {"trial", "session", "series"}
        What it is computed from.
    decimals : int
        Digits shown after the point.
    revision : int
        Raised when the formula changes.
    """

    id: str
    label: str
    unit: str
    family: str
    meaning: str
    source: str
    function: Callable[[Workings], float]
    needs: frozenset[str] = field(default_factory=frozenset)
    better: Better = "none"
    near: float | None = None
    modes: frozenset[str] = LINE_MODES
    scope: Scope = "trial"
    decimals: int = 1
    revision: int = 1

    @property
    def in_mm(self) -> bool:
        """Whether its number means nothing on an uncalibrated tablet."""
        return "mm" in self.unit or "cm" in self.unit
