"""Progress along the guide and signed distance from it, for every sample."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.candidates import next_segment
from analysis.guide import Guide
from analysis.matching import Match, MatchSettings, match
from analysis.trace import BoolArray, FloatArray, IntArray

WINDOW_MM = 8.0
"""A sample is projected on the guide within this distance of its matched progress. [mm]"""
CAPTURE_MM, CAPTURE_HALF_WIDTHS = 15.0, 3.0
"""The guide counts as covered by a pen no farther off than the larger of the two."""
SHORTEST_TURN_MM = 2.0
"""Progress must fall by more than this to count as going back. [mm]"""
FOOT_MM, NO_FOOT_MM = 1e-9, 1e6
"""A foot is exact to the first; what is no foot is set back by the second. [mm]"""
LEAST_HEADING = 1e-9
"""Where a guide turns right round, the sum of its tangents has no direction. [1]"""
RESTART_MM = 5.0
"""A lift followed by progress lower by more than this is a restart. [mm]"""


@dataclass(frozen=True, eq=False)
class Alignment:
    """Where on the guide every sample is.

    Parameters
    ----------
    guide : Guide
        As travelled: reversed if the child went the other way.
    s_mm : ndarray, shape (n,)
        Progress along `guide`; unwrapped on a closed guide, where the first sample lies
        within half a length of 0. [mm]
    d_mm : ndarray, shape (n,)
        Distance from the guide, positive to the left of travel as the child sees it. [mm]
    drawn : ndarray of bool, shape (n - 1,)
        Whether the step to the next sample is pen down and no jump.
    jump : ndarray of bool, shape (n - 1,)
        Whether it leaps along the guide.
    covers : ndarray of bool, shape (n - 1,)
        Whether it covers the guide between its ends: drawn, and near enough.
    other_way : bool
        Whether the child went against the asked direction.
    """

    guide: Guide
    s_mm: FloatArray
    d_mm: FloatArray
    drawn: BoolArray
    jump: BoolArray
    covers: BoolArray
    other_way: bool

    @cached_property
    def covered(self) -> list[tuple[float, float]]:
        """Disjoint covered stretches of the guide, rising, within 0..length. [mm]"""
        low, high = np.sort(np.stack([self.s_mm[:-1], self.s_mm[1:]]), axis=0)[:, self.covers]
        if self.guide.closed:
            low, high = _split_at_laps(low, high, self.guide.length_mm)
        return _union(low, high)

    @cached_property
    def completion(self) -> float:
        """Covered share of the guide, laps counted once. [1]"""
        return min(1.0, sum(b - a for a, b in self.covered) / self.guide.length_mm)

    @cached_property
    def turns(self) -> list[tuple[int, int]]:
        """Stretches of samples over which drawn progress falls by more than 2 mm."""
        return _falls(self.s_mm, self.drawn, SHORTEST_TURN_MM)

    @cached_property
    def backtrack_mm(self) -> float:
        """Sum of the falls of progress of more than 2 mm. [mm]"""
        return float(sum(self.s_mm[a] - self.s_mm[b] for a, b in self.turns))

    def restarts(self) -> IntArray:
        """Return indices of samples that begin again farther back after a lift."""
        lifted = ~self.drawn & ~self.jump
        return np.flatnonzero(lifted & (np.diff(self.s_mm) < -RESTART_MM)) + 1


def _split_at_laps(
    low_mm: FloatArray, high_mm: FloatArray, length_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Bring stretches of unwrapped progress into one lap, cutting those that span its end."""
    lap_mm = np.floor(low_mm / length_mm) * length_mm
    low_mm, high_mm = low_mm - lap_mm, high_mm - lap_mm
    over = high_mm > length_mm
    return (
        np.concatenate([low_mm, np.zeros(np.count_nonzero(over))]),
        np.concatenate([np.minimum(high_mm, length_mm), high_mm[over] - length_mm]),
    )


def _union(low_mm: FloatArray, high_mm: FloatArray) -> list[tuple[float, float]]:
    """Union of closed intervals; touching ones are joined."""
    if len(low_mm) == 0:
        return []
    order = np.argsort(low_mm)
    low_mm, reach_mm = low_mm[order], np.maximum.accumulate(high_mm[order])
    fresh = np.append(True, low_mm[1:] > reach_mm[:-1] + 1e-9)
    ends = np.append(np.flatnonzero(fresh)[1:] - 1, len(low_mm) - 1)
    pairs = zip(low_mm[fresh].tolist(), reach_mm[ends].tolist(), strict=True)
    return [(a, b) for a, b in pairs if b > a]


