"""Measures of pen strokes that stand for snips of the scissors."""

from typing import Any

import numpy as np

from analysis.measure import TrialMeasure
from analysis.needs import SHAPE, SPEED
from analysis.snips import snips_mm
from analysis.value import Refused
from analysis.workings import Workings

FAMILY = "Pen strokes standing for cuts"
RUN = (
    "A run is what is drawn between two pauses (as in pause_count), lifts, leaps along the guide "
    "or reversals (falls of progress of more than 2 mm); its length is the progress from its first "
    "to its last moment. "
)
STAND_IN = "A pen drawn along a cutting line, not scissors: it says nothing of blades or paper. "


def _snips(w: Workings) -> list[float]:
    if w.alignment is None:
        raise Refused("no_guide")
    if w.kinematics is None:
        raise Refused("no_time")
    return snips_mm(w.alignment, w.kinematics)


def _median(w: Workings) -> float:
    found = _snips(w)
    if not found:
        raise Refused("too_little_traced")
    return float(np.median(found))


def _reversals(w: Workings) -> float:
    if w.alignment is None:
        raise Refused("no_guide")
    return float(len(w.alignment.turns))


def _stroke(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"unit": "1", "family": FAMILY, "needs": SPEED | SHAPE, "decimals": 0}
    fields |= {"source": "Linnet convention", "modes": frozenset({"cut"})} | more
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **fields)


CUT_STROKE_MEASURES: tuple[TrialMeasure, ...] = (
    _stroke(
        "snip_count",
        "Strokes standing for snips",
        "Runs of the pen forward along the line between stops, lifts and turns back.",
        lambda w: float(len(_snips(w))),
        formula=RUN + "Number of runs at least 2 mm long.",
        edges=STAND_IN + "A stop shorter than 0.2 s parts nothing. Hardly touched by noise; needs "
        "50 Hz for the pauses.",
    ),
    _stroke(
        "snip_length_median",
        "Median length of a stroke",
        "Median length along the line of the strokes that stand for snips; longer is more fluent.",
        _median,
        unit="mm",
        decimals=1,
        better="high",
        refuses=frozenset({"too_little_traced"}),
        formula=RUN + "Median over the runs at least 2 mm long.",
        edges=STAND_IN + "too_little_traced without such a run. A line drawn in one go gives its "
        "whole length.",
    ),
    _stroke(
        "cut_reversal_count",
        "Times the pen went back along the line",
        "How often the pen went back along the cutting line while it was down.",
        _reversals,
        needs=SHAPE,
        better="low",
        formula="Falls of progress of more than 2 mm within what is drawn without a lift or a leap "
        "along the guide.",
        edges=STAND_IN
        + "Each fall counts once, however long. Jitter below 2 mm counts none. Needs "
        "no times.",
    ),
)
