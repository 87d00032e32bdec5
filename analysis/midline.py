"""Crossing the middle of the body.

The midline is the vertical line x = x_m. Its zone reaches 20 mm to either side, its
flanks from there to 60 mm. All definitions are Linnet conventions.
"""

from dataclasses import dataclass

import numpy as np

from analysis.alignment import Alignment
from analysis.guide import Guide
from analysis.trace import BoolArray, FloatArray, Trace
from analysis.value import Refused

ZONE_MM, HYSTERESIS_MM = 20.0, 5.0
"""Half-width of the zone, and depth that makes a crossing. [mm]"""


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
