"""One trial in, everything computed from it out, as plain data (linnet-report/1)."""

from typing import Any

import numpy as np

from analysis import ANALYSIS_VERSION
from analysis.events import milliseconds
from analysis.identity import guide_id, path_id
from analysis.registry import measure, measure_all
from analysis.scores import scores
from analysis.stretches import EVEN_RATES_HZ, FAST_RATE_HZ
from analysis.trial import Criterion
from analysis.value import Value
from analysis.workings import AIMED, Workings

SIGNIFICANT_DIGITS = 9
"""Numbers in a report are rounded to this many significant digits."""
OF_THE_WHOLE = frozenset({"hand_switch_count"})
"""Measures of a whole trial that one of its two contacts cannot have."""


def rounded(number: float) -> float:
    """Return a number without the digits that only arithmetic noise would fill."""
    return round(float(f"{number:.{SIGNIFICANT_DIGITS}g}"), 12)


def measure_row(measure_id: str, value: Value) -> dict[str, Any]:
    """Return a measure's value or reason with its unit, and its interval where it has one."""
    row: dict[str, Any] = {
        "value": None if value.number is None else rounded(value.number),
        "unit": measure(measure_id).unit,
    }
    if value.reason is not None:
        row["reason"] = value.reason
    if value.low is not None and value.high is not None:
        row |= {"low": rounded(value.low), "high": rounded(value.high)}
    return row


def criterion_row(criterion: Criterion | None, values: dict[str, Value]) -> dict[str, Any] | None:
    """Whether the bound is met: null for technical reasons, false for too little traced."""
    if criterion is None:
        return None
    row: dict[str, Any] = {"measure": criterion.measure, "met": None, "value": None}
    value = values.get(criterion.measure)
    if value is None:
        return row
    if value.number is None:
        row["met"] = False if value.reason == "too_little_traced" else None
        return row
    low_ok = criterion.at_least is None or value.number >= criterion.at_least
    high_ok = criterion.at_most is None or value.number <= criterion.at_most
    return row | {"met": low_ok and high_ok, "value": rounded(value.number)}


def _quality(w: Workings) -> dict[str, Any]:
    rate_hz = w.quality.rate_hz
    return {
        "sample_rate_hz": None if rate_hz is None else round(rate_hz, 1),
        "longest_gap_ms": milliseconds(w.quality.longest_gap_s),
        "sample_count": len(w.trace),
        "calibrated": w.trial.device.calibrated,
        "flags": w.flags,
    }


def _settings(w: Workings) -> dict[str, Any]:
    """Conventions that vary from trial to trial; all others go with the analysis version."""
    moving, rate_hz = w.kinematics, w.quality.rate_hz
    if moving is None or rate_hz is None or not moving.pieces:
        return {"grid_rate_hz": None, "pause_limit_mm_s": None}
    # Each of two hands has a limit of its own.
    limited = w.pausing and w.trial.mode not in {"tap", "both"}
    return {
        "grid_rate_hz": EVEN_RATES_HZ[rate_hz >= FAST_RATE_HZ],
        "pause_limit_mm_s": rounded(moving.pause_limit_mm_s) if limited else None,
    }


def _contacts(w: Workings) -> list[dict[str, Any]] | None:
    """Both contacts measured as traces of their own; None unless two hands were asked for."""
    if w.trial.mode != "both":
        return None
    return [
        {
            "pointer": contact.pointer,
            "part": contact.part,
            "settings": _settings(contact.workings),
            "measures": {
                name: measure_row(name, value)
                for name, value in measure_all(contact.workings).items()
                if name not in OF_THE_WHOLE
            },
        }
        for contact in w.contacts
    ]


def _targets(w: Workings) -> dict[str, int] | None:
    """How many dots there were and how many were met; None where none were asked for."""
    guide = w.asked_guide
    if w.trial.mode not in AIMED or guide is None or not guide.targets:
        return None
    met = int(w.aims.contacted.sum()) if len(w.trace) else 0
    return {"count": len(guide.targets), "contacted": met}


def _half_width_mm(w: Workings) -> float | None:
    guide = w.asked_guide
    if guide is None or not guide.parts or not guide.has_corridor:
        return None
    widths = np.concatenate(guide.segment_corridor_mm)
    return float(widths[0]) / 2 if np.ptp(widths) < 1e-9 else None


def make_report(w: Workings) -> dict[str, Any]:
    """Return the whole report of one trial.

    Parameters
    ----------
    w : Workings
        Of the trial.

    Returns
    -------
    dict
        Format ``linnet-report/1``; JSON types only, no NaN. Lengths in mm, times in ms
        where the key says so, measures in their own units.
    """
    values = measure_all(w)
    guide = w.asked_guide
    return {
        "format": "linnet-report/1",
        "trial_id": w.trial.trial_id,
        "mode": w.trial.mode,
        "guide_id": None if guide is None else guide_id(guide),
        "path_id": None if guide is None else path_id(guide),
        "analysis_version": ANALYSIS_VERSION,
        "pointer_type": w.trial.device.pointer_type,
        "half_width_mm": _half_width_mm(w),
        "quality": _quality(w),
        "travelled": w.travelled,
        "scores": {
            name: None if reading is None else rounded(reading)
            for name, reading in scores(values).items()
        },
        "measures": {name: measure_row(name, value) for name, value in values.items()},
        "events": w.events,
        "settings": _settings(w),
        "contacts": _contacts(w),
        "targets": _targets(w),
        "criterion": criterion_row(w.trial.criterion, values),
    }
