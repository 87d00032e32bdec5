"""Everything the measures of one trial share, computed once."""

from collections.abc import Callable
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis import deviation, midline, quality
from analysis.alignment import Alignment, align
from analysis.conditioning import Ordered, ordered, stroke_slices
from analysis.guide import Guide
from analysis.kinematics import Kinematics
from analysis.pressure import Pressing, pressing_of
from analysis.profile import Profile, first_reach
from analysis.targets import Aims, joined, tapped
from analysis.trace import FloatArray, Trace
from analysis.trial import Trial
from analysis.value import Refused

if TYPE_CHECKING:
    from analysis.both_hands import Contact, Together

LINED = frozenset({"trace", "cut", "join"})
"""Modes in which one pen follows one line."""
AIMED = frozenset({"tap", "join"})
"""Modes in which targets are met."""


def _asked(trial: Trial) -> Guide | None:
    """The guide of a trial; where dots are joined, its line is the one through the dots."""
    guide = trial.guide
    if trial.mode != "join" or guide is None or len(guide.targets) < 2:
        return guide
    return replace(guide, parts=())


class Workings:
    """Shared steps of the measures of one trial; each is done at most once.

    Parameters
    ----------
    trial : Trial
        One attempt.

    Examples
    --------
    >>> from analysis.trial import Condition, Device
    >>> line = Guide.from_points([[0, 0], [100, 0]], corridor_mm=8)
    >>> trace = Trace(xy_mm=[[0, 1], [50, 1], [100, 1]], t_s=None, stroke=[0, 0, 0])
    >>> w = Workings(Trial("t", "trace", trace, line, Condition(), Device("pen")))
    >>> w.completion
    1.0
    """

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.asked_guide = _asked(trial)

    @cached_property
    def _ordered(self) -> Ordered:
        return ordered(self.trial.trace, keep_bounce=self.trial.mode == "tap")

    @property
    def trace(self) -> Trace:
        """Ordered, unfiltered samples."""
        return self._ordered.trace

    @cached_property
    def quality(self) -> quality.Quality:
        """What the record allows."""
        return quality.quality_of(self._ordered)

    @cached_property
    def alignment(self) -> Alignment | None:
        """Progress and distance; None without a path to follow or without samples."""
        guide = self.asked_guide
        if guide is None or not guide.parts or len(self.trace) == 0:
            return None
        if self.trial.mode not in LINED:
            return None
        return align(guide, self.trace.xy_mm, self.trace.stroke)

    @property
    def guide(self) -> Guide | None:
        """The guide as travelled; None if it has no line."""
        if self.alignment is not None:
            return self.alignment.guide
        asked = self.asked_guide
        return asked if asked is not None and asked.parts else None

    @cached_property
    def contacts(self) -> "tuple[Contact, ...]":
        """The contacts of mode ``both``, each with its own workings; else none."""
        from analysis.both_hands import contacts_of

        return contacts_of(self) if self.trial.mode == "both" else ()

    @cached_property
    def together(self) -> "Together | Refused":
        """Progress of two contacts on one grid of time, or why it cannot be had."""
        from analysis.both_hands import together

        try:
            return together(self)
        except Refused as refused:
            return refused

    @cached_property
    def aims(self) -> Aims:
        """How the targets of modes ``tap`` and ``join`` were met.

        Raises
        ------
        Refused
            ``no_guide`` without a guide, ``guide_lacks_feature`` without targets,
            ``no_samples`` without samples.
        """
        if len(self.trace) == 0:
            raise Refused("no_samples")
        if self.asked_guide is None:
            raise Refused("no_guide")
        targets = self.asked_guide.targets
        if not targets or self.trial.mode not in AIMED:
            raise Refused("guide_lacks_feature")
        if self.trial.mode == "tap":
            return tapped(targets, self.trace)
        return joined(targets, self.trace, self.alignment)

    @property
    def line_completion(self) -> float:
        """Covered share of the line; 0 if there is none. [1]"""
        if self.trial.mode == "both":
            return self.over_parts(lambda w: w.line_completion)
        return 0.0 if self.alignment is None else self.alignment.completion

    @property
    def completion(self) -> float:
        """Share of the task done: of targets contacted where there are targets, else of line."""
        if self.trial.mode not in AIMED:
            return self.line_completion
        try:
            return self.aims.contacted_share
        except Refused:
            return 0.0

    def over_parts(self, share: Callable[["Workings"], float]) -> float:
        """Mean over the parts of the guide, by length, of a share that each contact has of its own.

        Parameters
        ----------
        share : callable
            Takes the workings of one contact; a part that no contact follows counts as 0.

        Returns
        -------
        float
            In mode ``both``; 0 without a guide. [1]
        """
        if self.asked_guide is None or not self.asked_guide.parts:
            return 0.0
        total_mm = sum(
            share(contact.workings) * contact.workings.asked_guide.length_mm
            for contact in self.contacts
            if contact.workings.asked_guide is not None
        )
        return total_mm / self.asked_guide.length_mm

    @cached_property
    def profile(self) -> Profile:
        """First-reach profile.

        Raises
        ------
        Refused
            ``no_guide`` without an alignment, ``too_little_traced`` if nothing is covered.
        """
        if self.alignment is None:
            raise Refused("no_guide")
        made = first_reach(self.alignment)
        if not made.cell.any():
            raise Refused("too_little_traced")
        return made

    @cached_property
    def half_width_mm(self) -> FloatArray:
        """Half the corridor's width at every sample. [mm]"""
        if self.alignment is None or not self.alignment.guide.has_corridor:
            raise Refused("guide_lacks_feature")
        return self.alignment.guide.half_width_at(self.alignment.s_mm)

    @cached_property
    def departures(self) -> tuple[deviation.Departure, ...]:
        """Stretches outside the corridor."""
        if self.alignment is None:
            raise Refused("no_guide")
        return deviation.departures(
            self.trace, self.alignment.s_mm, self.alignment.d_mm, self.half_width_mm
        )

    @cached_property
    def kinematics(self) -> Kinematics | None:
        """Movement in time; None without samples or without a clock to believe."""
        timed = self.trace.t_s is not None and self.quality.monotone and len(self.trace) > 0
        if not timed:
            return None
        return Kinematics(self.trace, None if self.alignment is None else self.alignment.s_mm)

    @property
    def pausing(self) -> bool:
        """Whether pauses may be looked for: a clock, a rate and no lost time."""
        return (
            self.kinematics is not None
            and self.quality.meets(quality.SPEED_RATE_HZ)
            and self.kinematics.lost_share <= quality.LOST_SHARE
            and len(self.kinematics.pieces) > 0
        )

    @cached_property
    def pressing(self) -> Pressing | None:
        """Pressure in time; None without a sensor or without a clock to believe."""
        return pressing_of(self.trace) if self.quality.monotone else None

    @property
    def midline_x_mm(self) -> float | None:
        """Where the middle of the body is, if known. [mm]"""
        return None if self.asked_guide is None else self.asked_guide.midline_x_mm

    @cached_property
    def crossings(self) -> tuple[midline.Crossing, ...]:
        """Passages to the other side of the midline; none if it is not known."""
        if self.midline_x_mm is None or self.trial.mode == "both":
            return ()
        switches = tuple(m.t_s for m in self.trial.marks if m.kind == "hand_switch")
        return midline.crossings(self.trace, self.midline_x_mm, switches)

    @property
    def strokes_mm(self) -> list[FloatArray]:
        """Positions stroke by stroke. [mm]"""
        return [self.trace.xy_mm[part] for part in stroke_slices(self.trace.stroke)]

    @cached_property
    def first_lap_mm(self) -> FloatArray:
        """Samples of the first full lap of a closed guide.

        Returns
        -------
        ndarray, shape (n, 2)
            Up to the first sample a full length ahead of the first one; all samples if
            none is, but at least nine tenths of the guide are covered. [mm]

        Raises
        ------
        Refused
            ``too_little_traced`` otherwise.
        """
        if self.alignment is None:
            raise Refused("no_guide")
        s_mm = self.alignment.s_mm
        lap = np.flatnonzero(s_mm >= s_mm[0] + self.alignment.guide.length_mm)
        if len(lap):
            return self.trace.xy_mm[: int(lap[0]) + 1]
        if self.line_completion < deviation.LAP_COMPLETION:
            raise Refused("too_little_traced")
        return self.trace.xy_mm

    @cached_property
    def travelled(self) -> str | None:
        """Direction in which the child went; None if too little was drawn to tell."""
        from analysis.ways import travelled

        return travelled(self)

    @cached_property
    def flags(self) -> list[str]:
        """Codes of `analysis.quality.FLAGS` that apply, in that order."""
        from analysis.flags import flags_of

        return flags_of(self)

    @cached_property
    def events(self) -> dict[str, list[dict[str, Any]]]:
        """Pauses, departures, lifts and crossings as plain data. [ms], [mm]"""
        from analysis.events import events_of

        return events_of(self)
