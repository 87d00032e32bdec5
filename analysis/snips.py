"""Runs of a pen along a cutting line: strokes that stand for snips of the scissors."""

import numpy as np

from analysis.alignment import Alignment
from analysis.conditioning import stroke_slices
from analysis.kinematics import Kinematics
from analysis.trace import FloatArray

SHORTEST_SNIP_MM = 2.0
"""A run forward by less than this is no snip. [mm]"""


def _breaks_s(alignment: Alignment, moving: Kinematics, t_s: FloatArray) -> list[list[float]]:
    """Rising, disjoint times in which the pen rests or goes back. [s]"""
    resting = [(pause.start_s, pause.end_s) for pause in moving.pauses]
    back = [(float(t_s[top]), float(t_s[bottom])) for top, bottom in alignment.turns]
    merged: list[list[float]] = []
    for start, end in sorted(resting + back):
        if merged and start <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], end)
        else:
            merged.append([start, end])
    return merged


def snips_mm(alignment: Alignment, moving: Kinematics) -> list[float]:
    """Lengths of the forward runs between pauses, lifts and reversals.

    Parameters
    ----------
    alignment : Alignment
        Of the trace with the cutting line.
    moving : Kinematics
        Of the same trace.

    Returns
    -------
    list of float
        Progress from end to end of each run that is at least 2 mm long, in order. A leap
        along the guide ends a run as a lift does. [mm]
    """
    t_s = moving.trace.t_s
    if t_s is None:
        return []
    breaks = _breaks_s(alignment, moving, t_s)
    runs = np.insert(np.cumsum(~alignment.drawn, dtype=np.int64), 0, 0)
    found: list[float] = []
    for part in stroke_slices(runs):
        own_t_s, own_s_mm = t_s[part], alignment.s_mm[part]
        first, last = float(own_t_s[0]), float(own_t_s[-1])
        inside = [(a, b) for a, b in breaks if b > first and a < last]
        starts = [first, *(b for _, b in inside)]
        ends = [*(a for a, _ in inside), last]
        from_mm, to_mm = (np.interp(ends_s, own_t_s, own_s_mm) for ends_s in (starts, ends))
        found += [float(mm) for mm in to_mm - from_mm]
    return [length_mm for length_mm in found if length_mm >= SHORTEST_SNIP_MM]
