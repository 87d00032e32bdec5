"""Trials of one path as a list to choose from: which there are, and one line on each."""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from sqlalchemy.orm import Session

from server.dates import day_words
from server.deps import SeenTrial
from server.sentences import DIRECTION_WORDS, HAND_WORDS
from server.sentences_marks import OUTCOME_WORDS
from server.store_marks import latest_marks, was_helped
from server.store_results import facts_with
from server.store_same_path import days_of, latest_on_guide, places_of
from server.store_trials import result_of, results_of
from server.store_voids import voided_ids
from server.tables import MarkRow, TrialRow
from server.trial_readings import hand_used

MOST_OTHERS = 20


class Line(NamedTuple):
    """A trial in a list: which, where it stands, and its conditions in words."""

    trial_id: str
    words: str
    remark: str


def others_of(db: Session, seen: SeenTrial) -> list[Line]:
    """Return the latest trials of the same child and path, newest first, this one left out.

    Parameters
    ----------
    db : Session
        Database session. What it reads does not grow with the trials of the child.
    seen : SeenTrial
        A trial that the reader may see.

    Returns
    -------
    list of Line
        At most `MOST_OTHERS`; those that do not count are among them and say so.
    """
    guide_id = facts_with(result_of(db, seen.trial))["guide_id"]
    if guide_id is None:
        return []
    found = latest_on_guide(db, seen.child.id, guide_id, but=seen.trial.id, most=MOST_OTHERS)
    return list(_lines(db, found))


def pair_words(db: Session, one: SeenTrial, other: SeenTrial) -> list[Line]:
    """Return the lines of two trials of one child, in the order given."""
    return list(_lines(db, [one.trial, other.trial]))


def _lines(db: Session, chosen: Sequence[TrialRow]) -> Iterator[Line]:
    ids = [trial.id for trial in chosen]
    marks, voided = latest_marks(db, ids), voided_ids(db, ids)
    places, days = places_of(db, chosen), days_of(db, chosen)
    for trial, result in results_of(db, chosen, reports=False):
        mark, facts = marks.get(trial.id), facts_with(result)
        place, count = places[trial.id]
        conditions = [
            HAND_WORDS.get(hand_used(facts, mark) or ""),
            DIRECTION_WORDS.get(facts["travelled"] or ""),
        ]
        said = ", ".join(word for word in conditions if word)
        words = f"{day_words(days[trial.session_id])}, trial {place} of {count}"
        remark = remark_words(mark, voided=trial.id in voided)
        yield Line(trial.id, f"{words}: {said}" if said else words, remark)


def remark_words(mark: MarkRow | None, *, voided: bool) -> str:
    """Say what adults noted of a trial that changes how it is read; may be empty."""
    said = ["voided"] if voided else []
    if mark is not None and mark.outcome not in (None, "finished"):
        said.append(OUTCOME_WORDS[mark.outcome or ""])
    if was_helped(mark):
        said.append("helped")
    return ", ".join(said)
