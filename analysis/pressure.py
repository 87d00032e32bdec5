"""How hard the pen was pressed, as a share of its range: not a force, and no two pens agree.

Between samples the pressure is a straight line; every number weighs time, not samples.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.signal import find_peaks
from scipy.stats import theilslopes

from analysis.conditioning import stroke_slices
from analysis.filtering import PRESSURE_PASS, low_passed
from analysis.stretches import Stretch, stretches
from analysis.trace import FloatArray, Trace
from analysis.value import Refused

END_S = 0.050
"""Landing and lifting of each stroke, left out. [s]"""
LEAST_DISTINCT, LEAST_SD = 3, 0.001
"""Fewer values or less spread, and the reading is a stand-in: a pen that cannot sense reports
0.5 throughout (W3C Pointer Events)."""
SATURATED, SATURATED_SHARE = 0.98, 0.2
"""The pen's range ends here; longer than this share of the time there, and peaks are cut off."""
BIN_S, LEAST_DRIFT_S = 0.5, 3.0
"""Drift is told from means of so long [s], over at least so long. [s]"""
ROUNDING_S = 1e-6
"""Times are kept to a microsecond. [s]"""
MOST_MEANS = 2000
"""From so many means on only every second, third and so on is used: pairs fill the memory."""
PEAK, PEAK_END_S = 0.05, 0.070
"""A peak stands out by this share of the range. So much more of each end is left out where
peaks are looked for: between the samples of a slow pen landing and lifting reach farther. [s]"""


