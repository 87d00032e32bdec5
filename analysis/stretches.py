"""Strokes without their gaps, and on an even grid of time; nothing here is filtered."""

from typing import Literal, NamedTuple

import numpy as np

from analysis.conditioning import sample_steps_s, stroke_slices
from analysis.trace import FloatArray, Trace

GAP_S, FILLED_GAP_S, RESTING_GAP_MM = 0.050, 0.150, 0.5
"""Shortest gap, longest gap filled by a line [s]; a pen that moved less was resting. [mm]"""
LONGEST_S = 3600.0
"""All stretches of a trial together are no longer: 200 000 samples, the most a document holds,
come to less at 60 Hz, and an even grid over a broken clock would fill the memory. [s]"""
FAST_RATE_HZ, EVEN_RATES_HZ = 90.0, (60.0, 120.0)
"""Devices from this rate get the second of the two grids, slower ones the first. [Hz]"""

GapKind = Literal["rest", "fill", "split"]


def _gap_kind(step_s: float, moved_mm: float) -> GapKind:
    if moved_mm < RESTING_GAP_MM:
        return "rest"
    return "fill" if step_s <= FILLED_GAP_S else "split"


def _without_gaps(
    t_s: FloatArray, columns: FloatArray, median_step_s: float
) -> tuple[list[tuple[FloatArray, FloatArray]], int, float]:
    """Split one stroke at long gaps; hold all columns while the pen rests."""
    gaps = np.flatnonzero(np.diff(t_s) > max(3.0 * median_step_s, GAP_S))
    moved_mm = np.hypot(*(columns[gaps + 1] - columns[gaps]).T[:2])
    kinds = [
        _gap_kind(float(t_s[at + 1] - t_s[at]), float(moved))
        for at, moved in zip(gaps, moved_mm, strict=True)
    ]
    rests = np.array(
        [at for at, kind in zip(gaps, kinds, strict=True) if kind == "rest"], dtype=int
    )
    splits = [at for at, kind in zip(gaps, kinds, strict=True) if kind == "split"]
    lost_s = float(sum(t_s[at + 1] - t_s[at] for at in splits))
    held_t_s = np.insert(t_s, rests + 1, t_s[rests + 1] - median_step_s)
    held = np.insert(columns, rests + 1, columns[rests], axis=0)
    cuts = np.array([at + 1 + np.count_nonzero(rests <= at) for at in splits], dtype=int)
    found = list(zip(np.split(held_t_s, cuts), np.split(held, cuts), strict=True))
    return found, kinds.count("fill"), lost_s


class Stretch(NamedTuple):
    """Samples of one stroke without a gap: its number, times [s] and columns, shape (n, k)."""

    stroke: int
    t_s: FloatArray
    columns: FloatArray

    def even(self, rate_hz: float) -> "Stretch | None":
        """Return it on an even grid from first to last sample; None if shorter than a step."""
        steps = round(float(self.t_s[-1] - self.t_s[0]) * rate_hz)
        if steps < 1:
            return None
        t_s = np.linspace(self.t_s[0], self.t_s[-1], steps + 1)
        columns = [np.interp(t_s, self.t_s, column) for column in self.columns.T]
        return Stretch(self.stroke, t_s, np.column_stack(columns))

    @property
    def lasts_s(self) -> float:
        """From first to last sample. [s]"""
        return float(self.t_s[-1] - self.t_s[0])

    @property
    def rate_hz(self) -> float:
        """Rate of an even stretch. [Hz]"""
        return (len(self.t_s) - 1) / self.lasts_s


class Stretches(NamedTuple):
    """All stretches of a trial, the rate of their even grid [Hz], gaps filled, time lost [s]."""

    stretches: tuple[Stretch, ...]
    even_rate_hz: float
    filled_count: int
    lost_s: float

    def even(self) -> list[Stretch]:
        """Return those that last for a step at least, on the even grid."""
        made = [stretch.even(self.even_rate_hz) for stretch in self.stretches]
        return [stretch for stretch in made if stretch is not None]


def stretches(trace: Trace, *more: FloatArray) -> Stretches:
    """Split strokes at long gaps and hold what rests; nothing is filtered yet.

    Parameters
    ----------
    trace : Trace
        Ordered samples with a monotone clock.
    *more : ndarray, shape (n,)
        Columns to carry along behind x and y.

    Returns
    -------
    Stretches
        Columns x, y [mm] and `more`. The even grid has 120 Hz, 60 Hz if the device is slower
        than 90 Hz. What goes beyond an hour in all counts as lost.

    Raises
    ------
    ValueError
        If the trace has no times.
    """
    steps_s = sample_steps_s(trace)
    if trace.t_s is None:
        raise ValueError("stretches needs times")
    if len(steps_s) == 0:
        return Stretches((), EVEN_RATES_HZ[0], 0, 0.0)
    median_step_s = float(np.median(steps_s))
    columns = np.column_stack([trace.xy_mm, *more])
    found: list[Stretch] = []
    filled_count, lost_s, kept_s = 0, 0.0, 0.0
    for number, part in enumerate(stroke_slices(trace.stroke)):
        made, filled, lost = _without_gaps(trace.t_s[part], columns[part], median_step_s)
        for one in (Stretch(number, *each) for each in made):
            if kept_s + one.lasts_s <= LONGEST_S:
                found.append(one)
                kept_s += one.lasts_s
            else:
                lost += one.lasts_s
        filled_count, lost_s = filled_count + filled, lost_s + lost
    rate_hz = EVEN_RATES_HZ[median_step_s * FAST_RATE_HZ <= 1.0]
    return Stretches(tuple(found), rate_hz, filled_count, lost_s)
