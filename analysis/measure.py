"""One entry of the registry of measures."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from analysis.cut_workings import CutWorkings
from analysis.series import Series
from analysis.value import Better, Estimate
from analysis.workings import Workings

Scope = Literal["trial", "cut", "series"]

LINE_MODES = frozenset({"trace", "cut"})
JOINED_MODES = LINE_MODES | {"join"}
TIMED_MODES = frozenset({"trace", "cut", "join", "tap"})
ALL_MODES = TIMED_MODES | {"both"}


@dataclass(frozen=True, kw_only=True)
class Measure:
    """A number with a unit, a definition and a source.

    Parameters
    ----------
    id : str
        Quantity first, statistic last.
    label : str
        What a therapist reads.
    unit : str
        UCUM code; ``1`` for counts, shares and ratios. ``{unit}`` stands for the unit of
        the measure whose series is looked at.
    family : str
        Heading it stands under.
    meaning : str
        One sentence in plain words.
    formula : str
        The definition, exact enough to be computed again.
    source : str
        Publication or standard, or ``Linnet convention``; several are parted by ``;``.
    edges : str
        Edge cases and what noise and sampling rate do to it.
    needs : frozenset of str
        Keys of `analysis.needs.NEEDS` (or of the needs of cuts); ``calibrated`` is added by
        the unit.
    refuses : frozenset of str
        Reason codes that the function itself may give beside those of its needs.
    better : {"low", "high", "near", "none"}
        Direction of improvement where the trade agrees.
    near : float or None
        The value to be near to.
    modes : frozenset of str
        Modes of trial it applies to.
    decimals : int
        Digits shown after the point.
    revision : int
        Raised when the formula changes.
    interval : bool
        Whether its number may come with an interval: tables have two more columns for it.
    scope : {"trial", "cut", "series"}
        What it is computed from: one trial, the edge of one cut piece, or values of many days.
    """

    id: str
    label: str
    unit: str
    family: str
    meaning: str
    formula: str = ""
    source: str
    edges: str = ""
    needs: frozenset[str] = field(default_factory=frozenset)
    refuses: frozenset[str] = field(default_factory=frozenset)
    better: Better = "none"
    near: float | None = None
    modes: frozenset[str] = LINE_MODES
    decimals: int = 1
    revision: int = 1
    interval: bool = False
    scope: Scope = "trial"

    @property
    def in_mm(self) -> bool:
        """Whether its number means nothing on an uncalibrated tablet."""
        return "mm" in self.unit or "cm" in self.unit


@dataclass(frozen=True, kw_only=True)
class TrialMeasure(Measure):
    """A measure of one trial; its function gives a number or raises `Refused`."""

    function: Callable[[Workings], float | Estimate]


@dataclass(frozen=True, kw_only=True)
class CutMeasure(Measure):
    """A measure of the digitised edge of one cut piece."""

    function: Callable[[CutWorkings], float | Estimate]
    modes: frozenset[str] = frozenset({"cut"})
    scope: Scope = "cut"


@dataclass(frozen=True, kw_only=True)
class SeriesMeasure(Measure):
    """A measure of the values of many trials or days; refuses by itself, `needs` stays empty."""

    function: Callable[[Series], float | Estimate]
    modes: frozenset[str] = ALL_MODES
    scope: Scope = "series"
