"""Where the pen met the targets: dots tapped, or joined by a line.

In mode ``tap`` a stroke is a contact and its place is where it touched down. In mode
``join`` a target is met by the drawn line itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.alignment import CAPTURE_MM, Alignment
from analysis.conditioning import stroke_slices
from analysis.guide import Target
from analysis.trace import BoolArray, FloatArray, IntArray, Trace

CAPTURE_RADII = 3.0
"""A contact belongs to no target beyond the larger of 15 mm and this many radii. [1]"""
PASSAGE_MM, PASSAGE_RADII = 10.0, 2.0
"""The passage over a joined target reaches this far along the line, the larger of the two."""
GONE_MM, GONE_RADII = 2.0, 2.0
"""A line has left a target beyond twice its radius, or its radius and 2 mm: jitter on the
edge is no second visit."""
SAME_PLACE_MM = 1e-6
"""Targets nearer to each other than this lie in one place. [mm]"""
ROWS = 4096
"""Contacts looked at together, so that many contacts of many targets fit the memory."""


@dataclass(frozen=True, eq=False)
class Touch:
    """One contact of mode ``tap``.

    Parameters
    ----------
    xy_mm : ndarray, shape (2,)
        Where it touched down. [mm]
    t_s : float or None
        When. [s]
    target : int or None
        Place in the order of the target it belongs to; None if it strayed.
    first : bool
        Whether it is the first contact of that target.
    """

    xy_mm: FloatArray
    t_s: float | None
    target: int | None
    first: bool


@dataclass(frozen=True, eq=False)
class Aims:
    """How all targets of a trial were met.

    Parameters
    ----------
    contacted : ndarray of bool, shape (n,)
        Whether something lay within each target's radius.
    error_mm : ndarray, shape (m, 2)
        From the centre to the first contact (or closest approach), attempted targets only. [mm]
    hit : ndarray of bool, shape (m,)
        Whether that lay within the radius.
    miss_count, repeat_count : int
        Contacts in no target; contacts after the first of a target.
    touches : tuple of Touch
        In the order in which they were made; empty in mode ``join``.
    """

    contacted: BoolArray
    error_mm: FloatArray
    hit: BoolArray
    miss_count: int
    repeat_count: int
    touches: tuple[Touch, ...] = ()

    @property
    def contacted_share(self) -> float:
        """Share of all targets that were contacted. [1]"""
        return float(self.contacted.mean())


def centres_mm(targets: Sequence[Target]) -> FloatArray:
    """Return the centres, shape (n, 2). [mm]"""
    return np.array([[target.x_mm, target.y_mm] for target in targets], dtype=np.float64)


def _radii_mm(targets: Sequence[Target]) -> FloatArray:
    return np.array([target.radius_mm for target in targets], dtype=np.float64)


def _capture_mm(targets: Sequence[Target]) -> FloatArray:
    return np.maximum(CAPTURE_MM, CAPTURE_RADII * _radii_mm(targets))


def _places(targets: Sequence[Target]) -> IntArray:
    """Index of the first target in the same place, for every target."""
    centre_mm = centres_mm(targets)
    away_mm = np.hypot(*(centre_mm[:, None, :] - centre_mm[None, :, :]).transpose(2, 0, 1))
    return np.asarray((away_mm <= SAME_PLACE_MM).argmax(axis=1), dtype=np.int64)


def _nearest(
    targets: Sequence[Target], xy_mm: FloatArray
) -> tuple[list[int | None], BoolArray, BoolArray]:
    """Nearest target within its capture distance; whether in any target; targets met at all."""
    centre_mm, radius_mm, capture_mm = (
        centres_mm(targets),
        _radii_mm(targets),
        _capture_mm(targets),
    )
    nearest: list[int | None] = []
    inside, met = [], np.zeros(len(targets), dtype=np.bool_)
    for first in range(0, len(xy_mm), ROWS):
        offset_mm = xy_mm[first : first + ROWS, None, :] - centre_mm
        away_mm = np.hypot(offset_mm[..., 0], offset_mm[..., 1])
        within = away_mm <= radius_mm
        inside.append(within.any(axis=1))
        met |= within.any(axis=0)
        captured_mm = np.where(away_mm <= capture_mm, away_mm, np.inf)
        best = captured_mm.argmin(axis=1).tolist()
        stray = np.isinf(captured_mm.min(axis=1)).tolist()
        nearest += [None if lost else at for at, lost in zip(best, stray, strict=True)]
    return nearest, np.concatenate(inside), met


def _in_order(place: IntArray, nearest: Sequence[int | None]) -> list[int | None]:
    """Give every contact the target it is meant for, where several lie in one place.

    A place asked for more than once (to and fro between two dots) has its targets met in
    their order; touching the same place again at once repeats the target just touched.
    """
    waiting: dict[int, list[int]] = {}
    for index, at in enumerate(place.tolist()):
        waiting.setdefault(at, []).append(index)
    latest: dict[int, int] = {}
    found: list[int | None] = []
    before: int | None = None
    for close in nearest:
        if close is None:
            found.append(None)
            continue
        at = int(place[close])
        again = before is not None and place[before] == at
        asked_twice = before is not None and before + 1 < len(place) and place[before + 1] == at
        if waiting[at] and not (again and not asked_twice):
            latest[at] = waiting[at].pop(0)
        before = latest[at]
        found.append(before)
    return found


def tapped(targets: Sequence[Target], trace: Trace) -> Aims:
    """Return how targets were tapped.

    Parameters
    ----------
    targets : sequence of Target
        At least one, in the asked order.
    trace : Trace
        Ordered samples, at least one, sensor bounce kept.

    Returns
    -------
    Aims
        Each stroke is one contact; it belongs to the nearest centre within
        max(15 mm, 3 radii).
    """
    starts = [part.start for part in stroke_slices(trace.stroke)]
    xy_mm = trace.xy_mm[starts]
    place = _places(targets)
    nearest, inside, met = _nearest(targets, xy_mm)
    own = _in_order(place, nearest)
    centre_mm, radius_mm = centres_mm(targets), _radii_mm(targets)
    seen: set[int] = set()
    touches: list[Touch] = []
    contacted = met & (np.bincount(place, minlength=len(place))[place] == 1)
    for at, target in enumerate(own):
        t_s = None if trace.t_s is None else float(trace.t_s[starts[at]])
        touches.append(Touch(xy_mm[at], t_s, target, target is not None and target not in seen))
        if target is not None:
            seen.add(target)
            away_mm = np.hypot(*(xy_mm[at] - centre_mm[target]))
            contacted[target] |= away_mm <= radius_mm[target]
    error_mm = [t.xy_mm - centre_mm[t.target] for t in touches if t.first and t.target is not None]
    reach_mm = [radius_mm[t.target] for t in touches if t.first and t.target is not None]
    errors_mm = np.array(error_mm, dtype=np.float64).reshape(-1, 2)
    return Aims(
        contacted=contacted,
        error_mm=errors_mm,
        hit=np.hypot(*errors_mm.T) <= np.array(reach_mm, dtype=np.float64),
        miss_count=int(np.count_nonzero(~inside)),
        repeat_count=sum(t.target is not None and not t.first for t in touches),
        touches=tuple(touches),
    )


def _visits(away_mm: FloatArray, piece: IntArray, radius_mm: float) -> int:
    """How often a line entered a target after having left it for good."""
    gone_mm = max(GONE_RADII * radius_mm, radius_mm + GONE_MM)
    count, inside, last = 0, False, -2
    for at, distance_mm in zip(piece.tolist(), away_mm.tolist(), strict=True):
        if at != last + 1 or distance_mm > gone_mm:
            inside = False
        if distance_mm <= radius_mm and not inside:
            count, inside = count + 1, True
        last = at
    return count


def _approaches(point_mm: FloatArray, start_mm: FloatArray, along_mm: FloatArray) -> FloatArray:
    """From a point to the nearest point of every straight piece, shape (n, 2). [mm]"""
    squared = np.einsum("nc,nc->n", along_mm, along_mm)
    share = np.einsum("nc,nc->n", point_mm - start_mm, along_mm)
    share = np.clip(share / np.where(squared > 0, squared, 1.0), 0.0, 1.0)
    return np.asarray(start_mm + share[:, None] * along_mm - point_mm)


def joined(targets: Sequence[Target], trace: Trace, alignment: Alignment | None) -> Aims:
    """Return how targets were joined.

    Parameters
    ----------
    targets : sequence of Target
        At least one, in the asked order.
    trace : Trace
        Ordered samples, at least one.
    alignment : Alignment or None
        With the line through the targets; None if there is only one target.

    Returns
    -------
    Aims
        A target is contacted where the pen-down line enters its radius. Its error is the
        closest approach in the passage over it: within max(10 mm, 2 radii) of its progress.
    """
    place, centre_mm, radius_mm = _places(targets), centres_mm(targets), _radii_mm(targets)
    capture_mm = _capture_mm(targets)
    count = len(trace)
    # A piece starts at every sample; the one of a stroke's last sample is a point.
    after = np.arange(count) + np.append(np.diff(trace.stroke) == 0, False)
    start_mm, along_mm = trace.xy_mm, trace.xy_mm[after] - trace.xy_mm
    target_s_mm = np.insert(np.cumsum(np.hypot(*np.diff(centre_mm, axis=0).T)), 0, 0.0)
    if alignment is not None and alignment.other_way:
        target_s_mm = alignment.guide.length_mm - target_s_mm
    contacted = np.zeros(len(targets), dtype=np.bool_)
    errors_mm, hits, repeat_count = [], [], 0
    for at in range(len(targets)):
        offset_mm = _approaches(centre_mm[at], start_mm, along_mm)
        away_mm = np.hypot(*offset_mm.T)
        passing = np.arange(count)
        if alignment is not None:
            reach_mm = max(PASSAGE_MM, PASSAGE_RADII * float(radius_mm[at]))
            near = np.abs(alignment.s_mm - target_s_mm[at]) <= reach_mm
            passing = np.flatnonzero(near & near[after])
        shared = np.count_nonzero(place == place[at]) > 1
        contacted[at] = bool((away_mm[passing if shared else slice(None)] <= radius_mm[at]).any())
        if len(passing) == 0 or away_mm[passing].min() > capture_mm[at]:
            continue
        closest = int(passing[away_mm[passing].argmin()])
        errors_mm.append(offset_mm[closest])
        hits.append(bool(away_mm[closest] <= radius_mm[at]))
        visits = _visits(away_mm[passing], passing, float(radius_mm[at]))
        repeat_count += max(0, visits - 1)
    return Aims(
        contacted=contacted,
        error_mm=np.array(errors_mm, dtype=np.float64).reshape(-1, 2),
        hit=np.array(hits, dtype=np.bool_),
        miss_count=hits.count(False),
        repeat_count=repeat_count,
    )
