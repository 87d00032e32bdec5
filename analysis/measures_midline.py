"""Measures of crossing the middle of the body."""

from typing import Any

from analysis import midline, midline_bands
from analysis.guide import Guide
from analysis.measure import LINE_MODES, TrialMeasure
from analysis.needs import DEVIATION, MIDLINE, MIDLINE_BANDS, SHAPE, SPEED
from analysis.pauses import lifts
from analysis.profile import Profile
from analysis.value import Refused
from analysis.workings import Workings

MIDDLE = "Midline"
BANDS = (
    "Zone: |x - x_m| <= 20 mm; flanks: 20 to 60 mm to either side; parts of the guide that cross "
    "the midline only. "
)
CROSSING = (
    "A crossing is counted on reaching x = x_m ± 5 mm on the other side with the pen down; the "
    "side is kept over a lift, a change made in the air is none. "
)


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
    middles = [(lift.from_x_mm + lift.to_x_mm) / 2 for lift in lifts(w.trace, None)]
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


def _middle(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {
        "unit": "1",
        "family": MIDDLE,
        "decimals": 2,
        "source": "Linnet convention",
    }
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **(fields | more))


MIDLINE_MEASURES: tuple[TrialMeasure, ...] = (
    _middle(
        "midline_crossings",
        "Times across the midline",
        "Changes of side with the pen down, counted 5 mm beyond the midline.",
        lambda w: float(len(w.crossings)),
        needs=MIDLINE,
        decimals=0,
        formula=CROSSING + "Their number.",
        edges="0 for a child who stops at the midline: that is a finding, not too little traced. "
        "Weaving of less than 5 mm about the midline counts nothing.",
    ),
    _middle(
        "midline_crossing_share",
        "Crossings without a lift",
        "Crossings made without a lift or a change of hand inside the zone, over those the guide "
        "asks for.",
        _crossing_share,
        needs=MIDLINE,
        better="high",
        formula=CROSSING + "min(k, r)/r; k is the number of crossings without a lift (middle of "
        "the gap within 20 mm of x_m) or a marked change of hand during that stay in the zone, r "
        "the crossings of the guide itself by the same rule.",
        edges="At most 1: extra crossings do not count. A change of hand is known only if the "
        "adult marked it. Refused where no part of the guide reaches 5 mm on both sides.",
    ),
    _middle(
        "midline_zone_time_share",
        "Share of time near the midline",
        "Share of pen-down time within 20 mm of the midline.",
        lambda w: midline_bands.zone_time_share(_pieces(w), *_at(w)),
        needs=MIDLINE_BANDS | SPEED,
        formula=BANDS + "Pen-down time in the zone over all pen-down time on those parts, steps of "
        "the even grid shared out exactly where they enter or leave.",
        edges="Read it beside the share of the guide's length in the zone. Pauses count. One "
        "smooth reach centred on the midline spends less there than its share of length.",
    ),
    _middle(
        "midline_slowdown_ratio",
        "Speed away from the midline ÷ at it",
        "Mean speed 20 to 60 mm from the midline over mean speed within 20 mm; curvature alone "
        "slows a hand, so compare on the same guide only.",
        lambda w: midline_bands.slowdown_ratio(_pieces(w), *_at(w)),
        needs=MIDLINE_BANDS | SPEED,
        better="near",
        near=1.0,
        formula=BANDS + "(length/time in both flanks) / (length/time in the zone), from filtered "
        "positions.",
        edges="Above 1: slower at the midline. Pauses count as time. One smooth reach of 200 mm "
        "centred on the midline reads 0.90, so 1 is not neutral for fast strokes.",
    ),
    _middle(
        "midline_pause_count",
        "Pauses at the midline",
        "Pauses whose middle moment lies within 20 mm of the midline.",
        _pause_count,
        needs=MIDLINE | SPEED,
        better="low",
        decimals=0,
        formula="Number of pauses (see pause_count) whose position at the middle moment has "
        "|x - x_m| <= 20 mm.",
        edges="A pause that starts before the pen was 2 mm away from its first contact is none.",
    ),
    _middle(
        "midline_lift_count",
        "Lifts at the midline",
        "Lifts whose middle lies within 20 mm of the midline.",
        _lift_count,
        needs=MIDLINE,
        better="low",
        decimals=0,
        formula="Number of lifts with |(x_before + x_after)/2 - x_m| <= 20 mm.",
        edges="Contacts shorter than 30 ms and 1 mm are sensor bounce and make no lift.",
    ),
    _middle(
        "midline_deviation_ratio",
        "Distance from the line at the midline ÷ away from it",
        "Mean distance from the line within 20 mm of the midline over that 20 to 60 mm from it.",
        _deviation_ratio,
        needs=MIDLINE_BANDS | DEVIATION,
        refuses=frozenset({"zero_variance"}),
        better="near",
        near=1.0,
        formula=BANDS + "Mean of |d(s)| over covered guide in the zone, over that in both flanks; "
        "d(s) is the first-reach profile (see deviation_mean_abs).",
        edges="Refused where the flanks' mean is below 0.2 mm: nothing to divide by. Noise brings "
        "it nearer to 1.",
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
        formula="max(0, max over covered s of h (x(s) - x_m)), h = -1 for the right hand, +1 for "
        "the left.",
        edges="A point of the guide, not of the trace: running past the end adds nothing. 0 when "
        "nothing on that side was covered. The hand is the one that the trial says: what another "
        "hand drew after a marked change counts as drawn by it (see hand_switch_count).",
    ),
    _middle(
        "contralateral_reach_share",
        "Share of the reach asked for",
        "Reach across the midline over the guide's own reach there.",
        _reach_share,
        needs=MIDLINE | SHAPE | {"hand"},
        better="high",
        formula="contralateral_reach over the same maximum taken over the whole guide.",
        edges="1 when the guide's farthest point on that side was covered, by whichever hand (see "
        "hand_switch_count). Given on an uncalibrated tablet too.",
    ),
    _middle(
        "hand_switch_count",
        "Changes of hand",
        "Changes of hand that the adult marked during the trial.",
        lambda w: float(sum(mark.kind == "hand_switch" for mark in w.trial.marks)),
        needs=frozenset({"samples"}),
        better="low",
        decimals=0,
        modes=LINE_MODES | {"both"},
        formula="Number of marks of a change of hand that the adult entered with a time in the "
        "trial.",
        edges="0 also when the adult did not watch for it: no tablet senses the hand.",
    ),
)
