"""The zone around the midline against its flanks: all of it Linnet convention."""

from dataclasses import dataclass

import numpy as np

from analysis.filtering import Piece
from analysis.guide import Guide
from analysis.midline import ZONE_MM
from analysis.profile import Profile
from analysis.trace import BoolArray, FloatArray
from analysis.value import Refused

FLANK_MM = 60.0
"""Outer edge of the flanks. [mm]"""
LEAST_LENGTH_MM = 10.0
"""Guide needed in the zone and in each flank before they are compared. [mm]"""
LEAST_FLANK_DEVIATION_MM = 0.2
"""Below this the deviation in the flanks is too small to divide by. [mm]"""


def crossing_parts(guide: Guide, midline_x_mm: float) -> list[int]:
    """Return the indices of the parts that pass the midline."""
    found = []
    for number, part in enumerate(guide.parts):
        offset_mm = part.outline_mm[:, 0] - midline_x_mm
        if offset_mm.min() < 0 < offset_mm.max():
            found.append(number)
    return found


def band_share(from_mm: FloatArray, to_mm: FloatArray, low_mm: float, high_mm: float) -> FloatArray:
    """Share of each straight step whose offset lies between two bounds.

    Parameters
    ----------
    from_mm, to_mm : ndarray, shape (n,)
        Offsets at both ends. [mm]
    low_mm, high_mm : float
        The bounds. [mm]

    Returns
    -------
    ndarray, shape (n,)
        Exact for a straight step at even speed. [1]
    """
    least, most = np.minimum(from_mm, to_mm), np.maximum(from_mm, to_mm)
    span = most - least
    inside = np.clip(np.minimum(most, high_mm) - np.maximum(least, low_mm), 0.0, None)
    still = span < 1e-12
    held = (least >= low_mm) & (least <= high_mm)
    return np.where(still, held.astype(np.float64), inside / np.where(still, 1.0, span))


@dataclass(frozen=True)
class Bands:
    """An amount in the zone, the left flank and the right flank."""

    zone: float
    left: float
    right: float

    @property
    def flanks(self) -> float:
        """Both flanks together."""
        return self.left + self.right

    @property
    def least(self) -> float:
        """The smallest of the three."""
        return min(self.zone, self.left, self.right)


def _in_bands(from_mm: FloatArray, to_mm: FloatArray, amount: FloatArray) -> Bands:
    def inside(low_mm: float, high_mm: float) -> float:
        return float((amount * band_share(from_mm, to_mm, low_mm, high_mm)).sum())

    return Bands(
        zone=inside(-ZONE_MM, ZONE_MM),
        left=inside(-FLANK_MM, -ZONE_MM),
        right=inside(ZONE_MM, FLANK_MM),
    )


def guide_bands_mm(guide: Guide, midline_x_mm: float) -> Bands:
    """Length of the crossing parts of the guide in each band. [mm]"""
    mine = np.isin(guide.segment_part, crossing_parts(guide, midline_x_mm))
    first = guide.segment_start_mm[mine, 0] - midline_x_mm
    last = first + guide.segment_vector_mm[mine, 0]
    return _in_bands(first, last, guide.segment_length_mm[mine])


def _profile_steps(
    profile: Profile, guide: Guide, midline_x_mm: float
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Offsets at both ends of the cells, and which cells are covered crossing parts."""
    inner_mm = np.clip(profile.s_mm, 0.0, guide.length_mm * (1 - 1e-12))
    offset_mm = guide.point_at(inner_mm)[:, 0] - midline_x_mm
    middle_mm = (profile.s_mm[:-1] + profile.s_mm[1:]) / 2
    part = guide.segment_part[guide.segment_at(middle_mm)]
    mine = profile.cell & np.isin(part, crossing_parts(guide, midline_x_mm))
    return offset_mm[:-1], offset_mm[1:], mine


def covered_bands_mm(profile: Profile, guide: Guide, midline_x_mm: float) -> Bands:
    """Covered length of the crossing parts in each band. [mm]"""
    first, last, mine = _profile_steps(profile, guide, midline_x_mm)
    return _in_bands(first[mine], last[mine], np.full(int(mine.sum()), profile.step_mm))


def _piece_steps(
    pieces: tuple[Piece, ...], guide: Guide, midline_x_mm: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Offsets at both ends, length and time of the filtered steps on crossing parts."""
    parts = crossing_parts(guide, midline_x_mm)
    first, last, length, time = [], [], [], []
    for piece in pieces:
        offset_mm = piece.xy_mm[:, 0] - midline_x_mm
        mine = np.ones(len(offset_mm) - 1, dtype=np.bool_)
        if piece.s_mm is not None and len(parts) < len(guide.parts):
            segment = guide.segment_at(guide.wrapped(piece.s_mm[:-1]))
            mine = np.isin(guide.segment_part[segment], parts)
        first.append(offset_mm[:-1][mine])
        last.append(offset_mm[1:][mine])
        length.append(np.hypot(*np.diff(piece.xy_mm, axis=0).T)[mine])
        time.append(np.diff(piece.t_s)[mine])
    return tuple(np.concatenate(x) for x in (first, last, length, time))  # type: ignore[return-value]


def zone_time_share(pieces: tuple[Piece, ...], guide: Guide, midline_x_mm: float) -> float:
    """Share of pen-down time within 20 mm of the midline. [1]"""
    first, last, _, time = _piece_steps(pieces, guide, midline_x_mm)
    if time.sum() <= 0:
        raise Refused("too_little_traced")
    return _in_bands(first, last, time).zone / float(time.sum())


def slowdown_ratio(pieces: tuple[Piece, ...], guide: Guide, midline_x_mm: float) -> float:
    """Mean speed in the flanks over mean speed in the zone.

    Parameters
    ----------
    pieces : tuple of Piece
        Filtered movement.
    guide : Guide
        As travelled.
    midline_x_mm : float
        Where the midline is. [mm]

    Returns
    -------
    float
        Above 1: slower at the midline. There is no neutral value, since curvature
        alone slows a hand. [1]
    """
    first, last, length, time = _piece_steps(pieces, guide, midline_x_mm)
    way, took = _in_bands(first, last, length), _in_bands(first, last, time)
    if min(way.zone, way.flanks, took.zone, took.flanks) <= 0:
        raise Refused("too_little_traced")
    return float((way.flanks / took.flanks) / (way.zone / took.zone))


def deviation_ratio(profile: Profile, guide: Guide, midline_x_mm: float) -> float:
    """Mean distance from the line in the zone over that in the flanks. [1]"""
    first, last, mine = _profile_steps(profile, guide, midline_x_mm)
    size = np.abs(profile.d_mm)
    amount = ((size[:-1] + size[1:]) / 2 * profile.step_mm)[mine]
    length = _in_bands(first[mine], last[mine], np.full(len(amount), profile.step_mm))
    total = _in_bands(first[mine], last[mine], amount)
    if length.zone <= 0 or length.flanks <= 0:
        raise Refused("too_little_traced")
    flank_mm = total.flanks / length.flanks
    if flank_mm < LEAST_FLANK_DEVIATION_MM:
        raise Refused("zero_variance")
    return float(total.zone / length.zone / flank_mm)
