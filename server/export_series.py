"""The table of series for research: one row a child, a series and a measure."""

from collections.abc import Iterator
from datetime import date

from sqlalchemy.orm import Session

from analysis.report import rounded
from analysis.value import Value
from server.columns import CONDITION_COLUMNS, LINNET, REPORT_COLUMNS, Cell, ColumnInfo
from server.dictionary import cells_of, measure_columns, measures_of
from server.store_sessions import sessions_of
from server.trend_series import Series, place, series_from
from server.trend_statistics import statistics_of
from server.trial_readings import readings_of

Row = dict[str, Cell]

_SHARED = {column.name: column for column in (*CONDITION_COLUMNS, *REPORT_COLUMNS)}

HEAD = (
    ColumnInfo("measure", "string", "", "Measure", "Id of the measure the series is of.", LINNET),
    ColumnInfo("unit", "string", "", "Unit", "UCUM code of that measure, {unit} below.", LINNET),
    _SHARED["mode"],
    _SHARED["guide_id"],
    _SHARED["path_id"],
    ColumnInfo("hand", "string", "", "Hand", "Hand that drew, as marked, else as asked.", LINNET),
    _SHARED["travelled"],
    ColumnInfo("tool", "string", "", "Tool", "Tool asked, else the pointer's type.", LINNET),
    _SHARED["half_width_mm"],
    ColumnInfo(
        "calibration",
        "integer",
        "1",
        "Calibration",
        "Number of the tablet's calibration, in the order in which this child met them.",
        LINNET,
    ),
    ColumnInfo(
        "midline_offset_mm",
        "number",
        "mm",
        "Midline",
        "From the guide's left edge to the midline, for measures of the midline only.",
        LINNET,
    ),
    ColumnInfo("sessions", "integer", "1", "Sessions", "Sessions with a value.", LINNET),
    ColumnInfo(
        "trials",
        "integer",
        "1",
        "Trials",
        "Trials with a value; spoilt and stopped ones not.",
        LINNET,
    ),
    ColumnInfo(
        "first_day_offset",
        "integer",
        "d",
        "First day",
        "Days from the child's first session to the first of the series.",
        LINNET,
    ),
    ColumnInfo(
        "last_day_offset",
        "integer",
        "d",
        "Last day",
        "Days from the child's first session to the last of the series.",
        LINNET,
    ),
)
REFUSED = ColumnInfo(
    "refused",
    "string",
    "",
    "Refused",
    "Measures of the series without a value and why, as id=reason with spaces.",
    LINNET,
)


def series_columns() -> list[ColumnInfo]:
    """Return the columns of a series: what it is of, then every measure of a series."""
    return [*HEAD, *measure_columns("series"), REFUSED]


def series_rows(db: Session, child_id: str) -> Iterator[Row]:
    """Yield the rows of one child, series after series.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child. Its trials are read once, for all measures.

    Yields
    ------
    dict
        Cells by name, one for each of `series_columns`.
    """
    entries = measures_of("trial")
    sessions = sessions_of(db, child_id)
    readings = list(readings_of(db, child_id, [entry.id for entry in entries]))
    met = dict.fromkeys(reading.key.calibration_id for reading in readings)
    # A screen whose scale is not known has no number.
    calibrations = {one: number for number, one in enumerate(filter(None, met), start=1)}
    units = {entry.id: entry.unit for entry in entries}
    # Sorting keeps the order of the registry within one series.
    found = [one for entry in entries for one in series_from(readings, sessions, entry)]
    for series in sorted(found, key=place):
        yield {
            "unit": units[series.measure_id],
            "calibration": calibrations.get(series.calibration_id or ""),
            **_head(series, sessions[0].day),
            **_cells(statistics_of(series)),
        }


def _head(series: Series, first_day: date) -> Row:
    days = [point.day for point in series.points]
    corridor_mm = series.corridor_mm
    return {
        "measure": series.measure_id,
        "mode": series.mode,
        "guide_id": series.guide_id,
        "path_id": series.path_id,
        "hand": series.hand,
        "travelled": series.travelled,
        "tool": series.tool,
        "half_width_mm": None if corridor_mm is None else corridor_mm / 2,
        "midline_offset_mm": series.midline_offset_mm,
        "sessions": len(days),
        "trials": sum(point.n for point in series.points),
        "first_day_offset": (days[0] - first_day).days,
        "last_day_offset": (days[-1] - first_day).days,
    }


def _cells(values: dict[str, Value]) -> Row:
    numbers = {
        name: {"value": value.number, "low": value.low, "high": value.high}
        for name, value in values.items()
    }
    cells = cells_of("series", lambda name, end: _rounded(numbers[name][end]))
    reasons = [f"{name}={value.reason}" for name, value in values.items() if value.reason]
    return cells | {REFUSED.name: " ".join(reasons)}


def _rounded(number: float | None) -> float | None:
    return None if number is None else rounded(number)
