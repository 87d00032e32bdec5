"""A line on each of some trials: what lists of them show, without a single whole report."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy.orm import Session

from server.store_marks import latest_marks
from server.store_results import facts_with
from server.store_same_path import days_of
from server.store_trials import results_of
from server.store_voids import voided_ids
from server.tables import TrialRow
from server.trial_readings import hand_noted


def trial_lines(db: Session, trials: Sequence[TrialRow]) -> list[dict[str, Any]]:
    """Return a line on each trial, in plain types.

    Parameters
    ----------
    db : Session
        Database session.
    trials : sequence of TrialRow
        Any attempts that the reader may see, of every kind.

    Returns
    -------
    list of dict
        In the order of `trials`, voided ones included. `hand` is the hand that was asked
        for, `hand_used` the one that drew, as amended, else as marked.
    """
    ids = [trial.id for trial in trials]
    marks, voided = latest_marks(db, ids), voided_ids(db, ids)
    days = days_of(db, trials)
    lines = []
    for trial, result in results_of(db, trials, reports=False):
        facts, mark = facts_with(result), marks.get(trial.id)
        lines.append(
            {
                "trial_id": trial.id,
                "session_id": trial.session_id,
                "day": days[trial.session_id].isoformat(),
                "kind": trial.kind,
                "seq": trial.seq,
                "late": trial.late,
                **facts,
                "hand_used": hand_noted(facts, mark),
                "outcome": None if mark is None else mark.outcome,
                "voided": trial.id in voided,
            }
        )
    return lines
