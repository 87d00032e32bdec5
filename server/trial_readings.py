"""Trials of a child that count: their conditions and their values, ready to compare."""

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.store_marks import counts, latest_marks, was_helped
from server.store_trials import results_of, trials_of_child
from server.tables import MarkRow, ResultRow


class SeriesKey(NamedTuple):
    """What trials must have in common to be compared; None where it is not known."""

    mode: str
    guide_id: str | None
    path_id: str | None
    hand: str | None
    travelled: str | None
    tool: str
    calibration_id: str | None
    midline_offset_mm: float | None


class Reading(NamedTuple):
    """One trial that counts: its conditions, and its values by measure id.

    Attributes
    ----------
    session_id : str
        Which session.
    key : SeriesKey
        Its conditions, the midline included.
    free : bool
        Whether the child chose the hand.
    hand_taken : str or None
        The hand that drew, as marked; where it was not free, else as asked.
    task_name, position : str or None
        As the document says.
    corridor_mm : float or None
        Full width. [mm]
    helped : bool
        Whether any help was marked.
    values : dict of str to float
        Numbers only, each in the unit of its measure.
    """

    session_id: str
    key: SeriesKey
    free: bool
    hand_taken: str | None
    task_name: str | None
    position: str | None
    corridor_mm: float | None
    helped: bool
    values: dict[str, float]


def readings_of(db: Session, child_id: str, measure_ids: Iterable[str]) -> Iterator[Reading]:
    """Yield the trials of a child that count, in order, with their values of some measures."""
    names = frozenset(measure_ids)
    trials = trials_of_child(db, child_id)
    marks = latest_marks(db, [trial.id for trial in trials])
    for trial, result in results_of(db, [one for one in trials if counts(marks.get(one.id))]):
        yield _reading(trial.session_id, result, marks.get(trial.id), names)


def _reading(
    session_id: str, result: ResultRow, mark: MarkRow | None, names: frozenset[str]
) -> Reading:
    facts, report = result.facts, result.report
    half_mm = report["half_width_mm"]
    free = facts["hand"] == "free"
    hand = hand_used(facts, mark)
    key = SeriesKey(
        mode=facts["mode"],
        guide_id=report["guide_id"],
        path_id=report["path_id"],
        hand=hand,
        travelled=report["travelled"],
        tool=facts["tool"] or facts["pointer_type"],
        calibration_id=facts["calibration_id"],
        midline_offset_mm=facts["midline_offset_mm"],
    )
    measured = report["measures"]
    return Reading(
        session_id=session_id,
        key=key,
        free=free,
        hand_taken=None if free and hand == "free" else hand,
        task_name=facts["task_name"],
        position=facts["position"],
        corridor_mm=None if half_mm is None else 2 * half_mm,
        helped=was_helped(mark),
        values={
            name: float(measured[name]["value"])
            for name in names & measured.keys()
            if measured[name]["value"] is not None
        },
    )


def hand_used(facts: dict[str, Any], mark: MarkRow | None) -> str | None:
    """Return the hand that drew: as marked, else as asked."""
    asked: str | None = facts["hand"]
    return mark.hand_used if mark is not None and mark.hand_used is not None else asked
