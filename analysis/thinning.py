"""Which samples decide the matching, and where they are when the positions are noisy.

Only the choice of the lobe uses these places: distances from the line are always taken
from the positions as they were reported.
"""

import math

import numpy as np
from scipy.ndimage import gaussian_filter1d

from analysis.conditioning import stroke_slices
from analysis.trace import FloatArray, IntArray

NOISE_MM, STEADY_MM = 0.15, 0.1
"""Noise above the first, which no pen or finger has, is averaged down towards the second
before a lobe is chosen: thinned as it is, its zigzag would outweigh the way of the line."""
STEADY_REACH_MM = 4.0
"""Travel over which positions are averaged at most: shorter than any lobe is wide. [mm]"""
TRAVEL_LAGS = (4, 16)
"""Travel of one sample is that over so many, or noise would lengthen it; the larger of both,
because a line that bends comes back in the longer one. [1]"""
LEAST_COUNT = 2.0
"""Fewer samples than this have nothing to average. [1]"""
MAD, SECOND_DIFFERENCE = 0.6745, math.sqrt(6.0)
"""Median absolute value of a normal law of standard deviation 1, and the deviation of the
second differences (1, -2, 1) of such noise."""


def keypoints(xy_mm: FloatArray, stroke: IntArray, spacing_mm: float) -> IntArray:
    """Return indices of samples at least `spacing_mm` apart, with all stroke ends.

    Parameters
    ----------
    xy_mm : ndarray, shape (n, 2)
        Positions. [mm]
    stroke : ndarray of int, shape (n,)
        Stroke numbers.
    spacing_mm : float
        Least distance between neighbours inside a stroke. [mm]

    Returns
    -------
    ndarray of int, shape (k,)
        Rising indices.
    """
    ends = np.append(stroke[1:] != stroke[:-1], True)
    starts = np.insert(ends[:-1], 0, True)
    kept: list[int] = []
    last_x, last_y = 0.0, 0.0
    limit = spacing_mm * spacing_mm
    flags = (starts | ends).tolist()
    for index, (x, y) in enumerate(xy_mm.tolist()):
        far = (x - last_x) ** 2 + (y - last_y) ** 2 >= limit
        if flags[index] or far:
            kept.append(index)
            last_x, last_y = x, y
    return np.array(kept, dtype=np.int64)


def noise_mm(xy_mm: FloatArray, stroke: IntArray) -> float:
    """Estimate the standard deviation of white noise in the positions of each axis. [mm]

    From the median second difference inside strokes; what the pen really turns within
    three samples counts as noise as well.
    """
    inside = (stroke[2:] == stroke[1:-1]) & (stroke[1:-1] == stroke[:-2])
    second_mm = np.diff(xy_mm, 2, axis=0)[inside]
    if len(second_mm) == 0:
        return 0.0
    return float(np.median(np.abs(second_mm))) / (MAD * SECOND_DIFFERENCE)


def _travel_mm(xy_mm: FloatArray, stroke: IntArray, lag: int, sigma_mm: float) -> float:
    """Median way from a sample to the next, by samples farther apart, less their noise."""
    same = stroke[lag:] == stroke[:-lag]
    if not same.any():
        return 0.0
    apart_mm = float(np.median(np.hypot(*(xy_mm[lag:] - xy_mm[:-lag])[same].T)))
    return math.sqrt(max(apart_mm**2 - 4.0 * sigma_mm**2, 0.0)) / lag


def steadied(xy_mm: FloatArray, stroke: IntArray) -> FloatArray:
    """Average noisy positions over a few mm of travel, stroke by stroke.

    Parameters
    ----------
    xy_mm : ndarray, shape (n, 2)
        Positions. [mm]
    stroke : ndarray of int, shape (n,)
        Stroke numbers, rising.

    Returns
    -------
    ndarray, shape (n, 2)
        The very same positions if their noise is below 0.15 mm. [mm]
    """
    sigma_mm = noise_mm(xy_mm, stroke)
    if sigma_mm < NOISE_MM:
        return xy_mm
    travel_mm = max(_travel_mm(xy_mm, stroke, lag, sigma_mm) for lag in TRAVEL_LAGS)
    if travel_mm == 0.0:
        return xy_mm
    count = min(STEADY_REACH_MM / travel_mm, (sigma_mm / STEADY_MM) ** 2)
    if count < LEAST_COUNT:
        return xy_mm
    result = xy_mm.copy()
    for part in stroke_slices(stroke):
        result[part] = gaussian_filter1d(xy_mm[part], 0.5 * count, axis=0, mode="nearest")
    return result
