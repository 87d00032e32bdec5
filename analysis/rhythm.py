"""Power of the distance from the line between 4 and 12 Hz.

Fast waves across the line come from the rhythm of drawing, from correcting and from an unsteady
hand alike: the number cannot tell them apart.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.signal import detrend, periodogram

from analysis.stretches import Stretch, Stretches
from analysis.trace import FloatArray
from analysis.value import Refused

BAND_HZ, ALL_HZ = (4.0, 12.0), (0.5, 12.0)
"""The band, and what it is a share of; slower waves are where the child went. [Hz]"""
SEGMENT_S, LEAST_S = 4.0, 3.0
"""Length of one spectrum, so that frequencies are told apart by 0.25 Hz; shorter continuous
drawing than the second has too few slow waves. [s]"""
LEAP_MM = 0.05
"""A smaller leap does not show among the waves. [mm]"""
EDGE_BINS = 0.1
"""A bin this near outside a band belongs to it: the rate of the even grid is not quite round,
and the bin at 0.5 Hz, the strongest of all, must not come and go with it. [1]"""
LEAST_RMS_MM = 1e-6
"""Below this the line is straight but for rounding, and a share means nothing. [mm]"""


class BandPower(NamedTuple):
    """Mean square of the distance in the band and in all of it. [mm2]"""

    band_mm2: float
    all_mm2: float


def unbroken(stretch: Stretch) -> list[Stretch]:
    """Part a stretch where the distance leaps from one piece of the guide to another.

    Parameters
    ----------
    stretch : Stretch
        Places in the first two columns, distance from the line in the third. [mm]

    Returns
    -------
    list of Stretch
        In order. A distance from one piece changes by no more than the pen moves; at a
        corner that is cut or overrun it may leap, which is no wave.
    """
    moved_mm = np.hypot(*np.diff(stretch.columns[:, :2], axis=0).T)
    leaps = np.abs(np.diff(stretch.columns[:, 2])) > moved_mm + LEAP_MM
    cuts = np.flatnonzero(leaps) + 1
    times, columns = np.split(stretch.t_s, cuts), np.split(stretch.columns, cuts)
    return [Stretch(stretch.stroke, *one) for one in zip(times, columns, strict=True)]


def even_distance_mm(stretch: Stretch, rate_hz: float) -> tuple[FloatArray, float]:
    """Distance from the line on an even grid.

    Parameters
    ----------
    stretch : Stretch
        Its third column is the distance. [mm]
    rate_hz : float
        Wanted rate. [Hz]

    Returns
    -------
    (ndarray, float)
        Distances [mm] and the rate of the grid [Hz]. The curve between samples is a monotone
        cubic: straight lines would take 3 % from waves of 6 Hz at 60 Hz, a spline would swing
        where two samples lie close together in time.
    """
    steps = round(stretch.lasts_s * rate_hz)
    t_s = np.linspace(stretch.t_s[0], stretch.t_s[-1], steps + 1)
    curve = PchipInterpolator(stretch.t_s, stretch.columns[:, 2])
    return np.asarray(curve(t_s), dtype=np.float64), steps / stretch.lasts_s


def _power(d_mm: FloatArray, rate_hz: float) -> BandPower:
    size = min(len(d_mm), round(SEGMENT_S * rate_hz))
    # Spread from end to end: windows at fixed steps would leave out what is left over.
    count = 1 + int(np.ceil((len(d_mm) - size) / (size / 2)))
    first = np.round(np.linspace(0, len(d_mm) - size, count)).astype(np.int64)
    windows_mm = d_mm[first[:, None] + np.arange(size)]
    f_hz, densities = periodogram(windows_mm, fs=rate_hz, window="hann", detrend=detrend)
    density = densities.mean(axis=0)
    edge_hz = EDGE_BINS * f_hz[1]
    band, whole = [
        float(density[(f_hz >= low_hz - edge_hz) & (f_hz <= high_hz + edge_hz)].sum() * f_hz[1])
        for low_hz, high_hz in (BAND_HZ, ALL_HZ)
    ]
    return BandPower(band, whole)


def band_power(stretches: Stretches) -> BandPower:
    """Mean power over all stretches of at least 3 s, weighted by their times.

    Parameters
    ----------
    stretches : Stretches
        Not filtered; the third column is the distance from the line. [mm]

    Returns
    -------
    BandPower
        By Welch's method: Hann windows of 4 s that overlap by half or a little more, so that
        they reach from end to end, a line taken out of each.

    Raises
    ------
    Refused
        ``too_few_samples`` if no stretch is long enough.

    References
    ----------
    Welch (1967), IEEE Trans. Audio Electroacoust. 15:70 (from memory).
    """
    pieces = [piece for one in stretches.stretches for piece in unbroken(one)]
    long = [piece for piece in pieces if piece.lasts_s >= LEAST_S]
    if not long:
        raise Refused("too_few_samples")
    powers = [_power(*even_distance_mm(one, stretches.even_rate_hz)) for one in long]
    return BandPower(*_weighted(powers, [one.lasts_s for one in long]))


def _weighted(powers: Sequence[BandPower], weights: Sequence[float]) -> list[float]:
    return [float(total) for total in np.average(np.array(powers), axis=0, weights=weights)]
