"""Everything the measures of one trial share, computed once."""

from functools import cached_property
from typing import Any

import numpy as np

from analysis import deviation, midline, quality
from analysis.alignment import Alignment, align
from analysis.conditioning import Ordered, ordered, stroke_slices
from analysis.guide import Guide
from analysis.identity import guide_id
from analysis.kinematics import Kinematics
from analysis.profile import Profile, first_reach
from analysis.trace import FloatArray, Trace
from analysis.travel import OPPOSITE, direction_of, is_horizontal
from analysis.trial import Trial
from analysis.value import Refused


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
        self.asked_guide = trial.guide

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
        if self.trial.mode not in {"trace", "cut"}:
            return None
        return align(guide, self.trace.xy_mm, self.trace.stroke)

    @property
    def guide(self) -> Guide | None:
        """The guide as travelled; None if it has no line."""
        if self.alignment is not None:
            return self.alignment.guide
        asked = self.asked_guide
        return asked if asked is not None and asked.parts else None

    @property
    def completion(self) -> float:
        """Covered share of the guide; 0 if there is no alignment. [1]"""
        return 0.0 if self.alignment is None else self.alignment.completion

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

    @property
    def midline_x_mm(self) -> float | None:
        """Where the middle of the body is, if known. [mm]"""
        return None if self.asked_guide is None else self.asked_guide.midline_x_mm

    @cached_property
    def crossings(self) -> tuple[midline.Crossing, ...]:
        """Passages to the other side of the midline; none if it is not known."""
        if self.midline_x_mm is None:
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
        if self.completion < deviation.LAP_COMPLETION:
            raise Refused("too_little_traced")
        return self.trace.xy_mm

    @cached_property
    def travelled(self) -> str | None:
        """Direction in which the child went; None if too little was drawn to tell."""
        if self.alignment is None or self.completion < quality.LEAST_COMPLETION:
            return None
        asked = self.trial.condition.direction or direction_of(self.alignment.guide)
        if self.asked_guide is not None and self._mismatched:
            asked = direction_of(self.asked_guide)
        elif self.trial.condition.direction is None:
            return asked
        return OPPOSITE.get(asked, asked) if self.alignment.other_way else asked

    @property
    def _mismatched(self) -> bool:
        guide, said = self.asked_guide, self.trial.condition.direction
        if guide is None or not guide.parts or said not in {"left_to_right", "right_to_left"}:
            return False
        return is_horizontal(guide) and direction_of(guide) != said

    @cached_property
    def flags(self) -> list[str]:
        """Codes of `analysis.quality.FLAGS` that apply, in that order."""
        present = self._record_flags() | self._trial_flags()
        return [code for code in quality.FLAGS if code in present]

    def _record_flags(self) -> set[str]:
        device = self.trial.device
        moving = self.kinematics
        checks = {
            "uncalibrated": not device.calibrated,
            "finger": device.pointer_type == "touch",
            "mouse": device.pointer_type == "mouse",
            "parent_events_only": device.coalesced is False,
            "insecure_context": device.secure_context is False,
            "low_rate": self.trace.t_s is not None
            and len(self.trace) > 1
            and not self.quality.meets(quality.SPEED_RATE_HZ),
            "time_not_monotone": not self.quality.monotone,
            "coarse_positions": self.quality.coarse,
            "gaps_filled": moving is not None and moving.filled_count > 0,
            "gap_too_long": moving is not None and moving.lost_share > quality.LOST_SHARE,
        }
        return {code for code, applies in checks.items() if applies}

    def _trial_flags(self) -> set[str]:
        guide, declared = self.asked_guide, self.trial.declared_guide_id
        checks = {
            "nothing_drawn": len(self.trace) == 0,
            "partial": self.alignment is not None and self.completion < quality.PARTIAL_COMPLETION,
            "traced_other_way": self.alignment is not None and self.alignment.other_way,
            "direction_mismatch": self._mismatched,
            "guide_id_differs": declared is not None
            and guide is not None
            and declared != guide_id(guide),
            "midline_assumed": guide is not None
            and guide.midline_x_mm is not None
            and guide.midline_source == "device_centre",
        }
        return {code for code, applies in checks.items() if applies}

    @cached_property
    def events(self) -> dict[str, list[dict[str, Any]]]:
        """Pauses, departures, lifts and crossings as plain data. [ms], [mm]"""
        from analysis.events import events_of

        return events_of(self)
