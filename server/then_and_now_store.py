"""Every series of a child with its trials, for the page of then and now."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Literal

from sqlalchemy.orm import Session

from analysis.measure import Measure
from analysis.measures_midline import MIDDLE
from server.note_numbers import Numbers, groups_of, numbers_of
from server.store_attempts import attempts_of_child
from server.store_results import values_of
from server.tables import SessionRow
from server.then_and_now import USUAL_EACH, Compared, Period, compared
from server.trend_series import KIND_OF_SCOPE, Series, series_from
from server.trial_readings import Reading, SeriesKey, readings_from

WRONG_WAY = "The first session lies after the last one, so all sessions are shown."

Facts = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True)
class Chosen:
    """What a reader chose: measure, tasks, sessions, and how many sessions on either side."""

    measure_id: str | None = None
    tasks: Literal["probes", "all"] = "probes"
    first: str | None = None
    last: str | None = None
    each: int = USUAL_EACH


@dataclass(frozen=True)
class Found:
    """What was found.

    Attributes
    ----------
    compared : list of Compared
        Series with two sessions or more.
    alone : list of Series
        Those with fewer among the sessions that were chosen.
    offered : list of SessionRow
        Sessions with trials of this measure.
    allowed : list of str
        Those among them that were chosen.
    trouble : str or None
        Why the choice could not be followed.
    trials_in : callable
        Returns the trials of a session as in ``linnet-numbers/1``. It reads raw records, so
        it is called only where counts are said.
    """

    compared: list[Compared]
    alone: list[Series]
    offered: list[SessionRow]
    allowed: list[str]
    trouble: str | None
    measure: Measure
    readings: list[Reading]
    facts: Facts
    trials_in: Callable[[str], list[Numbers]]

    def flags_of(self, one: Compared) -> set[str]:
        """Return every flag of the trials of both periods."""
        periods = (one.then, one.now)
        mine = [r for period in periods for r in self._readings(one.series, period)]
        return {flag for r in mine for flag in self.facts[r.trial_id]["flags"]}

    def counts_of(self, one: Compared) -> tuple[list[Numbers], list[Numbers]]:
        """Return k of n of then and of now, as ``linnet-numbers/1`` groups them."""
        return self._groups(one.series, one.then), self._groups(one.series, one.now)

    def _groups(self, series: Series, period: Period) -> list[Numbers]:
        ids = {r.trial_id for r in self._readings(series, period)}
        trials = [t for name in period.session_ids for t in self.trials_in(name)]
        return groups_of([trial for trial in trials if trial["trial_id"] in ids])

    def _readings(self, series: Series, period: Period) -> list[Reading]:
        mine = readings_in(self.readings, series, self.measure)
        return [r for r in mine if r.session_id in period.session_ids]


def found_of(
    db: Session,
    child_id: str,
    sessions: Sequence[SessionRow],
    measure: Measure,
    chosen: Chosen,
) -> Found:
    """Return every series of a child for one measure, then and now.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child.
    sessions : sequence of SessionRow
        Of the child, in order.
    measure : Measure
        Of single trials or cut pieces.
    chosen : Chosen
        Which sessions and tasks.

    Returns
    -------
    Found
        Series in their usual order.
    """
    kind = KIND_OF_SCOPE[measure.scope]
    attempts = attempts_of_child(db, child_id, kinds={kind.name}, voided=False)
    values = values_of(db, (one.result for one in attempts), {measure.id})
    readings = list(readings_from(attempts, values))
    facts = {one.trial.id: one.facts for one in attempts}
    if chosen.tasks == "probes":
        readings = [r for r in readings if facts[r.trial_id]["use"] == "probe"]
    having = {r.session_id for r in readings if measure.id in r.values}
    offered = [session for session in sessions if session.id in having]
    allowed, trouble = _allowed([session.id for session in offered], chosen)
    both: list[Compared] = []
    alone: list[Series] = []
    for series in series_from(readings, sessions, measure):
        one = compared(series, allowed, chosen.each)
        if one is None:
            alone.append(series)
        else:
            both.append(_with_trials(one, readings_in(readings, series, measure), measure))
    trials_in = _trials_in(db, sessions)
    return Found(both, alone, offered, allowed, trouble, measure, readings, facts, trials_in)


def _trials_in(db: Session, sessions: Sequence[SessionRow]) -> Callable[[str], list[Numbers]]:
    rows = {session.id: session for session in sessions}

    @cache
    def trials(session_id: str) -> list[Numbers]:
        found: list[Numbers] = numbers_of(db, rows[session_id])["trials"]
        return found

    return trials


def _allowed(ids: list[str], chosen: Chosen) -> tuple[list[str], str | None]:
    first = ids.index(chosen.first) if chosen.first in ids else 0
    last = ids.index(chosen.last) if chosen.last in ids else len(ids) - 1
    if ids and first > last:
        return ids, WRONG_WAY
    return ids[first : last + 1], None


def readings_in(readings: Sequence[Reading], series: Series, measure: Measure) -> list[Reading]:
    """Return the trials that a series is made of."""
    names = set(SeriesKey._fields)
    if measure.family != MIDDLE:
        # Where the midline lay is no condition of other measures.
        names.discard("midline_offset_mm")
    return [
        reading
        for reading in readings
        if measure.id in reading.values
        and all(getattr(reading.key, name) == getattr(series, name) for name in names)
    ]


def _with_trials(one: Compared, readings: Sequence[Reading], measure: Measure) -> Compared:
    def trials(period: Period) -> Period:
        mine = (r for r in readings if r.session_id in period.session_ids)
        return replace(period, trials=tuple(r.values[measure.id] for r in mine))

    return replace(one, then=trials(one.then), now=trials(one.now))
