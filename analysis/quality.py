"""How good the record of a trial is, whatever the child did."""

from dataclasses import dataclass

import numpy as np

from analysis.conditioning import Ordered, sample_steps_s
from analysis.trace import FloatArray, Trace

RATE_TOLERANCE = 0.95
"""A limit of N Hz is met from 0.95 N: jitter and rounded times. [1]"""
SHAPE_RATE_HZ, SHAPE_SPACING_MM = 30.0, 2.0
"""Geometry needs this rate, or this spacing at the 95th percentile."""
SPEED_RATE_HZ, PEAK_RATE_HZ, FINE_RATE_HZ = 50.0, 60.0, 100.0
"""Rates that speed, peaks of speed, and curvature and the share of fast waves need. [Hz]"""
PRESSURE_RATE_HZ = 30.0
"""Rate that pressure needs: a hand changes it slowly. [Hz]"""
LOST_SHARE = 0.1
"""More pen-down time than this inside unbridgeable gaps spoils speed. [1]"""
COARSE_STEP_MM, LEAST_STEP_MM = 0.1, 0.001
"""Positions on a lattice wider than the first are coarse; finer than the second is none."""
LATTICE_SHARE, LATTICE_TOLERANCE = 0.95, 0.1
"""Share of gaps that must be whole multiples of the step, and how nearly."""
PARTIAL_COMPLETION, LEAST_COMPLETION = 0.90, 0.25
"""Below the first a trial is flagged partial, below the second most measures refuse."""

FLAGS: dict[str, str] = {
    "nothing_drawn": "Nothing was drawn.",
    "partial": "Less than nine tenths of the line was drawn.",
    "traced_other_way": "The line was drawn the other way from the one asked.",
    "uncalibrated": "The tablet was not calibrated: lengths in mm are not known.",
    "finger": "Drawn with a finger: a resting palm cannot be told apart from it.",
    "mouse": "Drawn with a mouse.",
    "low_rate": "The tablet reported few points a second, so speed and pauses are not given.",
    "time_not_monotone": "The tablet's clock went back or stood still during the trial.",
    "gaps_filled": "Short gaps in the record were bridged by a straight line.",
    "gap_too_long": "The record has gaps too long to bridge.",
    "coarse_positions": "The tablet reported positions in coarse steps.",
    "parent_events_only": "The browser gave fewer points than the pen reported.",
    "insecure_context": "The page was not opened over a secure connection.",
    "direction_mismatch": "The direction written in the plan does not fit the guide.",
    "guide_id_differs": "The guide carries an id that does not fit its points.",
    "midline_assumed": "The midline was taken to be the middle of the tablet.",
    "late": "Arrived after its day had ended.",
    "scoring_failed": "This trial is stored safely but could not be measured.",
}
"""Every flag a report may carry, with the sentence a page shows."""


@dataclass(frozen=True)
class Quality:
    """What the record of a trial allows.

    Parameters
    ----------
    rate_hz : float or None
        1 / median step between samples of a stroke. [Hz]
    longest_gap_s : float or None
        Longest such step. [s]
    spacing_p95_mm : float or None
        95th percentile of the distance between neighbouring samples. [mm]
    position_step_mm : float or None
        Lattice on which positions lie; None if they are fine. [mm]
    monotone : bool
        Whether the clock can be believed.
    """

    rate_hz: float | None
    longest_gap_s: float | None
    spacing_p95_mm: float | None
    position_step_mm: float | None
    monotone: bool

    def meets(self, rate_hz: float) -> bool:
        """Whether the sampling rate reaches a limit. [Hz]"""
        return self.rate_hz is not None and self.rate_hz >= RATE_TOLERANCE * rate_hz

    @property
    def shape_ok(self) -> bool:
        """Whether the samples are dense enough for geometry."""
        dense = self.spacing_p95_mm is not None and self.spacing_p95_mm <= SHAPE_SPACING_MM
        return dense or self.meets(SHAPE_RATE_HZ)

    @property
    def coarse(self) -> bool:
        """Whether positions lie on a lattice wider than 0.1 mm."""
        return self.position_step_mm is not None and self.position_step_mm > COARSE_STEP_MM


def position_step_mm(xy_mm: FloatArray) -> float | None:
    """Lattice on which positions lie, the finer of x and y.

    Parameters
    ----------
    xy_mm : ndarray, shape (n, 2)
        Positions. [mm]

    Returns
    -------
    float or None
        Smallest difference between two values of one coordinate, if at least 95 % of
        the gaps between neighbouring distinct values are whole multiples of it within
        10 %. None if there is no such lattice: the positions are fine. [mm]
    """
    steps: list[float] = []
    for column in xy_mm.T:
        gaps = np.diff(np.unique(column))
        gaps = gaps[gaps >= LEAST_STEP_MM]
        if len(gaps) < 2:
            continue
        step = float(gaps.min())
        near = np.abs(gaps / step - np.round(gaps / step)) <= LATTICE_TOLERANCE
        if near.mean() < LATTICE_SHARE:
            return None
        steps.append(step)
    return min(steps) if steps else None


def quality_of(made: Ordered) -> Quality:
    """Return what the record of a trial allows.

    Parameters
    ----------
    made : Ordered
        Ordered samples.

    Returns
    -------
    Quality
        Rates are None when there are not two samples with times in one stroke.
    """
    trace: Trace = made.trace
    steps_s = sample_steps_s(trace)
    steps_s = steps_s[steps_s > 0]
    same = np.diff(trace.stroke) == 0
    spacing_mm = np.hypot(*np.diff(trace.xy_mm, axis=0)[same].T) if same.any() else np.empty(0)
    # A resting pen reports many samples at one place; they say nothing of the spacing.
    moved_mm = spacing_mm[spacing_mm > 0]
    return Quality(
        rate_hz=float(1.0 / np.median(steps_s)) if len(steps_s) else None,
        longest_gap_s=float(steps_s.max()) if len(steps_s) else None,
        spacing_p95_mm=float(np.quantile(moved_mm, 0.95)) if len(moved_mm) else None,
        position_step_mm=position_step_mm(trace.xy_mm),
        monotone=made.monotone,
    )
