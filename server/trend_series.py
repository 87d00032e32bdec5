"""The series of a child: what may be compared with what."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from statistics import median
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from analysis.measures_midline import MIDDLE
from analysis.registry import MEASURES, Measure
from analysis.series import CellTrial
from server.attempts import CUT, TRIAL
from server.store_sessions import sessions_of
from server.tables import SessionRow
from server.trial_readings import Reading, SeriesKey, readings_of

# A line drawn with a stylus is practice and not cutting: no series holds both.
KIND_OF_SCOPE = {"trial": TRIAL, "cut": CUT}


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


@dataclass(frozen=True)
class Series:
    """A child's values of one measure that may be compared with each other.

    The first fields are those of `SeriesKey`, and so is `laid`. `repeats` are trials of one
    session, two by two; `cells` and `hands` are of all trials that differ in hand and
    direction only.
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
    repeats: tuple[tuple[float, float], ...] = field(default=(), repr=False)
    cells: tuple[CellTrial, ...] = field(default=(), repr=False)
    hands: tuple[str | None, ...] = field(default=(), repr=False)
    laid: str | None = None


def measure_by_id(measure_id: str) -> Measure | None:
    """Return the measure of single trials or cut pieces with an id, or None."""
    return next((m for m in MEASURES if m.id == measure_id and m.scope in KIND_OF_SCOPE), None)


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
    readings = list(readings_of(db, child_id, [measure.id], KIND_OF_SCOPE[measure.scope]))
    return series_from(readings, sessions_of(db, child_id), measure)


def series_from(
    readings: Sequence[Reading], sessions: Sequence[SessionRow], measure: Measure
) -> list[Series]:
    """Return the series of one measure, as `series_of` does, from trials that were read.

    Parameters
    ----------
    readings : sequence of Reading
        Of one child, in order.
    sessions : sequence of SessionRow
        Of the same child, in order.
    measure : Measure
        A measure of single trials.

    Returns
    -------
    list of Series
        Trials without a value are left out.
    """
    places = {session.id: place for place, session in enumerate(sessions)}
    mine: dict[SeriesKey, list[Reading]] = defaultdict(list)
    alike: dict[SeriesKey, list[Reading]] = defaultdict(list)
    free: dict[SeriesKey, list[Reading]] = defaultdict(list)
    for reading in readings:
        key = _key(reading, measure)
        if reading.free:
            free[_whatever_hand(key)].append(reading)
        if measure.id in reading.values:
            mine[key].append(reading)
            alike[_whatever_hand(key)].append(reading)
    found = []
    for key, chosen in mine.items():
        others = alike[_whatever_hand(key)]
        by_session: dict[str, list[Reading]] = defaultdict(list)
        for reading in chosen:
            by_session[reading.session_id].append(reading)
        points = [
            _point(session, by_session[session.id], measure)
            for session in sessions
            if session.id in by_session
        ]
        series = Series(
            **key._asdict(),
            measure_id=measure.id,
            revision=measure.revision,
            task_name=chosen[0].task_name,
            corridor_mm=chosen[0].corridor_mm,
            points=tuple(points),
            repeats=tuple(_pairs(by_session.values(), measure)),
            cells=tuple(_cell(one, places[one.session_id], measure) for one in others),
            # A choice of hand counts even if the trial gave no value of this measure.
            hands=tuple(one.hand_taken for one in free[_whatever_hand(key)]),
        )
        found.append(series)
    return sorted(found, key=place)


def _key(reading: Reading, measure: Measure) -> SeriesKey:
    if measure.family == MIDDLE:
        return reading.key
    return reading.key._replace(midline_offset_mm=None)


def _whatever_hand(key: SeriesKey) -> SeriesKey:
    return key._replace(hand=None, travelled=None)


def _pairs(sessions: Iterable[list[Reading]], measure: Measure) -> Iterator[tuple[float, float]]:
    """First and second, third and fourth trial of each session: no trial is in two pairs."""
    for readings in sessions:
        values = [reading.values[measure.id] for reading in readings]
        yield from zip(values[::2], values[1::2], strict=False)


def _cell(reading: Reading, block: int, measure: Measure) -> CellTrial:
    # A hand that the child chose is kept apart from the same hand when it was asked for.
    hand = "free" if reading.free else reading.hand_taken
    return CellTrial(hand, reading.key.travelled, block, reading.values[measure.id])


def _point(session: SessionRow, readings: list[Reading], measure: Measure) -> SessionPoint:
    positions = {reading.position for reading in readings if reading.position is not None}
    return SessionPoint(
        day=session.day,
        session_id=session.id,
        value=float(median(reading.values[measure.id] for reading in readings)),
        n=len(readings),
        helps=sum(reading.helped for reading in readings),
        positions=tuple(sorted(positions)),
    )


def place(series: Series) -> tuple[Any, ...]:
    """Return where a series stands among those of a child."""
    return (
        series.task_name or "",
        -(series.corridor_mm or 0.0),
        series.travelled or "",
        series.hand or "",
        series.tool,
        series.guide_id or "",
        series.calibration_id or "",
        series.midline_offset_mm or 0.0,
        series.mode,
        series.laid or "",
    )
