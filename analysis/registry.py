"""All measures, in the order of the report, the CSV and the data dictionary."""

from analysis.measure import Measure
from analysis.measures_curve import CURVE_MEASURES
from analysis.measures_deviation import DEVIATION_MEASURES
from analysis.measures_midline import GUIDE_MEASURES, MIDLINE_MEASURES
from analysis.measures_time import TIME_MEASURES
from analysis.needs import unmet
from analysis.value import Refused, Value
from analysis.workings import Workings

__all__ = ["MEASURES", "Measure", "column", "measure", "measure_all"]

MEASURES: tuple[Measure, ...] = (
    *DEVIATION_MEASURES,
    *CURVE_MEASURES,
    *TIME_MEASURES,
    *MIDLINE_MEASURES,
    *GUIDE_MEASURES,
)

_SUFFIX = {
    "1": "",
    "mm": "_mm",
    "mm2": "_mm2",
    "mm/s": "_mm_s",
    "s": "_s",
    "s-1": "_per_s",
    "cm-1": "_per_cm",
    "deg": "_deg",
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


def _value(entry: Measure, w: Workings) -> Value:
    needs = entry.needs | {"calibrated"} if entry.in_mm else entry.needs
    reason = unmet(w, needs)
    if reason is not None:
        return Value(None, reason)
    try:
        return Value(float(entry.function(w)))
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
    return {entry.id: _value(entry, w) for entry in MEASURES if w.trial.mode in entry.modes}
