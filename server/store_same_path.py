"""Trials of one child along one path: the latest of them, and where each stands in its session."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from datetime import date

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from server.store_results import facts_with, is_current
from server.store_trials import ATTEMPTS, DRAWN, in_order, result_of
from server.tables import ResultRow, SessionRow, TrialRow


def latest_on_guide(
    db: Session, child_id: str, guide_id: str, *, but: str, most: int
) -> list[TrialRow]:
    """Return the latest trials of a child along one guide, newest first.

    Parameters
    ----------
    db : Session
        Database session. No more than twice `most` rows are read, however many there are.
    child_id : str
        Which child.
    guide_id : str
        Which guide.
    but : str
        Id of the trial that is left out.
    most : int
        How many at most. [1]

    Returns
    -------
    list of TrialRow
        Those that do not count are among them.
    """
    mine = (
        in_order(DRAWN, newest_first=True)
        .outerjoin(ResultRow, (ResultRow.trial_id == TrialRow.id) & is_current())
        .where(SessionRow.child_id == child_id, TrialRow.id != but)
        .limit(most)
    )
    kept = set(db.scalars(mine.where(_guide_id() == guide_id).with_only_columns(TrialRow.id)))
    for trial in db.scalars(mine.where(ResultRow.id.is_(None))).all():
        # Not computed by this release yet: it is computed now, and found by its guide later.
        if facts_with(result_of(db, trial))["guide_id"] == guide_id:
            kept.add(trial.id)
    newest = in_order(DRAWN, newest_first=True).where(TrialRow.id.in_(kept)).limit(most)
    return list(db.scalars(newest))


def _guide_id() -> ColumnElement[str]:
    # Facts of an earlier release leave the guide to the report.
    return func.coalesce(
        ResultRow.facts["guide_id"].as_string(), ResultRow.report["guide_id"].as_string()
    )


def places_of(db: Session, trials: Collection[TrialRow]) -> dict[str, tuple[int, int]]:
    """Return the place of each trial in its session, from 1, and how many that session lists."""
    sessions = {trial.session_id for trial in trials}
    rows = db.execute(
        in_order(ATTEMPTS)
        .where(TrialRow.session_id.in_(sessions))
        .with_only_columns(TrialRow.session_id, TrialRow.id)
    )
    of_session: dict[str, list[str]] = defaultdict(list)
    for session_id, trial_id in rows:
        of_session[session_id].append(trial_id)
    return {
        trial_id: (place, len(ids))
        for ids in of_session.values()
        for place, trial_id in enumerate(ids, 1)
    }


def days_of(db: Session, trials: Sequence[TrialRow]) -> dict[str, date]:
    """Return the day of each session that some trials belong to, by its id."""
    sessions = {trial.session_id for trial in trials}
    rows = db.execute(select(SessionRow.id, SessionRow.day).where(SessionRow.id.in_(sessions)))
    return dict(rows.all())
