"""Measures of how hard the pen was pressed."""

from typing import Any

from analysis.measure import LINE_MODES, TrialMeasure
from analysis.needs import PRESSURE as NEEDED
from analysis.pressure import Pressing
from analysis.value import Refused
from analysis.workings import Workings

PRESSURE = "Pressure"
STANDARD = "Linnet convention; reading: W3C Pointer Events, pressure"
USED = (
    "p: reading of the pen, 0 to 1, straight between samples, without the first and last 50 ms of "
    "each stroke; T: the time that is left. "
)
EDGES = (
    "A share of this pen's range, not a force: compare only trials with the same pen, tablet and "
    "settings. Not given for fingers, for a reading that never changes (fewer than 3 values, or SD "
    "below 0.001), or if it is at 0.98 or above for more than 20 % of the time. A pen that rests "
    "and reports nothing is taken to press as before. Jitter of times does not matter: every part "
    "weighs its time. "
)


def _pressing(w: Workings) -> Pressing:
    if w.pressing is None:
        raise Refused("no_pressure_sensor")
    return w.pressing


def _cv(w: Workings) -> float:
    found = _pressing(w)
    return found.sd / found.mean


def _in_band(w: Workings) -> float:
    if w.trial.pressure_band is None:
        raise Refused("guide_lacks_feature")
    return _pressing(w).share_between(*w.trial.pressure_band)


def _pressure(id_: str, label: str, meaning: str, function: Any, **more: Any) -> TrialMeasure:
    fields: dict[str, Any] = {"unit": "1", "family": PRESSURE, "needs": NEEDED, "decimals": 2}
    fields |= {"modes": LINE_MODES | {"join"}, "source": STANDARD} | more
    return TrialMeasure(id=id_, label=label, meaning=meaning, function=function, **fields)


PRESSURE_MEASURES: tuple[TrialMeasure, ...] = (
    _pressure(
        "pressure_mean",
        "Mean pressure",
        "Mean over time of the pen's pressure, as a share of its range.",
        lambda w: _pressing(w).mean,
        formula=USED + "(1/T) integral p dt.",
        edges=EDGES,
    ),
    _pressure(
        "pressure_cv",
        "Unevenness of pressure",
        "Standard deviation over mean of the pressure.",
        _cv,
        formula=USED + "sqrt((1/T) integral (p - mean)^2 dt) / mean.",
        edges=EDGES + "Grows without limit as the mean nears 0.",
        better="low",
    ),
    _pressure(
        "pressure_in_band_share",
        "Time in the asked pressure",
        "Share of the time with the pressure between the two bounds that the practitioner set.",
        _in_band,
        formula=USED + "(1/T) time with low <= p <= high, crossings by linear interpolation.",
        edges=EDGES + "Not given without bounds in the task.",
        needs=NEEDED | {"pressure_band"},
        better="high",
    ),
    _pressure(
        "pressure_drift",
        "Drift of pressure",
        "How fast the pressure rises or falls over the trial, as a share of its range a second.",
        lambda w: _pressing(w).drift_per_s(),
        formula=USED
        + "Theil-Sen slope (median of all pairwise slopes) of the means of every 0.5 s "
        "of the clock, those at least half filled, against their mean times.",
        edges=EDGES
        + "Needs 3 s of pressure and six such means. Time in the air counts as time. Beyond "
        "2000 means only every second, third and so on is used.",
        source="Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63:1379 (both from memory)",
        unit="s-1",
        needs=NEEDED | {"pressure_long"},
        better="near",
        near=0.0,
        decimals=3,
    ),
    _pressure(
        "pressure_peaks_per_s",
        "Pressure peaks per second",
        "How often the pressure rises and falls by at least 0.05 of the range.",
        lambda w: _pressing(w).peaks_per_s(),
        formula=USED + "On an even grid, low-passed at 5 Hz (order 2 a pass): number of maxima "
        "with prominence >= 0.05 in what is 0.12 s away from both ends of the strokes, over T.",
        edges=EDGES + "A rise that lasts to the end of a stroke is no peak. Fast waves are "
        "damped: those of 0.1 each way count up to about 7 Hz.",
        unit="s-1",
        better="low",
    ),
)
