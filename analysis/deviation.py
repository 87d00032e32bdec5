"""How far the trace is from the line, and how much of the line was drawn.

The primary weighting is by **length of guide**: every millimetre of line counts once,
at its first drawn passage (`analysis.profile`). All definitions are Linnet conventions.
"""

from dataclasses import dataclass

import numpy as np
import shapely

from analysis.conditioning import stroke_slices
from analysis.guide import Guide
from analysis.profile import Profile
from analysis.trace import FloatArray, Trace
from analysis.value import Refused

BACK_IN_MM, BACK_IN_SHARE = 0.2, 0.1
"""A departure ends this far inside the edge: the larger of mm and share of half-width."""
SHORTEST_DEPARTURE_MM, SHORTEST_DEPARTURE_S = 1.0, 0.05
"""Departures below both are ignored."""
LAP_COMPLETION = 0.9
"""From here a single lap counts as closed. [1]"""


def mean_abs_mm(profile: Profile) -> float:
    """Mean distance from the line over the covered guide.

    Parameters
    ----------
    profile : Profile
        First-reach profile with at least one covered cell.

    Returns
    -------
    float
        (1/Lc) ∫ abs d ds, exact where the sign changes inside a cell. [mm]
    """
    a, b = profile.ends()
    size = np.abs(a) + np.abs(b)
    crossing = a * b < 0
    cell_mean = np.where(crossing, (a**2 + b**2) / np.where(size > 0, 2 * size, 1.0), size / 2)
    return float(cell_mean.mean())


def rms_mm(profile: Profile) -> float:
    """Root mean square distance, sqrt((1/Lc) ∫ d² ds). [mm]"""
    a, b = profile.ends()
    return float(np.sqrt(((a**2 + a * b + b**2) / 3).mean()))


def bias_mm(profile: Profile) -> float:
    """Mean signed distance, (1/Lc) ∫ d ds; positive to the left of travel. [mm]"""
    a, b = profile.ends()
    return float(((a + b) / 2).mean())


def p95_mm(profile: Profile) -> float:
    """95th percentile of the distance over the covered places. [mm]"""
    return float(np.quantile(np.abs(profile.d_mm[np.isfinite(profile.d_mm)]), 0.95))


def is_simple(guide: Guide) -> bool:
    """Whether a closed guide encloses something and does not cross itself."""
    points_mm = guide.parts[0].points_mm
    return len(points_mm) >= 3 and bool(shapely.LinearRing(points_mm).is_simple)


def outward_sign(guide: Guide) -> int:
    """Sign that turns left-of-travel into outward on a closed guide.

    Parameters
    ----------
    guide : Guide
        One closed part.

    Returns
    -------
    int
        +1 if left of travel is outside (clockwise on the page), else -1.

    Raises
    ------
    Refused
        ``guide_lacks_feature`` if the guide is open or crosses itself.
    """
    if not guide.closed or not is_simple(guide):
        raise Refused("guide_lacks_feature")
    # With y down, what is_ccw calls counter-clockwise runs clockwise.
    return 1 if shapely.LinearRing(guide.parts[0].points_mm).is_ccw else -1


def mean_abs_time_mm(trace: Trace, d_mm: FloatArray) -> float:
    """Mean distance over pen-down time, (1/T) ∫ abs d dt.

    Parameters
    ----------
    trace : Trace
        Ordered samples with times.
    d_mm : ndarray, shape (n,)
        Signed distance of each sample. [mm]

    Returns
    -------
    float
        A pause counts for as long as it lasts. [mm]

    Raises
    ------
    Refused
        ``no_time`` or ``too_few_samples``.
    """
    if trace.t_s is None:
        raise Refused("no_time")
    same = np.diff(trace.stroke) == 0
    step_s = np.diff(trace.t_s)[same]
    if step_s.sum() <= 0:
        raise Refused("too_few_samples")
    size = np.abs(d_mm)
    middle = ((size[:-1] + size[1:]) / 2)[same]
    return float((middle * step_s).sum() / step_s.sum())


def _share_above(a: FloatArray, b: FloatArray) -> FloatArray:
    """Share of each cell in which the line from a to b is above 0."""
    span = np.where(a == b, 1.0, b - a)
    root = np.clip(-a / span, 0.0, 1.0)
    return np.where(a > 0, np.where(b > 0, 1.0, root), np.where(b > 0, 1.0 - root, 0.0))


