"""Corners of a guide, and how near the trace came to them."""

from dataclasses import dataclass

import numpy as np

from analysis.alignment import Alignment
from analysis.guide import Guide
from analysis.trace import FloatArray
from analysis.value import Refused

LEAST_TURN_DEG = 30.0
"""Vertices that turn by less are part of a curve. [deg]"""
FULL_REVERSAL_DEG = 180.0 - 2e-6
"""From here a guide runs back on itself, and no fillet fits. [deg]"""
NEAR_CORNER_MM = 10.0
"""The trace is searched within this distance along the guide. [mm]"""


@dataclass(frozen=True, eq=False)
class Corner:
    """A vertex of the guide: its point [mm], progress [mm] and turn [deg]."""

    point_mm: FloatArray
    s_mm: float
    turn_deg: float


def turns_deg(guide: Guide) -> FloatArray:
    """Turn at the end of every straight piece; 0 where a part ends. [deg]

    Parameters
    ----------
    guide : Guide
        The guide.

    Returns
    -------
    ndarray, shape (m,)
        Size of the turn, 0..180.
    """
    result = np.zeros(len(guide.segment_part))
    for number, part in enumerate(guide.parts):
        mine = np.flatnonzero(guide.segment_part == number)
        tangent = guide.segment_tangent[mine]
        after = np.roll(tangent, -1, axis=0)
        cross = tangent[:, 0] * after[:, 1] - tangent[:, 1] * after[:, 0]
        turn = np.degrees(np.abs(np.arctan2(cross, np.einsum("nc,nc->n", tangent, after))))
        if not part.closed:
            turn[-1] = 0.0
        result[mine] = turn
    return result


def corners(guide: Guide) -> tuple[Corner, ...]:
    """Return the vertices that turn by at least 30 degrees, in order of progress."""
    turn = turns_deg(guide)
    found = np.flatnonzero(turn >= LEAST_TURN_DEG)
    ends_mm = guide.segment_start_mm + guide.segment_vector_mm
    return tuple(
        Corner(ends_mm[at], float(guide.segment_s_mm[at + 1]), float(turn[at])) for at in found
    )


def full_reversals(guide: Guide) -> tuple[Corner, ...]:
    """Return the corners at which the guide runs back on itself."""
    return tuple(corner for corner in corners(guide) if corner.turn_deg >= FULL_REVERSAL_DEG)


def _distance_to_pieces(point: FloatArray, start: FloatArray, end: FloatArray) -> float:
    along = end - start
    squared = np.einsum("nc,nc->n", along, along)
    share = np.einsum("nc,nc->n", point - start, along) / np.where(squared > 0, squared, 1.0)
    nearest = start + np.clip(share, 0, 1)[:, None] * along
    return float(np.hypot(*(nearest - point).T).min())


def corner_misses_mm(alignment: Alignment, xy_mm: FloatArray) -> list[tuple[Corner, float]]:
    """Least distance of the trace from each corner it came near to.

    Parameters
    ----------
    alignment : Alignment
        Of the trace.
    xy_mm : ndarray, shape (n, 2)
        Positions of the same samples. [mm]

    Returns
    -------
    list of (Corner, float)
        Corners with drawn samples within 10 mm along the guide, and the miss. [mm]

    Raises
    ------
    Refused
        ``guide_lacks_feature`` without corners, ``too_little_traced`` if none was drawn.
    """
    guide = alignment.guide
    found = corners(guide)
    if not found:
        raise Refused("guide_lacks_feature")
    misses: list[tuple[Corner, float]] = []
    for corner in found:
        away_mm = alignment.s_mm - corner.s_mm
        if guide.closed:
            away_mm = away_mm - guide.length_mm * np.round(away_mm / guide.length_mm)
        near = np.abs(away_mm) <= NEAR_CORNER_MM
        pieces = np.flatnonzero(near[:-1] & near[1:] & alignment.drawn)
        if len(pieces):
            miss_mm = _distance_to_pieces(corner.point_mm, xy_mm[pieces], xy_mm[pieces + 1])
            misses.append((corner, miss_mm))
    if not misses:
        raise Refused("too_little_traced")
    return misses


def fillet_radius_mm(corner: Corner, miss_mm: float) -> float:
    """Radius of the fillet that misses a corner by `miss_mm`.

    Parameters
    ----------
    corner : Corner
        Its interior angle a is 180° less its turn.
    miss_mm : float
        Distance from the vertex. [mm]

    Returns
    -------
    float
        miss / (1/sin(a/2) - 1). [mm]

    Raises
    ------
    Refused
        ``guide_lacks_feature`` at a full reversal, where no fillet exists.
    """
    half_deg = (180.0 - corner.turn_deg) / 2
    if corner.turn_deg >= FULL_REVERSAL_DEG:
        raise Refused("guide_lacks_feature")
    return float(miss_mm / (1.0 / np.sin(np.radians(half_deg)) - 1.0))
