"""The series of a child: what may be compared with what (DESIGN 3.4)."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import date
from statistics import median
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from analysis.measures_midline import MIDDLE
from analysis.registry import MEASURES, Measure
from analysis.trend import trend_slope
from analysis.value import Refused
from server.store_marks import counts, latest_marks, was_helped
from server.store_sessions import sessions_of
from server.store_trials import results_of, trials_of_child
from server.tables import MarkRow, ResultRow


class SessionPoint(NamedTuple):
    """One session in a series.

    Attributes
    ----------
    day : date
        Day of the session.
    session_id : str
        Which session.
    value : float
        Median of the session's trials. [unit of the measure]
    n : int
        How many trials that is. [1]
    helps : int
        How many of them with help. [1]
    positions : tuple of str
        Positions of the child in them.
    """

    day: date
    session_id: str
    value: float
    n: int
    helps: int
    positions: tuple[str, ...]


class SeriesKey(NamedTuple):
    """What trials must have in common to be compared; None where it is not known."""

    mode: str
    guide_id: str | None
    path_id: str | None
    hand: str | None
    travelled: str | None
    tool: str
    calibration_id: str | None
    midline_offset_mm: float | None


@dataclass(frozen=True)
class Series:
    """A child's values of one measure that may be compared with each other.

    The first fields are those of `SeriesKey`.
    """

    mode: str
    guide_id: str | None
    path_id: str | None
    hand: str | None
    travelled: str | None
    tool: str
    calibration_id: str | None
    midline_offset_mm: float | None
    measure_id: str
    revision: int
    task_name: str | None
    corridor_mm: float | None
    points: tuple[SessionPoint, ...]


class _Reading(NamedTuple):
    key: SeriesKey
    task_name: str | None
    corridor_mm: float | None
    value: float
    helped: bool
    position: str | None


def measure_by_id(measure_id: str) -> Measure | None:
    """Return the measure of single trials with an id, or None."""
    return next((m for m in MEASURES if m.id == measure_id and m.scope == "trial"), None)


def series_of(db: Session, child_id: str, measure_id: str) -> list[Series]:
    """Return the series of one measure of a child.

    Spoilt, stopped and undone trials are left out, and so are trials without a value.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child.
    measure_id : str
        Id of the registry.

    Returns
    -------
    list of Series
        By task name, width from wide to narrow, direction and hand. Within one, sessions
        in order.

    Raises
    ------
    KeyError
        If no measure of single trials has that id.
    """
    measure = measure_by_id(measure_id)
    if measure is None:
        raise KeyError(measure_id)
    heads: dict[SeriesKey, _Reading] = {}
    readings: dict[tuple[SeriesKey, str], list[_Reading]] = defaultdict(list)
    for session_id, reading in _readings(db, child_id, measure):
        heads.setdefault(reading.key, reading)
        readings[reading.key, session_id].append(reading)
    sessions = sessions_of(db, child_id)
    found = [
        Series(
            **key._asdict(),
            measure_id=measure.id,
            revision=measure.revision,
            task_name=head.task_name,
            corridor_mm=head.corridor_mm,
            points=tuple(
                _point(session.day, session.id, readings[key, session.id])
                for session in sessions
                if (key, session.id) in readings
            ),
        )
        for key, head in heads.items()
    ]
    return sorted(found, key=_place)


def _readings(db: Session, child_id: str, measure: Measure) -> Iterator[tuple[str, _Reading]]:
    trials = trials_of_child(db, child_id)
    marks = latest_marks(db, [trial.id for trial in trials])
    for trial, result in results_of(db, [one for one in trials if counts(marks.get(one.id))]):
        value = result.report["measures"].get(measure.id, {}).get("value")
        if value is not None:
            yield trial.session_id, _reading(result, marks.get(trial.id), measure, value)


def _reading(result: ResultRow, mark: MarkRow | None, measure: Measure, value: float) -> _Reading:
    facts, report = result.facts, result.report
    half_mm = report["half_width_mm"]
    key = SeriesKey(
        mode=facts["mode"],
        guide_id=report["guide_id"],
        path_id=report["path_id"],
        hand=hand_used(facts, mark),
        travelled=report["travelled"],
        tool=facts["tool"] or facts["pointer_type"],
        calibration_id=facts["calibration_id"],
        midline_offset_mm=facts["midline_offset_mm"] if measure.family == MIDDLE else None,
    )
    return _Reading(
        key=key,
        task_name=facts["task_name"],
        corridor_mm=None if half_mm is None else 2 * half_mm,
        value=float(value),
        helped=was_helped(mark),
        position=facts["position"],
    )


def hand_used(facts: dict[str, Any], mark: MarkRow | None) -> str | None:
    """Return the hand that drew: as marked, else as asked."""
    asked: str | None = facts["hand"]
    return mark.hand_used if mark is not None and mark.hand_used is not None else asked


def _point(day: date, session_id: str, readings: list[_Reading]) -> SessionPoint:
    positions = {reading.position for reading in readings if reading.position is not None}
    return SessionPoint(
        day=day,
        session_id=session_id,
        value=float(median(reading.value for reading in readings)),
        n=len(readings),
        helps=sum(reading.helped for reading in readings),
        positions=tuple(sorted(positions)),
    )


def _place(series: Series) -> tuple[Any, ...]:
    return (
        series.task_name or "",
        -(series.corridor_mm or 0.0),
        series.travelled or "",
        series.hand or "",
        series.tool,
        series.guide_id or "",
        series.calibration_id or "",
        series.midline_offset_mm or 0.0,
    )


def as_dict(series: Series) -> dict[str, Any]:
    """Return a series in plain types, with its slope per week or the reason for none."""
    points = [point._asdict() | {"day": point.day.isoformat()} for point in series.points]
    return asdict(series) | {"points": points, "slope": _slope(series)}


def _slope(series: Series) -> dict[str, Any]:
    first = series.points[0].day
    days = [(point.day - first).days for point in series.points]
    try:
        slope = trend_slope(days, [point.value for point in series.points])
    except Refused as refused:
        return {"per_week": None, "reason": refused.code}
    return {
        "per_week": slope.per_week,
        "low_per_week": slope.low_per_week,
        "high_per_week": slope.high_per_week,
    }
