"""All attempts of a child read once: what their pages and series are made of."""

from collections.abc import Collection
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.store_marks import counts, latest_marks
from server.store_results import facts_with
from server.store_trials import DRAWN, results_of, trials_of_child
from server.store_voids import voided_ids
from server.tables import MarkRow, ResultRow, TrialRow


class StoredAttempt(NamedTuple):
    """One attempt with what was computed from it and what adults said of it.

    Attributes
    ----------
    trial, result : TrialRow, ResultRow
        Its record and its current result, of which the report is not read.
    facts : dict
        Of the result.
    mark : MarkRow or None
        The mark that counts.
    voided : bool
        Whether it is not to be used.
    """

    trial: TrialRow
    result: ResultRow
    facts: dict[str, Any]
    mark: MarkRow | None
    voided: bool

    @property
    def counts(self) -> bool:
        """Whether it is counted."""
        return counts(self.mark) and not self.voided


def attempts_of_child(
    db: Session, child_id: str, *, kinds: Collection[str] = DRAWN, voided: bool = True
) -> list[StoredAttempt]:
    """Return the attempts of a child, newest last.

    Parameters
    ----------
    db : Session
        Database session. How many statements it takes does not depend on the attempts, but
        for one batch more for every 500.
    child_id : str
        Which child.
    kinds : collection of str
        Of which kinds.
    voided : bool
        Whether those that are voided are wanted too.

    Returns
    -------
    list of StoredAttempt
        Those that do not count are among them.
    """
    trials = trials_of_child(db, child_id, kinds=kinds, voided=voided)
    ids = [trial.id for trial in trials]
    marks = latest_marks(db, ids)
    out = voided_ids(db, ids) if voided else frozenset[str]()
    return [
        StoredAttempt(trial, result, facts_with(result), marks.get(trial.id), trial.id in out)
        for trial, result in results_of(db, trials, reports=False)
    ]
