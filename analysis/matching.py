"""Which part of the guide each stretch of a trace belongs to.

The nearest point is the wrong one wherever a guide comes back near itself. This is
hidden-Markov map matching over candidate projections (Newson & Krumm 2009, from
memory) with a transition that looks at the heading: retracing is free, a jump to
another lobe is dear.
"""

from dataclasses import dataclass

import numpy as np

from analysis.guide import Guide
from analysis.trace import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class MatchSettings:
    """Constants of the matching; all are conventions and are stored with the result.

    Parameters
    ----------
    spacing_mm : float
        Thinning of the trace to keypoints, so that a pause has no weight. [mm]
    candidates : int
        Projections considered per keypoint. [1]
    ripple_mm : float
        Two projections with no ridge higher than this between them are one. [mm]
    sigma_mm : float
        Scale of the Laplace emission cost. [mm]
    jump_cost : float
        Most that a transition costs, however far it leaps. [1]
    reverse_cost_per_mm : float
        Cost of going back along the guide. [1/mm]
    jump_mm : float
        Excess above which a transition counts as a jump. [mm]
    lift_cost, lift_cost_per_mm : float
        Most that a transition over a lift costs, and its growth. [1], [1/mm]
    start_cost_per_mm : float
        Cost of starting away from the start target. [1/mm]
    """

    spacing_mm: float = 1.0
    candidates: int = 6
    ripple_mm: float = 0.05
    sigma_mm: float = 3.0
    jump_cost: float = 60.0
    reverse_cost_per_mm: float = 0.1
    jump_mm: float = 10.0
    lift_cost: float = 6.0
    lift_cost_per_mm: float = 0.1
    start_cost_per_mm: float = 0.05


@dataclass(frozen=True, eq=False)
class Match:
    """Progress at the keypoints of a trace.

    Parameters
    ----------
    keypoint : ndarray of int, shape (k,)
        Indices of the samples that are keypoints.
    s_mm : ndarray, shape (k,)
        Progress, unwrapped on closed guides. [mm]
    lift, jump : ndarray of bool, shape (k - 1,)
        Whether the step to the next keypoint goes over a lift, or leaps along the guide.
    """

    keypoint: IntArray
    s_mm: FloatArray
    lift: BoolArray
    jump: BoolArray


@dataclass(frozen=True, eq=False)
class _Candidates:
    """Arrays of shape (k, c); ``low`` and ``high`` hold the two tangents at a vertex."""

    s_mm: FloatArray
    cost: FloatArray
    tangent_in: FloatArray
    tangent_out: FloatArray
    at_vertex: BoolArray


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


def _next_segment(guide: Guide) -> IntArray:
    """For each straight piece the one it runs on into, or -1."""
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

    following = _next_segment(guide)
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


