"""Measures of dots tapped or joined."""

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis import pointing
from analysis.measure import TrialMeasure
from analysis.needs import TARGETS, TIMED
from analysis.proportions import wilson_interval
from analysis.trace import FloatArray
from analysis.value import Estimate, Refused
from analysis.workings import AIMED, Workings

FAMILY = "Targets"
AIM = "Aimed movement"
LEAST_TARGETS = 5
"""Errors are given from this many targets on: the mean of fewer is led by one of them."""

FEW = frozenset({"too_few_trials"})
ERROR = (
    "e is the vector from a target's centre to its first contact (tap: touch-down of a stroke, "
    "belonging to the nearest centre within max(15 mm, 3 radii); join: closest approach of the "
    "line within max(10 mm, 2 radii) of the target along the guide, at most max(15 mm, 3 radii) "
    "away). "
)
ERROR_EDGES = (
    "Needs 5 attempted targets. Later contacts of a target and targets never tried have no "
    "weight. One unfiltered sample a target: carries its noise, not the sampling rate. "
)
MOVEMENT = (
    "A movement ends at the first contact of a target and begins at the contact before it, if "
    "that belongs to a target in another place; its axis runs from the former centre to the "
    "latter. "
)
TAPS = TARGETS - {"rate_shape"}
"""Needs of what is measured on taps only: a tap needs a single sample."""
POINTING_SOURCE = (
    "ISO 9241-411; Soukoreff & MacKenzie 2004, Int. J. Hum.-Comput. Stud. 61:751 (from memory)"
)


def _errors_mm(w: Workings) -> FloatArray:
    found = w.aims.error_mm
    if len(found) < LEAST_TARGETS:
        raise Refused("too_few_trials")
    return found


def _mean_mm(w: Workings) -> FloatArray:
    return np.asarray(_errors_mm(w).mean(axis=0))


def _variable(w: Workings) -> float:
    error_mm = _errors_mm(w)
    away_mm = error_mm - error_mm.mean(axis=0)
    return float(np.sqrt(np.einsum("nc,nc->n", away_mm, away_mm).mean()))


def _hit_share(w: Workings) -> Estimate:
    hit = w.aims.hit
    if len(hit) == 0:
        raise Refused("too_few_trials")
    hits = int(np.count_nonzero(hit))
    return Estimate(hits / len(hit), *wilson_interval(hits, len(hit)))


def _movements(w: Workings) -> list[pointing.Movement]:
    targets = () if w.asked_guide is None else w.asked_guide.targets
    return pointing.movements(w.aims.touches, targets)


def _target(
    id_: str,
    label: str,
    meaning: str,
    function: Callable[[Workings], float | Estimate],
    **more: Any,
) -> TrialMeasure:
    fields: dict[str, Any] = {"unit": "mm", "family": FAMILY, "needs": TARGETS, "better": "low"}
    fields |= {"source": "Linnet convention", "modes": AIMED} | more
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **fields)


def _offset(axis: str, along: str, toward: str, column: int) -> TrialMeasure:
    return _target(
        f"target_error_constant_{axis}",
        f"Constant error, {along}",
        f"Mean signed distance of the contacts from the centres along the page; positive to the "
        f"{toward}.",
        lambda w: float(_mean_mm(w)[column]),
        refuses=FEW,
        better="near",
        near=0.0,
        formula=ERROR + f"{axis} component of the mean of e over attempted targets.",
        edges=ERROR_EDGES + "A tablet that is calibrated badly or seen from aside shifts it too.",
    )


