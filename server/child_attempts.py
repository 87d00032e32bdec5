"""All attempts of a child with their facts, marks and one measure: what its page is made of."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from analysis.measure import Measure
from server.store_marks import counts, latest_marks
from server.store_results import facts_with, values_of
from server.store_trials import ATTEMPTS, results_of, trials_of_child
from server.store_voids import voided_ids
from server.tables import MarkRow, TrialRow
from server.trial_readings import hand_used


@dataclass(frozen=True)
class Reading:
    """One trial of a child: its facts, the mark that counts, the value of one measure."""

    trial: TrialRow
    facts: dict[str, Any]
    mark: MarkRow | None
    voided: bool
    value: float | None

    @property
    def counts(self) -> bool:
        """Whether it is counted."""
        return counts(self.mark) and not self.voided

    @property
    def hand(self) -> str | None:
        """The hand that drew, as amended or marked, else as asked."""
        return hand_used(self.facts, self.mark)


def attempts_with(db: Session, child_id: str, measure: Measure) -> list[Reading]:
    """Return all attempts of a child, newest last, with their values of a measure.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child.
    measure : Measure
        Which value is wanted.

    Returns
    -------
    list of Reading
        Those that do not count are among them.
    """
    trials = trials_of_child(db, child_id, kinds=ATTEMPTS)
    ids = [trial.id for trial in trials]
    marks, voided = latest_marks(db, ids), voided_ids(db, ids)
    found = list(results_of(db, trials, reports=False))
    values = values_of(db, (result for _, result in found), {measure.id})
    return [
        Reading(
            trial,
            facts_with(result),
            marks.get(trial.id),
            trial.id in voided,
            values[trial.id].get(measure.id),
        )
        for trial, result in found
    ]