def _candidates(guide: Guide, xy_mm: FloatArray, settings: MatchSettings) -> _Candidates:
    following = _next_segment(guide)
    after = np.where(following >= 0, following, np.arange(len(following)))
    chunk = max(1, 400_000 // len(following))
    found: list[tuple[FloatArray, FloatArray, IntArray, BoolArray]] = []
    count = min(settings.candidates, len(following))
    for first in range(0, len(xy_mm), chunk):
        distance_mm, foot_mm, clamped = _local_minima(
            guide, xy_mm[first : first + chunk], settings.ripple_mm
        )
        best = np.argpartition(distance_mm, count - 1, axis=1)[:, :count]
        rows = np.arange(len(best))[:, None]
        found.append((distance_mm[rows, best], foot_mm[rows, best], best, clamped[rows, best]))
    distance_mm, foot_mm, segment, clamped = (np.concatenate(x) for x in zip(*found, strict=True))
    at_end = clamped & (foot_mm > 0)
    return _Candidates(
        s_mm=guide.segment_s_mm[segment] + foot_mm,
        cost=distance_mm / settings.sigma_mm,
        tangent_in=guide.segment_tangent[segment],
        tangent_out=np.where(
            at_end[..., None], guide.segment_tangent[after[segment]], guide.segment_tangent[segment]
        ),
        at_vertex=clamped,
    )


def _free_interval(
    move_mm: FloatArray, found: _Candidates, rows: slice
) -> tuple[FloatArray, FloatArray]:
    """Least and greatest change of s that `move_mm` explains at each candidate. [mm]"""
    dots = np.stack(
        [
            np.einsum("kc,knc->kn", move_mm, found.tangent_in[rows]),
            np.einsum("kc,knc->kn", move_mm, found.tangent_out[rows]),
        ]
    )
    low, high = dots.min(axis=0), dots.max(axis=0)
    # A pen that runs past a corner or an end and comes back stands still along the guide.
    held = found.at_vertex[rows]
    return np.where(held, np.minimum(low, 0.0), low), np.where(held, np.maximum(high, 0.0), high)


def _wrapped_change(guide: Guide, change_mm: FloatArray) -> FloatArray:
    if not guide.closed:
        return change_mm
    half = guide.length_mm / 2
    wrapped: FloatArray = half - np.mod(half - change_mm, guide.length_mm)
    return wrapped


def _transitions(
    guide: Guide, xy_mm: FloatArray, found: _Candidates, lift: BoolArray, settings: MatchSettings
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Cost, change of s and excess of every step between candidates, shape (k-1, c, c)."""
    move_mm = np.diff(xy_mm, axis=0)
    change_mm = _wrapped_change(guide, found.s_mm[1:, None, :] - found.s_mm[:-1, :, None])
    low_before, high_before = _free_interval(move_mm, found, slice(None, -1))
    low_after, high_after = _free_interval(move_mm, found, slice(1, None))
    low = np.minimum(low_before[:, :, None], low_after[:, None, :])
    high = np.maximum(high_before[:, :, None], high_after[:, None, :])
    excess_mm = np.maximum(np.maximum(low - change_mm, change_mm - high), 0.0)
    drawn = np.minimum(excess_mm, settings.jump_cost)
    back = settings.reverse_cost_per_mm * np.maximum(0.0, -change_mm)
    drawn += np.where(excess_mm < settings.jump_cost, back, 0.0)
    lifted = np.minimum(settings.lift_cost, settings.lift_cost_per_mm * np.abs(change_mm))
    return np.where(lift[:, None, None], lifted, drawn), change_mm, excess_mm


def _cheapest(first: FloatArray, emission: FloatArray, transition: FloatArray) -> IntArray:
    """Viterbi: the column of the best candidate at each keypoint."""
    total = first + emission[0]
    came_from = np.zeros(emission.shape, dtype=np.int64)
    columns = np.arange(emission.shape[1])
    for step, cost in enumerate(transition, start=1):
        through = total[:, None] + cost
        best = through.argmin(axis=0)
        came_from[step] = best
        total = through[best, columns] + emission[step]
    path = np.empty(len(emission), dtype=np.int64)
    path[-1] = int(total.argmin())
    for step in range(len(emission) - 1, 0, -1):
        path[step - 1] = came_from[step, path[step]]
    return path


def match(
    guide: Guide, xy_mm: FloatArray, stroke: IntArray, settings: MatchSettings | None = None
) -> Match:
    """Match a trace to its guide.

    Parameters
    ----------
    guide : Guide
        The guide, in the asked direction.
    xy_mm : ndarray, shape (n, 2)
        Positions, at least one. [mm]
    stroke : ndarray of int, shape (n,)
        Stroke numbers.
    settings : MatchSettings, optional
        Constants.

    Returns
    -------
    Match
        Progress at the keypoints.
    """
    settings = settings or MatchSettings()
    keypoint = keypoints(xy_mm, stroke, settings.spacing_mm)
    points_mm = xy_mm[keypoint]
    found = _candidates(guide, points_mm, settings)
    lift = np.diff(stroke[keypoint]) != 0
    cost, change_mm, excess_mm = _transitions(guide, points_mm, found, lift, settings)
    ahead_mm = found.s_mm[0]
    if guide.closed:
        ahead_mm = np.minimum(ahead_mm, guide.length_mm - ahead_mm)
    path = _cheapest(settings.start_cost_per_mm * ahead_mm, found.cost, cost)
    steps = np.arange(len(keypoint) - 1)
    change = change_mm[steps, path[:-1], path[1:]]
    excess = excess_mm[steps, path[:-1], path[1:]]
    first = _wrapped_change(guide, found.s_mm[:1, path[0]])
    s_mm = np.concatenate([first, first + np.cumsum(change)])
    return Match(keypoint, s_mm, lift, ~lift & (excess > settings.jump_mm))