TARGET_MEASURES: tuple[TrialMeasure, ...] = (
    _target(
        "target_error_mean",
        "Mean distance from the target",
        "Mean distance of the first contacts from the centres of their targets.",
        lambda w: float(np.hypot(*_errors_mm(w).T).mean()),
        refuses=FEW,
        formula=ERROR + "Mean of |e| over attempted targets.",
        edges=ERROR_EDGES + "It mixes constant and variable error.",
    ),
    _target(
        "target_error_constant",
        "Constant error",
        "How far the contacts lie to one side of their targets, on the whole.",
        lambda w: float(np.hypot(*_mean_mm(w))),
        refuses=FEW,
        formula=ERROR + "|mean of e| over attempted targets.",
        edges=ERROR_EDGES + "Errors to opposite sides cancel; with a large variable error and few "
        "targets it cannot be near 0 even without any lean to one side.",
    ),
    _offset("x", "sideways", "right", 0),
    _offset("y", "up and down", "bottom", 1),
    _target(
        "target_error_variable",
        "Variable error",
        "How far the contacts scatter about their own middle.",
        _variable,
        refuses=FEW,
        formula=ERROR + "sqrt(mean of |e - mean e|^2), population form: constant^2 + variable^2 "
        "= mean of |e|^2.",
        edges=ERROR_EDGES,
    ),
    _target(
        "hit_share",
        "Share of targets hit at the first contact",
        "Share of the attempted targets whose first contact lay within their radius.",
        _hit_share,
        unit="1",
        interval=True,
        refuses=FEW,
        better="high",
        decimals=2,
        source="Linnet convention; interval: Wilson 1927, J. Am. Stat. Assoc. 22:209 (from memory)",
        formula=ERROR + "Share of attempted targets with |e| <= radius; 95 % score interval of "
        "Wilson.",
        edges="Targets never tried are left out: see completion. With few targets the interval is "
        "wide. Given on an uncalibrated tablet too.",
    ),
    _target(
        "miss_count",
        "Misses",
        "Contacts that lay in no target; joining, targets that the line passed by.",
        lambda w: float(w.aims.miss_count),
        unit="1",
        decimals=0,
        formula="Tap: contacts farther than its radius from every centre. Join: attempted targets "
        "whose closest approach (at most max(15 mm, 3 radii), within max(10 mm, 2 radii) along "
        "the guide) is beyond their radius.",
        edges="Tap: repeated and stray contacts count, and no contact is too short to count. "
        "Join: a target far off the line is not attempted and no miss: see completion.",
    ),
    _target(
        "repeat_contact_count",
        "Repeated contacts",
        "Contacts of a target after its first one.",
        lambda w: float(w.aims.repeat_count),
        unit="1",
        decimals=0,
        formula="Tap: contacts belonging to a target (nearest centre within max(15 mm, 3 radii)) "
        "that had one before. Join: entries of the line into a radius after it was farther off "
        "than max(2 radii, radius + 2 mm).",
        edges="Tap: a place asked for several times has its targets met in their order; another "
        "contact of it at once is a repeat. Join: a lift on a target is no new entry.",
    ),
    _target(
        "effective_width",
        "Effective target width",
        "Width, along the way to the target, that the contacts really used.",
        lambda w: pointing.width_of(_movements(w)),
        family=AIM,
        needs=TAPS,
        refuses=FEW | {"zero_variance"},
        modes=frozenset({"tap"}),
        source=POINTING_SOURCE,
        formula=MOVEMENT + "4.133 times the standard deviation (n - 1) of e·axis over all "
        "movements; 4.133 is sqrt(2 pi e) rounded.",
        edges="Needs 5 movements, of whatever distance. zero_variance if all errors are equal. One "
        "contact far off widens it much.",
    ),
    _target(
        "effective_index_of_difficulty",
        "Effective index of difficulty",
        "How difficult the movements were that the child really made.",
        lambda w: pointing.index_of(_movements(w)),
        unit="bit",
        family=AIM,
        needs=TAPS,
        better="none",
        decimals=2,
        refuses=FEW | {"zero_variance"},
        modes=frozenset({"tap"}),
        source=POINTING_SOURCE,
        formula=MOVEMENT + "log2(Ae / We + 1): We is the effective width, Ae the mean distance "
        "moved from contact to contact along the axis, at least 0.",
        edges="Needs 5 movements; Ae and We are taken over all of them, of whatever distance. A "
        "ratio: given on an uncalibrated tablet too.",
    ),
    _target(
        "throughput",
        "Throughput",
        "Speed and nearness of tapping in one number: effective difficulty over movement time.",
        lambda w: pointing.throughput_bit_s(_movements(w)),
        unit="bit/s",
        family=AIM,
        better="high",
        decimals=2,
        needs=TAPS | TIMED,
        refuses=FEW | {"zero_variance"},
        modes=frozenset({"tap"}),
        source=POINTING_SOURCE,
        formula=MOVEMENT + "Mean over conditions (equal distance of centres to 1 mm, and radius) "
        "with at least 8 movements of log2(Ae / We + 1) / mean time from touch-down to touch-down.",
        edges="Made for practised, quick tapping to and fro; a child who searches for the next dot "
        "scores the search too. Compare equal layouts only. Touch-down times carry half a "
        "sampling step.",
    ),
)
