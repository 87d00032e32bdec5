"""One trial in, everything computed from it out, as plain data (linnet-report/1)."""

from typing import Any

import numpy as np

from analysis import ANALYSIS_VERSION
from analysis.events import milliseconds
from analysis.identity import guide_id, path_id
from analysis.registry import measure, measure_all
from analysis.scores import scores
from analysis.trial import Criterion
from analysis.value import Value
from analysis.workings import Workings

SIGNIFICANT_DIGITS = 9
"""Numbers in a report are rounded to this many significant digits."""


def rounded(number: float) -> float:
    """Return a number without the digits that only arithmetic noise would fill."""
    return round(float(f"{number:.{SIGNIFICANT_DIGITS}g}"), 12)


def _measure_row(measure_id: str, value: Value) -> dict[str, Any]:
    row: dict[str, Any] = {
        "value": None if value.number is None else rounded(value.number),
        "unit": measure(measure_id).unit,
    }
    if value.reason is not None:
        row["reason"] = value.reason
    return row


def _criterion(criterion: Criterion | None, values: dict[str, Value]) -> dict[str, Any] | None:
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
        "calibrated": w.trial.device.calibrated,
        "flags": w.flags,
    }


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
        "scores": scores(values),
        "measures": {name: _measure_row(name, value) for name, value in values.items()},
        "events": w.events,
        "criterion": _criterion(w.trial.criterion, values),
    }
