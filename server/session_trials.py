"""The trials of one session as a list, each with what the adults added to it."""

from collections.abc import Iterator
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.store_marks import latest_marks
from server.store_results import facts_with
from server.store_trials import ATTEMPTS, results_of, trials_of_session
from server.store_voids import voided_ids
from server.tables import AmendmentRow, MarkRow, ResultRow, SessionRow, TrialRow
from server.trial_readings import hand_noted


class Attempt(NamedTuple):
    """One trial of a session with all that is known of it.

    Attributes
    ----------
    trial, result, mark
        The trial, its current result, and the mark that counts, if there is one.
    voided : bool
        Whether it is not to be used.
    amendments : int
        How many corrections were added. [1]
    """

    trial: TrialRow
    result: ResultRow
    mark: MarkRow | None
    voided: bool
    amendments: int


def attempts_of(db: Session, session_id: str, *, reports: bool = True) -> Iterator[Attempt]:
    """Yield the trials of a session in order, cut pieces and entries among them.

    Parameters
    ----------
    db : Session
        Database session.
    session_id : str
        Which session.
    reports : bool
        Whether whole reports are wanted too: lists do with facts.

    Yields
    ------
    Attempt
        With its current result.
    """
    trials = trials_of_session(db, session_id, kinds=ATTEMPTS)
    ids = [trial.id for trial in trials]
    marks, voided, amended = latest_marks(db, ids), voided_ids(db, ids), _amended(db, session_id)
    for trial, result in results_of(db, trials, reports=reports):
        yield Attempt(
            trial, result, marks.get(trial.id), trial.id in voided, amended.get(trial.id, 0)
        )


def _amended(db: Session, session_id: str) -> dict[str, int]:
    counts = (
        select(AmendmentRow.trial_id, func.count())
        .join(TrialRow, TrialRow.id == AmendmentRow.trial_id)
        .where(TrialRow.session_id == session_id)
        .group_by(AmendmentRow.trial_id)
    )
    return dict(db.execute(counts).all())


def lines_of(db: Session, session: SessionRow) -> list[dict[str, Any]]:
    """Return a line on each trial of a session, newest last, in plain types."""
    return [_line(session, one) for one in attempts_of(db, session.id, reports=False)]


def _line(session: SessionRow, one: Attempt) -> dict[str, Any]:
    facts, mark = facts_with(one.result), one.mark
    return {
        "trial_id": one.trial.id,
        "session_id": session.id,
        "day": session.day.isoformat(),
        "kind": one.trial.kind,
        "seq": one.trial.seq,
        "late": one.trial.late,
        "received_at": one.trial.received_at.isoformat(),
        **facts,
        "outcome": None if mark is None else mark.outcome,
        "why": None if mark is None else mark.why,
        "hand_used": hand_noted(facts, mark),
        "help": None if mark is None else mark.help,
        "marked": mark is not None,
        "voided": one.voided,
        "amendments": one.amendments,
    }