@dataclass(frozen=True, eq=False)
class Pressing:
    """Pressure of one trial in time, without the first and last 50 ms of each stroke.

    Parameters
    ----------
    stretches : sequence of Stretch
        Without gaps; the third column is the pressure. [1]
    even_rate_hz : float
        Rate of the even grid. [Hz]
    """

    stretches: Sequence[Stretch]
    even_rate_hz: float

    @cached_property
    def _lines(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Straight pieces: start and length in time [s], pressure at both ends [1]."""
        columns = [
            (one.t_s[:-1], np.diff(one.t_s), one.columns[:-1, 2], one.columns[1:, 2])
            for one in self.stretches
        ]
        if not columns:
            return (np.empty(0), np.empty(0), np.empty(0), np.empty(0))
        start, lasts, first, last = (np.concatenate(part) for part in zip(*columns, strict=True))
        return start, lasts, first, last

    @cached_property
    def lasts_s(self) -> float:
        """Time with a measured pressure. [s]"""
        return float(self._lines[1].sum())

    @cached_property
    def mean(self) -> float:
        """Mean over time. [1]"""
        _, lasts_s, first, last = self._lines
        return float((lasts_s * (first + last)).sum() / 2.0 / self.lasts_s)

    @cached_property
    def sd(self) -> float:
        """Standard deviation over time. [1]"""
        _, lasts_s, first, last = self._lines
        a, b = first - self.mean, last - self.mean
        return float(np.sqrt((lasts_s * (a * a + a * b + b * b)).sum() / 3.0 / self.lasts_s))

    @property
    def is_constant(self) -> bool:
        """Whether the reading never really changed."""
        # Both ends of a stretch lie between readings; what is read is inside.
        values = [one.columns[1:-1, 2] for one in self.stretches]
        distinct = np.unique(np.concatenate(values)) if values else np.empty(0)
        return len(distinct) < LEAST_DISTINCT or self.sd < LEAST_SD

    @property
    def is_saturated(self) -> bool:
        """Whether it was at the end of the range too long."""
        return self.share_between(SATURATED, np.inf) > SATURATED_SHARE

    def share_between(self, low: float, high: float) -> float:
        """Share of time with ``low <= pressure <= high``, crossings exact. [1]"""
        _, lasts_s, first, last = self._lines
        bottom, top = np.minimum(first, last), np.maximum(first, last)
        height = top - bottom
        inside = np.minimum(top, high) - np.maximum(bottom, low)
        level = (inside >= 0).astype(np.float64)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(height > 0, np.clip(inside / height, 0.0, 1.0), level)
        return float((lasts_s * share).sum() / self.lasts_s)

    def drift_per_s(self) -> float:
        """Theil-Sen slope of the means of every 0.5 s against their times.

        Returns
        -------
        float
            Share of the range for each second. [1/s]

        Raises
        ------
        Refused
            ``too_few_samples`` for less than 3 s of pressure or six means.

        References
        ----------
        Theil (1950), Sen (1968), J. Am. Stat. Assoc. 63:1379 (from memory).
        """
        if not self.drifts:
            raise Refused("too_few_samples")
        every = 1 + len(self._means[0]) // MOST_MEANS
        t_s, means = (column[::every] for column in self._means)
        return float(theilslopes(means, t_s).slope)

    @property
    def drifts(self) -> bool:
        """Whether it lasts long enough to tell a drift."""
        long = self.lasts_s > LEAST_DRIFT_S - ROUNDING_S
        return long and len(self._means[0]) >= LEAST_DRIFT_S / BIN_S

    @cached_property
    def _means(self) -> tuple[FloatArray, FloatArray]:
        """Mean time [s] and mean pressure of each 0.5 s of the clock that is half filled."""
        if not self.stretches:
            return np.empty(0), np.empty(0)
        start_s = self.stretches[0].t_s[0]
        found: dict[int, list[tuple[float, float, float]]] = {}
        for one in self.stretches:
            for number, t_s, values in _parts(one.t_s - start_s, one.columns[:, 2]):
                lasts_s = np.diff(t_s)
                middle_s, middle = (t_s[1:] + t_s[:-1]) / 2.0, (values[1:] + values[:-1]) / 2.0
                sums = (lasts_s.sum(), (lasts_s * middle_s).sum(), (lasts_s * middle).sum())
                found.setdefault(number, []).append(sums)
        total = np.array([np.sum(found[number], axis=0) for number in sorted(found)])
        total = total[total[:, 0] >= BIN_S / 2.0]
        return total[:, 1] / total[:, 0], total[:, 2] / total[:, 0]

    def peaks_per_s(self) -> float:
        """Peaks that stand out by 0.05, below 5 Hz, for each second of pressing. [1/s]"""
        count = 0
        for one in self.stretches:
            even = one.even(self.even_rate_hz)
            if even is not None:
                smooth = low_passed(even.columns[:, 2:], even.rate_hz, PRESSURE_PASS, rests=False)
                inner = np.minimum(even.t_s - even.t_s[0], even.t_s[-1] - even.t_s) >= PEAK_END_S
                count += len(find_peaks(smooth[inner, 0], prominence=PEAK)[0])
        return count / self.lasts_s


def _parts(t_s: FloatArray, values: FloatArray) -> list[tuple[int, FloatArray, FloatArray]]:
    """Cut a line at whole multiples of 0.5 s: number of each part, its times [s] and values."""
    first, last = int(t_s[0] // BIN_S), int(np.ceil(t_s[-1] / BIN_S))
    edges = BIN_S * np.arange(first + 1, last)
    all_s = np.union1d(t_s, edges)
    every = np.interp(all_s, t_s, values)
    at = np.searchsorted(all_s, edges)
    bounds = [0, *at.tolist(), len(all_s) - 1]
    return [
        (first + place, all_s[a : b + 1], every[a : b + 1])
        for place, (a, b) in enumerate(pairwise(bounds))
    ]


def pressing_of(trace: Trace) -> Pressing | None:
    """Pressure in time.

    Parameters
    ----------
    trace : Trace
        Ordered samples with a monotone clock.

    Returns
    -------
    Pressing or None
        None without times, or if no sample has a pressure from 0 to 1. A pen that rested and
        reported nothing pressed as before; longer gaps do not count.
    """
    if trace.t_s is None or trace.pressure is None:
        return None
    known = (trace.pressure >= 0.0) & (trace.pressure <= 1.0)
    if not known.any():
        return None
    ends_s = {
        int(trace.stroke[part.start]): (trace.t_s[part.start], trace.t_s[part.stop - 1])
        for part in stroke_slices(trace.stroke)
    }
    measured = Trace(xy_mm=trace.xy_mm[known], t_s=trace.t_s[known], stroke=trace.stroke[known])
    made = stretches(measured, trace.pressure[known])
    names = [int(measured.stroke[part.start]) for part in stroke_slices(measured.stroke)]
    trimmed = [_trimmed(one, *ends_s[names[one.stroke]]) for one in made.stretches]
    return Pressing([one for one in trimmed if one is not None], made.even_rate_hz)


def _trimmed(one: Stretch, stroke_start_s: float, stroke_end_s: float) -> Stretch | None:
    """Cut a stretch to what is 50 ms away from both ends of its stroke."""
    start_s = max(float(one.t_s[0]), stroke_start_s + END_S)
    end_s = min(float(one.t_s[-1]), stroke_end_s - END_S)
    if start_s >= end_s:
        return None
    inner = one.t_s[(one.t_s > start_s) & (one.t_s < end_s)]
    t_s = np.concatenate([[start_s], inner, [end_s]])
    columns = [np.interp(t_s, one.t_s, column) for column in one.columns.T]
    return Stretch(one.stroke, t_s, np.column_stack(columns))
