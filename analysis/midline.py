"""Crossing the middle of the body. Source of all definitions: MEASURES 5.

The midline is the vertical line x = x_m. Its zone reaches 20 mm to either side, its
flanks from there to 60 mm.
"""

from dataclasses import dataclass

import numpy as np

from analysis.alignment import Alignment
from analysis.conditioning import Piece
from analysis.guide import Guide
from analysis.profile import Profile
from analysis.trace import BoolArray, FloatArray, Trace
from analysis.value import Refused

ZONE_MM, FLANK_MM, HYSTERESIS_MM = 20.0, 60.0, 5.0
"""Half-width of the zone, outer edge of the flanks, and depth that makes a crossing. [mm]"""
LEAST_LENGTH_MM = 10.0
"""Guide needed in the zone and in each flank before they are compared. [mm]"""
LEAST_FLANK_DEVIATION_MM = 0.2
"""Below this the deviation in the flanks is too small to divide by. [mm]"""


@dataclass(frozen=True)
class Crossing:
    """A passage to the other side of the midline.

    Parameters
    ----------
    index : int
        First sample at least 5 mm on the other side.
    t_s : float or None
        Its time. [s]
    x_mm, y_mm : float
        Its position. [mm]
    towards : str
        ``left`` or ``right``.
    lifted : bool
        Whether the pen was lifted, or the hand changed, inside the zone on the way.
    """

    index: int
    t_s: float | None
    x_mm: float
    y_mm: float
    towards: str
    lifted: bool


def _side_changes(offset_mm: FloatArray, stroke_start: BoolArray) -> list[int]:
    """Indices at which 5 mm on the other side are reached with the pen down."""
    found: list[int] = []
    side = 0
    for index, (offset, fresh) in enumerate(
        zip(offset_mm.tolist(), stroke_start.tolist(), strict=True)
    ):
        now = (offset >= HYSTERESIS_MM) - (offset <= -HYSTERESIS_MM)
        if now and side and now != side and not fresh:
            found.append(index)
        side = now or side
    return found


def _passage(offset_mm: FloatArray, index: int) -> tuple[int, int]:
    """First and last sample of the stay in the zone around a crossing."""
    outside = np.flatnonzero(np.abs(offset_mm) > ZONE_MM)
    at = int(np.searchsorted(outside, index))
    first = int(outside[at - 1]) if at > 0 else 0
    last = int(outside[at]) if at < len(outside) else len(offset_mm) - 1
    return first, last


def crossings(
    trace: Trace, midline_x_mm: float, switch_times_s: tuple[float, ...] = ()
) -> tuple[Crossing, ...]:
    """Find the passages to the other side, with the pen down and 5 mm deep.

    Parameters
    ----------
    trace : Trace
        Ordered samples.
    midline_x_mm : float
        Where the midline is. [mm]
    switch_times_s : tuple of float
        When the hand was changed. [s]

    Returns
    -------
    tuple of Crossing
        The side is kept over a lift; a change made in the air is none.
    """
    offset_mm = trace.xy_mm[:, 0] - midline_x_mm
    start = np.diff(trace.stroke, prepend=-1) != 0
    middle_mm = np.append(np.nan, (offset_mm[:-1] + offset_mm[1:]) / 2)
    lifted_at = np.flatnonzero(start & (np.abs(middle_mm) <= ZONE_MM))
    found: list[Crossing] = []
    for index in _side_changes(offset_mm, start):
        first, last = _passage(offset_mm, index)
        lifted = bool(((lifted_at > first) & (lifted_at <= last)).any())
        t_s = None
        if trace.t_s is not None:
            t_s = float(trace.t_s[index])
            lifted |= any(trace.t_s[first] <= at <= trace.t_s[last] for at in switch_times_s)
        x_mm, y_mm = trace.xy_mm[index].tolist()
        towards = "right" if offset_mm[index] > 0 else "left"
        found.append(Crossing(index, t_s, x_mm, y_mm, towards, lifted))
    return tuple(found)


def required_crossings(guide: Guide, midline_x_mm: float) -> int:
    """Return how often the guide itself passes the midline, by the same rule."""
    count = 0
    for part in guide.parts:
        offset_mm = part.outline_mm[:, 0] - midline_x_mm
        count += len(_side_changes(offset_mm, np.zeros(len(offset_mm), dtype=np.bool_)))
    return count


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


def reach_mm(alignment: Alignment, midline_x_mm: float, hand: str) -> tuple[float, float]:
    """Farthest point on the side opposite the hand: covered, and of the guide itself.

    Parameters
    ----------
    alignment : Alignment
        Of the trace.
    midline_x_mm : float
        Where the midline is. [mm]
    hand : {"left", "right"}
        The hand that drew.

    Returns
    -------
    covered_mm, guide_mm : float
        From the midline; the first is 0 if nothing on that side was covered. [mm]

    Raises
    ------
    Refused
        ``guide_lacks_feature`` if the guide has nothing on that side.
    """
    sign = -1.0 if hand == "right" else 1.0
    guide = alignment.guide

    def farthest(s_mm: FloatArray) -> float:
        # Stop short of the ends of parts, where progress belongs to the next part.
        return float((sign * (guide.point_at(s_mm)[:, 0] - midline_x_mm)).max())

    vertices = np.vstack([part.outline_mm for part in guide.parts])
    whole_mm = float((sign * (vertices[:, 0] - midline_x_mm)).max())
    if whole_mm <= 0:
        raise Refused("guide_lacks_feature")
    reached = [0.0]
    for start, end in alignment.covered:
        inner = guide.segment_s_mm[(guide.segment_s_mm > start) & (guide.segment_s_mm < end)]
        reached.append(farthest(np.concatenate([[start], inner, [end - 1e-9]])))
    return min(max(reached), whole_mm), whole_mm
