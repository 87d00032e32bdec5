"""Measures of the guide itself: how hard it is, whoever draws on it."""

from typing import Any

import numpy as np

from analysis import difficulty
from analysis.corners import corners, turns_deg
from analysis.guide import Guide
from analysis.measure import TrialMeasure
from analysis.measures_deviation import in_corridor_share
from analysis.needs import CORRIDOR, TIMED
from analysis.value import Refused
from analysis.workings import Workings

GUIDE = "Difficulty of the guide"
STEERING = "Accot & Zhai 1997, Proc. CHI 97:295"
STEERING_SHARE = 0.9
"""The steering rate is given only for lines kept to at least this share. [1]"""


def _guide(w: Workings) -> Guide:
    if w.asked_guide is None:
        raise Refused("no_guide")
    return w.asked_guide


def _steering_rate(w: Workings) -> float:
    if w.kinematics is None:
        raise Refused("no_time")
    if in_corridor_share(w) < STEERING_SHARE:
        raise Refused("too_little_inside")
    return difficulty.steering_index(_guide(w)) / w.kinematics.pen_down_s


def _of_guide(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"unit": "1", "family": GUIDE, "needs": frozenset({"guide"})}
    fields |= {"source": "Linnet convention", "decimals": 0}
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **(fields | more))


GUIDE_MEASURES: tuple[TrialMeasure, ...] = (
    _of_guide(
        "steering_index_of_difficulty",
        "Steering index",
        "Integral of guide length over full corridor width; ignores curvature.",
        lambda w: difficulty.steering_index(_guide(w)),
        needs=frozenset({"guide", "corridor"}),
        source=STEERING,
        decimals=1,
        formula="∫ ds / W(s) over the guide, W the full corridor width, linear between vertices: "
        "length/W where it is even, length ln(W2/W1)/(W2 - W1) where it tapers.",
        edges="Exact; it knows nothing of the trace. Bends and corners add nothing to it.",
    ),
    _of_guide(
        "steering_rate",
        "Steering rate",
        "Steering index over pen-down time, when at least 0.9 of the line is in the corridor.",
        _steering_rate,
        unit="s-1",
        needs=CORRIDOR | TIMED | {"steps"},
        refuses=frozenset({"too_little_inside"}),
        better="high",
        decimals=2,
        source=STEERING,
        formula="steering_index_of_difficulty / pen_down_time; refused where in_corridor_share "
        "is below 0.9.",
        edges="Pauses count as time, time in the air does not; further laps add time but no index. "
        "Compare on the same guide only.",
    ),
    _of_guide(
        "corner_count",
        "Corners of the guide",
        "Vertices of the guide that turn by at least 30°.",
        lambda w: float(len(corners(_guide(w)))),
        formula="Number of vertices, ends of open parts left out, with a turn of at least 30°.",
        edges="A curve of many short pieces has none, however tight it is.",
    ),
    _of_guide(
        "turning_total",
        "Turning of the guide",
        "Sum of the sizes of all turns of the guide.",
        lambda w: float(np.sum(turns_deg(_guide(w)))),
        unit="deg",
        formula="Sum over vertices, ends of open parts left out, of |angle between the pieces "
        "before and after|.",
        edges="360° for any convex closed shape, whatever the number of its vertices.",
    ),
)
