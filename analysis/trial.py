"""One attempt at one task, as plain values: what every measure is computed from."""

from dataclasses import dataclass
from typing import Literal

from analysis.guide import Guide
from analysis.trace import Trace

Mode = Literal["trace", "cut", "tap", "join", "both"]
MODES: tuple[Mode, ...] = ("trace", "cut", "tap", "join", "both")


@dataclass(frozen=True)
class Condition:
    """What was asked before the trial; None where it was not said."""

    hand: str | None = None
    direction: str | None = None
    position: str | None = None
    tool: str | None = None


@dataclass(frozen=True)
class Device:
    """What the tablet said of itself; None where it was not said."""

    pointer_type: str
    calibrated: bool = False
    coalesced: bool | None = None
    secure_context: bool | None = None


@dataclass(frozen=True)
class Mark:
    """Something the adult entered at a moment of the trial, for example ``hand_switch``."""

    t_s: float
    kind: str


@dataclass(frozen=True)
class Criterion:
    """A bound on one measure, at least one of the two given."""

    measure: str
    at_least: float | None = None
    at_most: float | None = None


@dataclass(frozen=True)
class Trial:
    """One attempt: samples, guide, and the conditions under which they were made.

    Parameters
    ----------
    trial_id : str
        Random id made on the tablet.
    mode : {"trace", "cut", "tap", "join", "both"}
        What the child was asked to do.
    trace : Trace
        All samples.
    guide : Guide or None
        None when the document has no points at all.
    condition, device
        See `Condition` and `Device`.
    cue_s : float or None
        Go signal after the guide was shown; None if there was no signal. [s]
    marks : tuple of Mark
        In the order of entry.
    criterion : Criterion or None
        What counts as met, if the task says so.
    pressure_band : (float, float) or None
        Lowest and highest pressure that the practitioner asks for, shares of the pen's
        range. [1]
    declared_guide_id : str or None
        The id the document carries; compared with the one computed.
    shown_at_zero : bool
        Whether t = 0 is the moment at which the guide was shown; ink does not say.
    """

    trial_id: str
    mode: Mode
    trace: Trace
    guide: Guide | None
    condition: Condition
    device: Device
    cue_s: float | None = None
    marks: tuple[Mark, ...] = ()
    criterion: Criterion | None = None
    declared_guide_id: str | None = None
    pressure_band: tuple[float, float] | None = None
    shown_at_zero: bool = True
