"""All measures, in the order of the report, the CSV and the data dictionary."""

from analysis.cut_workings import CUT_NEEDS, CutWorkings
from analysis.measure import CutMeasure, Measure, SeriesMeasure, TrialMeasure
from analysis.measures_both import BOTH_MEASURES
from analysis.measures_cover import COVER_MEASURES
from analysis.measures_curve import CURVE_MEASURES
from analysis.measures_cut import CUT_MEASURES
from analysis.measures_cut_strokes import CUT_STROKE_MEASURES
from analysis.measures_deviation import DEVIATION_MEASURES
from analysis.measures_guide import GUIDE_MEASURES
from analysis.measures_midline import MIDLINE_MEASURES
from analysis.measures_pressure import PRESSURE_MEASURES
from analysis.measures_series import SERIES_MEASURES
from analysis.measures_smoothness import SMOOTHNESS_MEASURES
from analysis.measures_speed import SPEED_MEASURES
from analysis.measures_targets import TARGET_MEASURES
from analysis.measures_time import PAUSE_MEASURES, TIME_MEASURES
from analysis.needs import NEEDS, unmet
from analysis.series import Series
from analysis.value import REASONS, Refused, Value
from analysis.workings import Workings

__all__ = [
    "MEASURES",
    "Measure",
    "column",
    "measure",
    "measure_all",
    "measure_cut",
    "measure_series",
    "reasons_of",
]

TRIAL_MEASURES: tuple[TrialMeasure, ...] = (
    *DEVIATION_MEASURES,
    *COVER_MEASURES,
    *CURVE_MEASURES,
    *TIME_MEASURES,
    *SPEED_MEASURES,
    *PAUSE_MEASURES,
    *SMOOTHNESS_MEASURES,
    *PRESSURE_MEASURES,
    *CUT_STROKE_MEASURES,
    *TARGET_MEASURES,
    *BOTH_MEASURES,
    *MIDLINE_MEASURES,
    *GUIDE_MEASURES,
)

MEASURES: tuple[Measure, ...] = (*TRIAL_MEASURES, *CUT_MEASURES, *SERIES_MEASURES)

_SUFFIX = {
    "1": "",
    "{unit}": "",
    "mm": "_mm",
    "mm2": "_mm2",
    "mm/s": "_mm_s",
    "s": "_s",
    "s-1": "_per_s",
    "cm-1": "_per_cm",
    "deg": "_deg",
    "bit": "_bit",
    "bit/s": "_bit_s",
    "{unit}/wk": "_per_week",
}


def column(entry: Measure) -> str:
    """Name of the CSV column of a measure: its id and its unit.

    Parameters
    ----------
    entry : Measure
        An entry of `MEASURES`.

    Returns
    -------
    str
        The id, with the unit's suffix unless the id ends with it.

    Examples
    --------
    >>> [column(measure(name)) for name in ("deviation_rms", "completion", "speed_peaks_per_cm")]
    ['deviation_rms_mm', 'completion', 'speed_peaks_per_cm']
    """
    suffix = _SUFFIX[entry.unit]
    return entry.id if entry.id.endswith(suffix) else entry.id + suffix


def measure(measure_id: str) -> Measure:
    """Return the entry with an id.

    Raises
    ------
    KeyError
        If there is none.
    """
    return _BY_ID[measure_id]


_BY_ID = {entry.id: entry for entry in MEASURES}


def reasons_of(entry: Measure) -> tuple[str, ...]:
    """Return every reason code that a measure may give, in order of precedence."""
    table = {
        name: code for name, (code, _) in (CUT_NEEDS if entry.scope == "cut" else NEEDS).items()
    }
    codes = entry.refuses | {table[name] for name in needs_of(entry)}
    return tuple(code for code in REASONS if code in codes)


def needs_of(entry: Measure) -> frozenset[str]:
    """Return the names of all needs of a measure, with the one that its unit adds."""
    return entry.needs | {"calibrated"} if entry.in_mm else entry.needs


def _value(entry: TrialMeasure, w: Workings) -> Value:
    reason = unmet(w, needs_of(entry))
    if reason is not None:
        return Value(None, reason)
    try:
        return Value.of(entry.function(w))
    except Refused as refused:
        return Value(None, refused.code)


def measure_all(w: Workings) -> dict[str, Value]:
    """Compute every measure whose modes include the trial's.

    Parameters
    ----------
    w : Workings
        Of one trial.

    Returns
    -------
    dict of str to Value
        By measure id, in the order of `MEASURES`.
    """
    return {entry.id: _value(entry, w) for entry in TRIAL_MEASURES if w.trial.mode in entry.modes}


def _cut_value(entry: CutMeasure, w: CutWorkings) -> Value:
    needs = needs_of(entry)
    for name, (code, met) in CUT_NEEDS.items():
        if name in needs and not met(w):
            return Value(None, code)
    try:
        return Value.of(entry.function(w))
    except Refused as refused:
        return Value(None, refused.code)


def measure_cut(w: CutWorkings) -> dict[str, Value]:
    """Compute every measure of the edge of one cut piece, by measure id."""
    return {entry.id: _cut_value(entry, w) for entry in CUT_MEASURES}


def _series_value(entry: SeriesMeasure, series: Series) -> Value:
    try:
        return Value.of(entry.function(series))
    except Refused as refused:
        return Value(None, refused.code)


def measure_series(series: Series) -> dict[str, Value]:
    """Compute every measure of a series of values, by measure id."""
    return {entry.id: _series_value(entry, series) for entry in SERIES_MEASURES}
