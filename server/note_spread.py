"""Whether a session lies within or beyond what a child's own trials differ by, for a draft."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from analysis.measure import Measure
from server.dates import day_words
from server.numbers import measured
from server.page_trend import baseline_until
from server.sentences_criterion import label_words
from server.sentences_goals import ON_PATH
from server.sentences_then_and_now import spread_words
from server.store_sessions import sessions_of
from server.tables import SessionRow
from server.then_and_now_store import readings_in
from server.trend_bands import LEAST_PAIRS, REPEATS, SeriesBand, band_of
from server.trend_series import KIND_OF_SCOPE, Series, measure_by_id, series_from
from server.trial_readings import readings_of

Numbers = Mapping[str, Any]

NO_SPREAD = "no two repeat trials differ, so there is no spread to hold it against"
TOO_FEW = "not enough repeat trials to compare with earlier sessions"
ON_PATH_WORDS = "on the path"


def spread_clauses(db: Session, session: SessionRow, numbers: Numbers) -> dict[str, str]:
    """Return what a draft says of a session against the child's earlier ones.

    Parameters
    ----------
    db : Session
        Database session.
    session : SessionRow
        Which session; later ones are not looked at.
    numbers : mapping
        Its ``linnet-numbers/1``.

    Returns
    -------
    dict
        A clause by trial id: the same for all trials of one series. A trial without a
        criterion on a measure, and one of a series that begins with this session, has none.
    """
    found: dict[str, str] = {}
    for name in dict.fromkeys(_measures(numbers["trials"])):
        measure = measure_by_id(name)
        if measure is not None:
            found |= _clauses(db, session, measure, numbers["trials"])
    return found


def _measures(trials: Iterable[Numbers]) -> Iterator[str]:
    return (name for one in trials if (name := _asked(one)) is not None)


def _asked(trial: Numbers) -> str | None:
    found: str | None = (trial["criterion"] or {}).get("measure")
    return found


def _clauses(
    db: Session, session: SessionRow, measure: Measure, trials: Iterable[Numbers]
) -> dict[str, str]:
    until_now = []
    for one in sessions_of(db, session.child_id):
        until_now.append(one)
        if one.id == session.id:
            break
    ids = {one.id for one in until_now}
    kind = KIND_OF_SCOPE[measure.scope]
    readings = [
        one
        for one in readings_of(db, session.child_id, [measure.id], kind)
        if one.session_id in ids
    ]
    asking = {one["trial_id"] for one in trials if _asked(one) == measure.id}
    series = series_from(readings, until_now, measure)
    until = baseline_until(db, session.child_id, measure.id, series)
    found: dict[str, str] = {}
    for same in series:
        if len(same.points) < 2 or same.points[-1].session_id != session.id:
            continue
        clause = _clause(same, measure, band_of(same, until.get(same)), until.get(same))
        mine = {r.trial_id for r in readings_in(readings, same, measure)}
        found |= dict.fromkeys(mine & asking, clause)
    return found


def _clause(series: Series, measure: Measure, band: SeriesBand | None, until: date | None) -> str:
    now, first = series.points[-1], series.points[0]
    if until is not None and now.day <= until:
        # A session of the baseline is not held against itself.
        return ""
    if band is None:
        return TOO_FEW if len(series.repeats) < LEAST_PAIRS else NO_SPREAD
    label = ON_PATH_WORDS if measure.id == ON_PATH else label_words(measure)
    value = f"{label} {measured(now.value, measure)}{' (median)' if now.n > 1 else ''}"
    where = "within" if band.low <= now.value <= band.high else "beyond"
    if band.kind == REPEATS:
        spread = spread_words(band.high - band.middle, measure)
        before = f"{measured(first.value, measure)} in the first session ({day_words(first.day)})"
        return f"{value}, {before}: {where} the spread of repeat trials ({spread})"
    low, high = measured(band.low, measure), measured(band.high, measure)
    return f"{value}: {where} the band of the baseline sessions ({low} to {high})"