def in_corridor_share(profile: Profile, half_width_mm: FloatArray) -> float:
    """Share of the whole guide whose first passage is inside the corridor.

    Parameters
    ----------
    profile : Profile
        First-reach profile.
    half_width_mm : ndarray, shape (n,)
        Half the corridor's width at the places of the profile. [mm]

    Returns
    -------
    float
        Covered length with abs d <= half-width, divided by the **whole** length: what
        was skipped counts as outside. Edges are crossed exactly, between samples. [1]
    """
    a, b = profile.ends()
    wide_a, wide_b = half_width_mm[:-1][profile.cell], half_width_mm[1:][profile.cell]
    outside = _share_above(a - wide_a, b - wide_b) + _share_above(-a - wide_a, -b - wide_b)
    return float((1.0 - outside).sum() / len(profile.cell))


@dataclass(frozen=True)
class Departure:
    """A stretch of the trace outside the corridor.

    Parameters
    ----------
    first, last : int
        Samples at or just inside its ends.
    start_s, end_s : float or None
        Times of leaving and coming back. [s]
    from_mm, to_mm : float
        Progress along the guide there. [mm]
    length_mm : float
        Length of trace outside. [mm]
    beyond_mm : float
        Greatest distance beyond the edge. [mm]
    """

    first: int
    last: int
    start_s: float | None
    end_s: float | None
    from_mm: float
    to_mm: float
    length_mm: float
    beyond_mm: float

    @property
    def negligible(self) -> bool:
        """Whether it is shorter than 1 mm of trace and, if times are known, than 50 ms."""
        if self.length_mm >= SHORTEST_DEPARTURE_MM:
            return False
        if self.start_s is None or self.end_s is None:
            return True
        return self.end_s - self.start_s < SHORTEST_DEPARTURE_S


def _out_runs(over_mm: list[float], back_mm: list[float], part: slice) -> list[tuple[int, int]]:
    """Return runs from the first sample beyond the edge to the last before coming back."""
    runs: list[tuple[int, int]] = []
    first = last = -1
    for index in range(part.start, part.stop):
        if over_mm[index] > 0:
            first = index if first < 0 else first
            last = index
        elif first >= 0 and over_mm[index] <= -back_mm[index]:
            runs.append((first, last))
            first = -1
    if first >= 0:
        runs.append((first, last))
    return runs


def _edge(over_mm: FloatArray, inside: int, outside: int) -> float:
    """Fractional sample index at which the edge is crossed."""
    share = float(over_mm[outside] / (over_mm[outside] - over_mm[inside]))
    return outside + share * (inside - outside)


def _between(column: FloatArray, at: float) -> float:
    """Value of a column at a fractional sample index, linear between samples."""
    before = min(int(at), len(column) - 1)
    after = min(before + 1, len(column) - 1)
    return float(column[before] + (at - before) * (column[after] - column[before]))


def departures(
    trace: Trace, s_mm: FloatArray, d_mm: FloatArray, half_width_mm: FloatArray
) -> tuple[Departure, ...]:
    """Find the stretches outside the corridor.

    Parameters
    ----------
    trace : Trace
        Ordered samples.
    s_mm, d_mm : ndarray, shape (n,)
        Progress and signed distance. [mm]
    half_width_mm : ndarray, shape (n,)
        Half the corridor's width at each sample. [mm]

    Returns
    -------
    tuple of Departure
        Out beyond the half-width, back in only when inside by 0.2 mm or a tenth of the
        half-width; shorter than 1 mm of trace and 50 ms is ignored; a lift ends one; one
        still open at the end counts.
    """
    over_mm = np.abs(d_mm) - half_width_mm
    back_mm = np.maximum(BACK_IN_MM, BACK_IN_SHARE * half_width_mm)
    over, back = over_mm.tolist(), back_mm.tolist()
    step_mm = np.hypot(*np.diff(trace.xy_mm, axis=0, prepend=trace.xy_mm[:1]).T)
    travelled_mm = np.cumsum(step_mm)
    found: list[Departure] = []
    for part in stroke_slices(trace.stroke):
        for first, last in _out_runs(over, back, part):
            start = _edge(over_mm, first - 1, first) if first > part.start else float(first)
            end = _edge(over_mm, last + 1, last) if last + 1 < part.stop else float(last)
            one = Departure(
                first=max(first - 1, part.start),
                last=min(last + 1, part.stop - 1),
                start_s=None if trace.t_s is None else _between(trace.t_s, start),
                end_s=None if trace.t_s is None else _between(trace.t_s, end),
                from_mm=_between(s_mm, start),
                to_mm=_between(s_mm, end),
                length_mm=_between(travelled_mm, end) - _between(travelled_mm, start),
                beyond_mm=float(over_mm[first : last + 1].max()),
            )
            if not one.negligible:
                found.append(one)
    return tuple(found)
