"""Attempts of a child with their facts, marks and one measure: what its page is made of."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from server.store_attempts import StoredAttempt
from server.store_marks import counts
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


def readings_with(
    attempts: Iterable[StoredAttempt], values: Mapping[str, Mapping[str, float]], measure_id: str
) -> list[Reading]:
    """Return attempts with their values of one measure.

    Parameters
    ----------
    attempts : iterable of StoredAttempt
        Of one child.
    values : mapping
        By trial and measure, as `server.store_results.values_of` gives them.
    measure_id : str
        Which value is wanted.

    Returns
    -------
    list of Reading
        In the order of `attempts`; those that do not count are among them.
    """
    return [
        Reading(
            one.trial,
            one.facts,
            one.mark,
            one.voided,
            values.get(one.trial.id, {}).get(measure_id),
        )
        for one in attempts
    ]
