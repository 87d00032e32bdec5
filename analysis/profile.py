"""Distance from the line against place on the line, each place counted once."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.alignment import Alignment
from analysis.trace import BoolArray, FloatArray

GRID_MM = 0.25
"""Spacing of the places at which the profile is kept. [mm]"""


@dataclass(frozen=True, eq=False)
class Profile:
    """First-reach profile: distance at the first drawn passage over each place.

    Parameters
    ----------
    s_mm : ndarray, shape (n,)
        Places, evenly from 0 to the guide's length. [mm]
    d_mm : ndarray, shape (n,)
        Signed distance there; NaN where the guide was not covered. [mm]

    Notes
    -----
    Between neighbouring covered places the distance is linear, and all integrals are
    exact for that line. Pauses, slow drawing, the sampling rate and retracing have no
    weight.
    """

    s_mm: FloatArray
    d_mm: FloatArray

    @cached_property
    def cell(self) -> BoolArray:
        """Whether each cell between neighbouring places is covered, shape (n - 1,)."""
        known = np.isfinite(self.d_mm)
        return known[:-1] & known[1:]

    @property
    def step_mm(self) -> float:
        """Length of a cell. [mm]"""
        return float(self.s_mm[1] - self.s_mm[0])

    @property
    def covered_mm(self) -> float:
        """Length of all covered cells. [mm]"""
        return float(np.count_nonzero(self.cell)) * self.step_mm

    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Return the distances at both ends of the covered cells. [mm]"""
        return self.d_mm[:-1][self.cell], self.d_mm[1:][self.cell]


def first_reach(alignment: Alignment, grid_mm: float = GRID_MM) -> Profile:
    """Return the first-reach profile of an aligned trace.

    Parameters
    ----------
    alignment : Alignment
        Progress and distance of every sample.
    grid_mm : float
        Greatest spacing of the places; it is made to divide the length. [mm]

    Returns
    -------
    Profile
        On a closed guide the last place is the first one again.
    """
    length_mm = alignment.guide.length_mm
    cells = max(1, int(np.ceil(length_mm / grid_mm - 1e-9)))
    step_mm = length_mm / cells
    before, after = alignment.s_mm[:-1][alignment.covers], alignment.s_mm[1:][alignment.covers]
    d_before, d_after = alignment.d_mm[:-1][alignment.covers], alignment.d_mm[1:][alignment.covers]
    low, high = np.minimum(before, after), np.maximum(before, after)
    first = np.ceil(low / step_mm - 1e-9).astype(np.int64)
    last = np.floor(high / step_mm + 1e-9).astype(np.int64)
    width = np.maximum(last - first + 1, 0)
    owner = np.repeat(np.arange(len(low)), width)
    node = np.arange(len(owner)) - np.repeat(np.cumsum(width) - width, width)
    node += np.repeat(first, width)
    span = (after - before)[owner]
    share = (node * step_mm - before[owner]) / np.where(span == 0, 1.0, span)
    share = np.clip(np.where(span == 0, 0.0, share), 0.0, 1.0)
    d_mm = d_before[owner] + share * (d_after - d_before)[owner]
    place = node % cells if alignment.guide.closed else np.clip(node, 0, cells)
    reached, index = np.unique(place, return_index=True)
    result = np.full(cells + 1, np.nan)
    result[reached] = d_mm[index]
    if alignment.guide.closed:
        result[-1] = result[0]
    return Profile(np.linspace(0.0, length_mm, cells + 1), result)
