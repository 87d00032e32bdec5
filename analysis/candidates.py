"""Places of the guide that each point of a trace may belong to."""

from dataclasses import dataclass

import numpy as np

from analysis.guide import Guide
from analysis.trace import BoolArray, FloatArray, IntArray

CHUNK = 400_000
"""Pairs of a point and a straight piece looked at in one go: bounds the memory. [1]"""
ON_VERTEX_MM = 0.05
"""Nearer to a vertex than this, the pen's own direction from it says nothing. [mm]"""


@dataclass(frozen=True, eq=False)
class Candidates:
    """Local minima over s of the distance to the guide, the nearest ones of every point.

    Parameters
    ----------
    s_mm : ndarray, shape (k, c)
        Progress of the foot. [mm]
    away_mm : ndarray, shape (k, c)
        Distance; infinite where there are fewer than c minima. [mm]
    side_mm : ndarray, shape (k, c)
        Signed distance, positive to the left of travel; 0 where infinite. [mm]
    tangent_in, tangent_out : ndarray, shape (k, c, 2)
        Unit tangents before and after the foot. Where the foot is a vertex or an end and
        the pen is away from it, both are square to the line from the foot to the pen: the
        direction that a corner of vanishing radius has there.
    """

    s_mm: FloatArray
    away_mm: FloatArray
    side_mm: FloatArray
    tangent_in: FloatArray
    tangent_out: FloatArray


def next_segment(guide: Guide) -> IntArray:
    """Return for each straight piece the one it runs on into, or -1."""
    count = len(guide.segment_part)
    following = np.arange(1, count + 1)
    following[np.append(np.diff(guide.segment_part) != 0, True)] = -1
    for number, part in enumerate(guide.parts):
        if part.closed:
            mine = np.flatnonzero(guide.segment_part == number)
            following[mine[-1]] = mine[0]
    return following


def _local_minima(
    guide: Guide, xy_mm: FloatArray, ripple_mm: float
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Distance and foot for each keypoint and straight piece; infinite if no minimum.

    A foot inside a piece is a minimum of the distance over s; so is a shared vertex
    on which both its pieces are clamped, and an end on which its piece is clamped.
    """
    from_start_mm = xy_mm[:, None, :] - guide.segment_start_mm
    along_mm = np.einsum("kmc,mc->km", from_start_mm, guide.segment_tangent)
    before, beyond = along_mm <= 0, along_mm >= guide.segment_length_mm
    foot_mm = np.clip(along_mm, 0, guide.segment_length_mm)
    offset_mm = from_start_mm - foot_mm[..., None] * guide.segment_tangent
    distance_mm = np.sqrt(np.einsum("kmc,kmc->km", offset_mm, offset_mm))

    following = next_segment(guide)
    next_before = np.where(following >= 0, before[:, following], True)
    at_end = beyond & next_before
    is_first = np.ones(len(following), dtype=np.bool_)
    is_first[following[following >= 0]] = False
    minimum = (~before & ~beyond) | at_end | (before & is_first)
    result = np.where(minimum, distance_mm, np.inf)

    linked = np.flatnonzero(following >= 0)
    ridge_offset = xy_mm[:, None, :] - (guide.segment_start_mm + guide.segment_vector_mm)[linked]
    ridge_mm = np.sqrt(np.einsum("kmc,kmc->km", ridge_offset, ridge_offset))
    here, there = result[:, linked], result[:, following[linked]]
    with np.errstate(invalid="ignore"):
        one = ridge_mm - np.maximum(here, there) < ripple_mm
    one &= np.isfinite(here) & np.isfinite(there)
    drop = np.zeros_like(minimum)
    rows, columns = np.nonzero(one & (here > there))
    drop[rows, linked[columns]] = True
    rows, columns = np.nonzero(one & (here <= there))
    drop[rows, following[linked[columns]]] = True
    return np.where(drop, np.inf, result), foot_mm, at_end | before


def candidates(guide: Guide, xy_mm: FloatArray, count: int, ripple_mm: float) -> Candidates:
    """Return the nearest local minima of the distance from each point to the guide.

    Parameters
    ----------
    guide : Guide
        The guide.
    xy_mm : ndarray, shape (k, 2)
        Points. [mm]
    count : int
        Most minima kept for a point. [1]
    ripple_mm : float
        Two minima with no ridge higher than this between them are one. [mm]

    Returns
    -------
    Candidates
        In no order.
    """
    chunk = max(1, CHUNK // len(guide.segment_length_mm))
    count = min(count, len(guide.segment_length_mm))
    found: list[tuple[FloatArray, FloatArray, IntArray, BoolArray]] = []
    for first in range(0, len(xy_mm), chunk):
        distance_mm, foot_mm, clamped = _local_minima(
            guide, xy_mm[first : first + chunk], ripple_mm
        )
        best = np.argpartition(distance_mm, count - 1, axis=1)[:, :count]
        rows = np.arange(len(best))[:, None]
        found.append((distance_mm[rows, best], foot_mm[rows, best], best, clamped[rows, best]))
    away_mm, foot_mm, segment, clamped = (np.concatenate(x) for x in zip(*found, strict=True))
    following = next_segment(guide)
    after = np.where(following >= 0, following, np.arange(len(following)))
    tangent_in = guide.segment_tangent[segment]
    turns = (clamped & (foot_mm > 0))[..., None]
    tangent_out = np.where(turns, guide.segment_tangent[after[segment]], tangent_in)
    offset_mm = (
        xy_mm[:, None, :] - guide.segment_start_mm[segment] - foot_mm[..., None] * tangent_in
    )
    length_mm = np.hypot(offset_mm[..., 0], offset_mm[..., 1])
    square = np.stack([-offset_mm[..., 1], offset_mm[..., 0]], axis=-1)
    square /= np.maximum(length_mm, ON_VERTEX_MM)[..., None]
    ahead = np.einsum("kci,kci->kc", square, tangent_in + tangent_out)
    square *= np.where(ahead < 0, -1.0, 1.0)[..., None]
    off_vertex = (clamped & (length_mm > ON_VERTEX_MM))[..., None]
    tangent_in = np.where(off_vertex, square, tangent_in)
    tangent_out = np.where(off_vertex, square, tangent_out)
    side_mm = offset_mm[..., 0] * tangent_in[..., 1] - offset_mm[..., 1] * tangent_in[..., 0]
    return Candidates(
        s_mm=guide.segment_s_mm[segment] + foot_mm,
        away_mm=away_mm,
        side_mm=np.where(np.isfinite(away_mm), side_mm, 0.0),
        tangent_in=tangent_in,
        tangent_out=tangent_out,
    )
