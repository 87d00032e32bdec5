"""Trials of a child that count: their conditions and their values, ready to compare."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.attempts import TRIAL, Kind
from server.store_attempts import StoredAttempt, attempts_of_child
from server.store_marks import was_helped
from server.store_results import values_of
from server.tables import MarkRow

NOT_SAID = "tool not said"


class SeriesKey(NamedTuple):
    """What trials must have in common to be compared; None where it is not known.

    `laid` is how the edge of a cut piece was laid on its template: a best fit hides what
    printed marks show.
    """

    mode: str
    guide_id: str | None
    path_id: str | None
    hand: str | None
    travelled: str | None
    tool: str
    calibration_id: str | None
    midline_offset_mm: float | None
    laid: str | None = None


class Reading(NamedTuple):
    """One trial that counts: its conditions, and its values by measure id.

    Attributes
    ----------
    trial_id, session_id : str
        Which trial of which session.
    key : SeriesKey
        Its conditions, the midline included.
    free : bool
        Whether the child chose the hand.
    hand_taken : str or None
        The hand that drew, as amended or marked; where it was not free, else as asked.
    task_name, position : str or None
        As the document says.
    corridor_mm : float or None
        Full width. [mm]
    helped : bool
        Whether any help was marked.
    values : dict of str to float
        Numbers only, each in the unit of its measure.
    """

    trial_id: str
    session_id: str
    key: SeriesKey
    free: bool
    hand_taken: str | None
    task_name: str | None
    position: str | None
    corridor_mm: float | None
    helped: bool
    values: dict[str, float]


def readings_of(
    db: Session, child_id: str, measure_ids: Iterable[str], kind: Kind = TRIAL
) -> Iterator[Reading]:
    """Yield the trials of a child that count, in order, with their values of some measures.

    Parameters
    ----------
    db : Session
        Database session.
    child_id : str
        Which child. How many statements it takes does not depend on other children.
    measure_ids : iterable of str
        Which values are wanted.
    kind : Kind
        Which kind of attempts: those of another kind are never in one series with them.

    Yields
    ------
    Reading
        Voided, spoilt, stopped and undone trials are left out.
    """
    attempts = attempts_of_child(db, child_id, kinds={kind.name}, voided=False)
    counted = [one for one in attempts if one.counts]
    values = values_of(db, (one.result for one in counted), frozenset(measure_ids))
    yield from readings_from(counted, values)


def readings_from(
    attempts: Iterable[StoredAttempt], values: Mapping[str, dict[str, float]]
) -> Iterator[Reading]:
    """Yield the trials that count among some that were read.

    Parameters
    ----------
    attempts : iterable of StoredAttempt
        Of one child and one kind, in order.
    values : mapping
        Values by trial and measure, for all that count.

    Yields
    ------
    Reading
        As `readings_of` does.
    """
    for one in attempts:
        if one.counts:
            trial = one.trial
            yield _reading(trial.id, trial.session_id, one.facts, one.mark, values[trial.id])


def _reading(
    trial_id: str,
    session_id: str,
    facts: Mapping[str, Any],
    mark: MarkRow | None,
    values: dict[str, float],
) -> Reading:
    half_mm, laid = facts["half_width_mm"], facts.get("laid")
    free = facts["hand"] == "free"
    hand = hand_used(facts, mark)
    key = SeriesKey(
        mode=facts["mode"],
        guide_id=facts["guide_id"],
        path_id=facts["path_id"],
        hand=hand,
        # Which way a piece was cut cannot be seen on it: then it is the way that was asked.
        travelled=facts["direction"] if laid else facts["travelled"],
        tool=facts["tool"] or facts["pointer_type"] or NOT_SAID,
        calibration_id=facts["calibration_id"],
        midline_offset_mm=facts["midline_offset_mm"],
        laid=laid,
    )
    return Reading(
        trial_id=trial_id,
        session_id=session_id,
        key=key,
        free=free,
        hand_taken=None if free and hand == "free" else hand,
        task_name=facts["task_name"],
        position=facts["position"],
        corridor_mm=None if half_mm is None else 2 * half_mm,
        helped=was_helped(mark),
        values=values,
    )


def hand_noted(facts: Mapping[str, Any], mark: MarkRow | None) -> str | None:
    """Return the hand that drew, as an adult noted it; None if nobody did.

    An amendment goes before a mark, whichever is newer: it was made with the record in
    sight and with a reason given, a mark in passing.
    """
    amended: str | None = facts.get("hand_used")
    if amended is not None:
        return amended
    return None if mark is None else mark.hand_used


def hand_used(facts: Mapping[str, Any], mark: MarkRow | None) -> str | None:
    """Return the hand that drew: as amended, else as marked, else as asked."""
    asked: str | None = facts["hand"]
    return hand_noted(facts, mark) or asked
