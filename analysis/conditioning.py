"""Samples brought into the order of time, without what is no sample.

Geometry (distance from the line) uses these ordered but **unfiltered** positions.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analysis.trace import BoolArray, FloatArray, IntArray, Trace

TIME_BACK_S = 0.002
"""Time may fall by this much between samples before the clock is not believed. [s]"""
LEAST_STANDING = 3
"""So many samples at one time, in different places, and the clock is not believed. [1]"""
BOUNCE_S, BOUNCE_MM = 0.030, 1.0
"""Contacts shorter than both are sensor bounce. [s], [mm]"""


@dataclass(frozen=True, eq=False)
class Ordered:
    """Samples in order of time, and what was wrong with them.

    Parameters
    ----------
    trace : Trace
        Strokes renumbered from 0; sensor bounce removed.
    monotone : bool
        False if time went back by more than 2 ms, or stood still throughout: the order is
        then that of arrival.
    bounce_count : int
        Contacts removed as bounce.
    """

    trace: Trace
    monotone: bool
    bounce_count: int


def _take(trace: Trace, index: IntArray | BoolArray) -> Trace:
    return replace(
        trace,
        xy_mm=trace.xy_mm[index],
        stroke=trace.stroke[index],
        t_s=None if trace.t_s is None else trace.t_s[index],
        pressure=None if trace.pressure is None else trace.pressure[index],
        pointer=None if trace.pointer is None else trace.pointer[index],
    )


def _stroke_rank(trace: Trace) -> IntArray:
    """Strokes numbered in order of appearance; two contacts never share one."""
    key = trace.stroke
    if trace.pointer is not None:
        _, own = np.unique(trace.pointer, return_inverse=True)
        _, stroke = np.unique(key, return_inverse=True)
        key = own * (int(stroke.max()) + 1) + stroke
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[inverse]


def _by_start(trace: Trace, rank: IntArray) -> IntArray:
    """Strokes of several contacts numbered by their first times; else as they are."""
    if trace.t_s is None or trace.pointer is None or len(np.unique(trace.pointer)) < 2:
        return rank
    start_s = np.full(int(rank.max()) + 1, np.inf)
    np.minimum.at(start_s, rank, trace.t_s)
    place = np.empty(len(start_s), dtype=np.int64)
    place[np.argsort(start_s, kind="stable")] = np.arange(len(start_s))
    return place[rank]


def _stands(trace: Trace) -> bool:
    """Whether the clock stood still while the pen went somewhere."""
    if trace.t_s is None or len(trace) < LEAST_STANDING:
        return False
    return float(np.ptp(trace.t_s)) == 0 and bool(np.ptp(trace.xy_mm, axis=0).any())


def _is_monotone(trace: Trace, rank: IntArray) -> bool:
    if trace.t_s is None or len(trace) < 2:
        return True
    if _stands(trace):
        return False
    pointer = np.zeros_like(rank) if trace.pointer is None else trace.pointer
    for one in np.unique(pointer):
        mine = pointer == one
        t_s = trace.t_s[mine][np.argsort(rank[mine], kind="stable")]
        if (np.diff(t_s) < -TIME_BACK_S).any():
            return False
    return True


def _without_repeats(trace: Trace) -> Trace:
    """Keep the last of several samples at one time; drop a pen-up at a known time."""
    if trace.t_s is None or len(trace) < 2 or _stands(trace):
        return trace
    same = (np.diff(trace.t_s) == 0) & (np.diff(trace.stroke) == 0)
    drop = np.append(same, False)
    if trace.pressure is not None:
        ends = np.append(np.diff(trace.stroke) != 0, True)
        pen_up = ends & ~(trace.pressure > 0) & np.append(False, same)
        drop = (drop & ~np.append(pen_up[1:], False)) | pen_up
    return _take(trace, ~drop)


def _without_pen_up_pressure(trace: Trace) -> Trace:
    if trace.pressure is None:
        return trace
    ends = np.append(np.diff(trace.stroke) != 0, True)
    return replace(trace, pressure=np.where(ends & (trace.pressure == 0), np.nan, trace.pressure))


def _bounces(trace: Trace) -> BoolArray:
    bounce = np.zeros(len(trace), dtype=np.bool_)
    if trace.t_s is None or _stands(trace):
        return bounce
    for part in stroke_slices(trace.stroke):
        lasted_s = trace.t_s[part.stop - 1] - trace.t_s[part.start]
        spread_mm = np.ptp(trace.xy_mm[part], axis=0)
        bounce[part] = lasted_s < BOUNCE_S and float(np.hypot(*spread_mm)) < BOUNCE_MM
    return bounce


def stroke_slices(stroke: IntArray) -> list[slice]:
    """Return one slice per run of equal stroke numbers."""
    if len(stroke) == 0:
        return []
    edges = np.flatnonzero(np.diff(stroke)) + 1
    bounds = [0, *edges.tolist(), len(stroke)]
    return [slice(a, b) for a, b in pairwise(bounds)]


def ordered(trace: Trace, *, keep_bounce: bool = False) -> Ordered:
    """Bring samples into the order of device time and drop what is no sample.

    Parameters
    ----------
    trace : Trace
        As reported.
    keep_bounce : bool
        True in mode ``tap``, where short contacts are what is measured.

    Returns
    -------
    Ordered
        Exact duplicates dropped; of samples at one time the last is kept; the sample of
        lifting the pen keeps its position only if it has a time of its own. If *every*
        contact is shorter than a bounce, all are kept.
    """
    if len(trace) == 0:
        return Ordered(trace, monotone=True, bounce_count=0)
    rank = _stroke_rank(trace)
    monotone = _is_monotone(trace, rank)
    if trace.t_s is not None and monotone:
        rank = _by_start(trace, rank)
        order = np.lexsort((trace.t_s, rank))
    else:
        order = np.argsort(rank, kind="stable")
    result = replace(_take(trace, order), stroke=rank[order])
    result = _without_pen_up_pressure(_without_repeats(result))
    bounce = np.zeros(len(result), dtype=np.bool_) if keep_bounce else _bounces(result)
    if bounce.all():
        return Ordered(result, monotone=monotone, bounce_count=0)
    bounce_count = len(np.unique(result.stroke[bounce]))
    result = _take(result, ~bounce)
    return Ordered(replace(result, stroke=_stroke_rank(result)), monotone, bounce_count)


def of_contact(trace: Trace, pointer: int) -> Trace:
    """Return the samples of one contact; without a column of contacts all are contact 0."""
    if trace.pointer is None:
        return _take(trace, np.full(len(trace), pointer == 0))
    return _take(trace, trace.pointer == pointer)


def sample_steps_s(trace: Trace) -> FloatArray:
    """Return the times between neighbouring samples of one stroke. [s]"""
    if trace.t_s is None or len(trace) < 2:
        return np.empty(0)
    steps_s: FloatArray = np.diff(trace.t_s)[np.diff(trace.stroke) == 0]
    return steps_s
