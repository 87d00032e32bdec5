"""Measures of crossing the midline (MEASURES 5) and of the guide itself (MEASURES 8)."""

from typing import Any

import numpy as np

from analysis import difficulty, midline, midline_bands
from analysis.corners import corners, turns_deg
from analysis.guide import Guide
from analysis.measure import TrialMeasure
from analysis.measures_deviation import in_corridor_share
from analysis.needs import CORRIDOR, DEVIATION, MIDLINE, MIDLINE_BANDS, SHAPE, SPEED, TIMED
from analysis.profile import Profile
from analysis.value import Refused
from analysis.workings import Workings

MIDDLE = "Midline"
GUIDE = "Difficulty of the guide"
STEERING_SHARE = 0.9
"""The steering rate is given only for lines kept to at least this share. [1]"""


def _at(w: Workings) -> tuple[Guide, float]:
    if w.guide is None:
        raise Refused("no_guide")
    if w.midline_x_mm is None:
        raise Refused("midline_unknown")
    return w.guide, w.midline_x_mm


def _crossing_share(w: Workings) -> float:
    required = midline.required_crossings(*_at(w))
    if required == 0:
        raise Refused("guide_lacks_feature")
    clean = sum(not crossing.lifted for crossing in w.crossings)
    return min(clean, required) / required


def _pieces(w: Workings) -> Any:
    if w.kinematics is None:
        raise Refused("no_time")
    return w.kinematics.pieces


def _in_zone(w: Workings, x_mm: float) -> bool:
    return abs(x_mm - _at(w)[1]) <= midline.ZONE_MM


def _pause_count(w: Workings) -> float:
    if w.kinematics is None:
        raise Refused("no_time")
    return float(sum(_in_zone(w, pause.x_mm) for pause in w.kinematics.pauses))


def _lift_count(w: Workings) -> float:
    if w.kinematics is None:
        raise Refused("no_time")
    middles = [(lift.from_x_mm + lift.to_x_mm) / 2 for lift in w.kinematics.lifts]
    return float(sum(_in_zone(w, x_mm) for x_mm in middles))


def _deviation_ratio(w: Workings) -> float:
    profile: Profile = w.profile
    return midline_bands.deviation_ratio(profile, *_at(w))


def _reach(w: Workings) -> tuple[float, float]:
    if w.alignment is None:
        raise Refused("no_guide")
    return midline.reach_mm(w.alignment, _at(w)[1], w.trial.condition.hand or "")


def _reach_share(w: Workings) -> float:
    reached_mm, whole_mm = _reach(w)
    return reached_mm / whole_mm


def _guide(w: Workings) -> Guide:
    if w.asked_guide is None:
        raise Refused("no_guide")
    return w.asked_guide


def _steering_rate(w: Workings) -> float:
    if w.kinematics is None:
        raise Refused("no_time")
    if in_corridor_share(w) < STEERING_SHARE:
        raise Refused("too_little_traced")
    if w.kinematics.pen_down_s <= 0:
        raise Refused("too_few_samples")
    return difficulty.steering_index(_guide(w)) / w.kinematics.pen_down_s


def _middle(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"unit": "1", "family": MIDDLE, "decimals": 2, "source": "MEASURES 5"}
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **(fields | more))


def _of_guide(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"unit": "1", "family": GUIDE, "needs": frozenset({"guide"})}
    fields |= {"source": "MEASURES 8", "decimals": 0}
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **(fields | more))


MIDLINE_MEASURES: tuple[TrialMeasure, ...] = (
    _middle(
        "midline_crossings",
        "Times across the midline",
        "Changes of side with the pen down, counted 5 mm beyond the midline.",
        lambda w: float(len(w.crossings)),
        needs=MIDLINE,
        decimals=0,
    ),
    _middle(
        "midline_crossing_share",
        "Crossings without a lift",
        "Crossings made without a lift or a change of hand inside the zone, over those the guide "
        "asks for.",
        _crossing_share,
        needs=MIDLINE,
        better="high",
    ),
    _middle(
        "midline_zone_time_share",
        "Share of time near the midline",
        "Share of pen-down time within 20 mm of the midline.",
        lambda w: midline_bands.zone_time_share(_pieces(w), *_at(w)),
        needs=MIDLINE_BANDS | SPEED,
    ),
    _middle(
        "midline_slowdown_ratio",
        "Slowing at the midline",
        "Mean speed 20 to 60 mm from the midline over mean speed within 20 mm; curvature alone "
        "slows a hand, so compare on the same guide only.",
        lambda w: midline_bands.slowdown_ratio(_pieces(w), *_at(w)),
        needs=MIDLINE_BANDS | SPEED,
        better="near",
        near=1.0,
    ),
    _middle(
        "midline_pause_count",
        "Pauses at the midline",
        "Pauses whose middle moment lies within 20 mm of the midline.",
        _pause_count,
        needs=MIDLINE | SPEED,
        better="low",
        decimals=0,
    ),
    _middle(
        "midline_lift_count",
        "Lifts at the midline",
        "Lifts whose middle lies within 20 mm of the midline.",
        _lift_count,
        needs=MIDLINE | TIMED,
        better="low",
        decimals=0,
    ),
    _middle(
        "midline_deviation_ratio",
        "Distance from the line at the midline",
        "Mean distance from the line within 20 mm of the midline over that 20 to 60 mm from it.",
        _deviation_ratio,
        needs=MIDLINE_BANDS | DEVIATION,
        better="near",
        near=1.0,
    ),
    _middle(
        "contralateral_reach",
        "Reach across the midline",
        "Farthest covered point of the guide on the side opposite the hand, from the midline.",
        lambda w: _reach(w)[0],
        unit="mm",
        needs=MIDLINE | SHAPE | {"hand"},
        better="high",
        decimals=0,
    ),
    _middle(
        "contralateral_reach_share",
        "Share of the reach asked for",
        "Reach across the midline over the guide's own reach there.",
        _reach_share,
        needs=MIDLINE | SHAPE | {"hand"},
        better="high",
    ),
    _middle(
        "hand_switch_count",
        "Changes of hand",
        "Changes of hand that the adult marked during the trial.",
        lambda w: float(sum(mark.kind == "hand_switch" for mark in w.trial.marks)),
        needs=frozenset({"samples"}),
        better="low",
        decimals=0,
    ),
)

GUIDE_MEASURES: tuple[TrialMeasure, ...] = (
    _of_guide(
        "steering_index_of_difficulty",
        "Steering index",
        "Integral of guide length over full corridor width; ignores curvature.",
        lambda w: difficulty.steering_index(_guide(w)),
        needs=frozenset({"guide", "corridor"}),
        source="MEASURES 8; Accot & Zhai 1997",
        decimals=1,
    ),
    _of_guide(
        "steering_rate",
        "Steering rate",
        "Steering index over pen-down time, when at least 0.9 of the line is in the corridor.",
        _steering_rate,
        unit="s-1",
        needs=CORRIDOR | TIMED,
        better="high",
        decimals=2,
    ),
    _of_guide(
        "corner_count",
        "Corners of the guide",
        "Vertices of the guide that turn by at least 30°.",
        lambda w: float(len(corners(_guide(w)))),
    ),
    _of_guide(
        "turning_total",
        "Turning of the guide",
        "Sum of the sizes of all turns of the guide.",
        lambda w: float(np.sum(turns_deg(_guide(w)))),
        unit="deg",
    ),
)