def _falls(s_mm: FloatArray, drawn: BoolArray, least_mm: float) -> list[tuple[int, int]]:
    """Return (top, bottom) sample pairs of falls larger than `least_mm` in drawn runs."""
    falls: list[tuple[int, int]] = []
    top = bottom = 0
    values = s_mm.tolist()
    for index, joined in enumerate(drawn.tolist(), start=1):
        value = values[index]
        if not joined:
            if values[top] - values[bottom] > least_mm:
                falls.append((top, bottom))
            top = bottom = index
            continue
        if value < values[bottom]:
            bottom = index
        fallen = values[top] - values[bottom] > least_mm
        if fallen and value - values[bottom] > least_mm:
            falls.append((top, bottom))
            top = bottom = index
        elif not fallen and value > values[top]:
            top = bottom = index
    if values and values[top] - values[bottom] > least_mm:
        falls.append((top, bottom))
    return falls


def _matched_s_mm(found: Match, xy_mm: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Progress of all samples between keypoints, and which steps are jumps."""
    step_mm = np.hypot(*np.diff(xy_mm, axis=0).T)
    travelled_mm = np.insert(np.cumsum(step_mm), 0, 0.0)
    before = np.searchsorted(found.keypoint, np.arange(len(xy_mm)), side="right") - 1
    after = np.minimum(before + 1, len(found.keypoint) - 1)
    first_mm, last_mm = travelled_mm[found.keypoint[before]], travelled_mm[found.keypoint[after]]
    span_mm = np.where(last_mm > first_mm, last_mm - first_mm, 1.0)
    share = (travelled_mm - first_mm) / span_mm
    breaks = np.append(found.lift | found.jump, True)
    share = np.where(breaks[before], 0.0, share)
    jump = np.zeros(len(xy_mm) - 1, dtype=np.bool_)
    jump[found.keypoint[1:][found.jump] - 1] = True
    return found.s_mm[before] + share * (found.s_mm[after] - found.s_mm[before]), jump


def project(
    guide: Guide, xy_mm: FloatArray, near_s_mm: FloatArray, window_mm: float = WINDOW_MM
) -> tuple[FloatArray, FloatArray]:
    """Project points on the guide within a window of progress.

    Parameters
    ----------
    guide : Guide
        The guide.
    xy_mm : ndarray, shape (n, 2)
        Points. [mm]
    near_s_mm : ndarray, shape (n,)
        Centre of each point's window; may lie beyond 0..length on a closed guide. [mm]
    window_mm : float
        Half the window. [mm]

    Returns
    -------
    s_mm : ndarray, shape (n,)
        Progress of the nearest point; of equally near ones, the one nearest the centre. [mm]
    d_mm : ndarray, shape (n,)
        Signed distance, positive to the left of travel. [mm]
    """
    low_mm, high_mm = near_s_mm - window_mm, near_s_mm + window_mm
    if not guide.closed:
        low_mm, high_mm = np.clip(low_mm, 0, guide.length_mm), np.clip(high_mm, 0, guide.length_mm)
    count = len(guide.segment_length_mm)
    first, last = _lap_segment(guide, low_mm), _lap_segment(guide, high_mm)
    width = last - first + 1
    owner = np.repeat(np.arange(len(xy_mm)), width)
    starts = np.cumsum(width) - width
    tile = np.arange(len(owner)) - np.repeat(starts, width) + np.repeat(first, width)
    segment, lap = tile % count, tile // count
    base_mm = lap * guide.length_mm + guide.segment_s_mm[segment]
    offset_mm = xy_mm[owner] - guide.segment_start_mm[segment]
    tangent = guide.segment_tangent[segment]
    along_mm = np.einsum("nc,nc->n", offset_mm, tangent)
    length_mm = guide.segment_length_mm[segment]
    foot_mm = np.clip(along_mm, 0, length_mm)
    along_mm = np.clip(
        along_mm,
        np.clip(low_mm[owner] - base_mm, 0, length_mm),
        np.clip(high_mm[owner] - base_mm, 0, length_mm),
    )
    s_mm = base_mm + along_mm
    away_mm = offset_mm - along_mm[:, None] * tangent
    distance_mm = np.hypot(*away_mm.T)
    # Where the window ends there is no foot: such a place is taken only if there is no other.
    key_mm = np.where(np.abs(along_mm - foot_mm) > FOOT_MM, distance_mm + NO_FOOT_MM, distance_mm)
    ties = key_mm <= np.minimum.reduceat(key_mm, starts)[owner] + 1e-9
    key = np.where(ties, np.abs(s_mm - near_s_mm[owner]), np.inf)
    chosen = np.flatnonzero(key <= np.minimum.reduceat(key, starts)[owner])
    chosen = chosen[np.append(True, np.diff(owner[chosen]) > 0)]
    ahead = _heading(guide, segment[chosen], along_mm[chosen])
    left = away_mm[chosen, 0] * ahead[:, 1] - away_mm[chosen, 1] * ahead[:, 0]
    return s_mm[chosen], np.where(left < 0, -1.0, 1.0) * distance_mm[chosen]


def _heading(guide: Guide, segment: IntArray, along_mm: FloatArray) -> FloatArray:
    """Direction that tells left from right of a foot on a straight piece, shape (n, 2).

    At a vertex the sum of both tangents: beyond a corner of more than a right angle a pen
    may lie to the left of one of its legs and to the right of the other.
    """
    tangent = guide.segment_tangent
    after = next_segment(guide)
    before = np.full_like(after, -1)
    before[after[after >= 0]] = np.flatnonzero(after >= 0)
    ends = along_mm >= guide.segment_length_mm[segment]
    other = np.where(ends, after[segment], np.where(along_mm <= 0, before[segment], -1))
    both = tangent[segment] + tangent[other]
    turns = (other >= 0) & (np.hypot(*both.T) > LEAST_HEADING)
    heading: FloatArray = np.where(turns[:, None], both, tangent[segment])
    return heading


def _lap_segment(guide: Guide, s_mm: FloatArray) -> IntArray:
    """Index of the straight piece at progress that may be laps away."""
    lap = np.floor(s_mm / guide.length_mm) if guide.closed else np.zeros(len(s_mm))
    found: IntArray = guide.segment_at(s_mm - lap * guide.length_mm)
    tile: IntArray = found + lap.astype(np.int64) * len(guide.segment_length_mm)
    return tile


def align(
    guide: Guide,
    xy_mm: FloatArray,
    stroke: IntArray,
    settings: MatchSettings | None = None,
) -> Alignment:
    """Align a trace with its guide (see `analysis.matching` for the method).

    Parameters
    ----------
    guide : Guide
        The guide in the asked direction.
    xy_mm : ndarray, shape (n, 2)
        Ordered, unfiltered positions, at least one. [mm]
    stroke : ndarray of int, shape (n,)
        Stroke numbers.
    settings : MatchSettings, optional
        Constants of the matching.

    Returns
    -------
    Alignment
        Progress and distance; mirrored if the child went the other way.

    Examples
    --------
    >>> import numpy as np
    >>> line = Guide.from_points([[0, 0], [100, 0]])
    >>> x_mm = np.linspace(0, 100, 11)
    >>> found = align(line, np.column_stack([x_mm, 0 * x_mm - 2.0]), np.zeros(11, dtype=int))
    >>> found.completion, float(found.d_mm[5])
    (1.0, 2.0)
    """
    found = match(guide, xy_mm, stroke, settings)
    near_s_mm, jump = _matched_s_mm(found, xy_mm)
    s_mm, d_mm = project(guide, xy_mm, near_s_mm)
    drawn = (np.diff(stroke) == 0) & ~jump
    other_way = bool(np.diff(s_mm)[drawn].sum() < 0)
    if other_way:
        guide = guide.reversed()
        s_mm, d_mm = guide.length_mm - s_mm, -d_mm
        if guide.closed:
            s_mm = s_mm - guide.length_mm * np.ceil(s_mm[0] / guide.length_mm - 0.5)
    capture_mm = np.full(len(s_mm), CAPTURE_MM)
    if guide.has_corridor:
        capture_mm = np.maximum(CAPTURE_MM, CAPTURE_HALF_WIDTHS * guide.half_width_at(s_mm))
    near = np.abs(d_mm) <= capture_mm
    return Alignment(guide, s_mm, d_mm, drawn, jump, drawn & near[:-1] & near[1:], other_way)
