"""What lists, series and tables need of a trial, so that none has to read a whole report."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from server.attempts import TRIAL, Kind
from server.guides import guide_of

if TYPE_CHECKING:
    from server.amending import Amended
    from server.attempts import Document
    from server.documents import TrialDocument

LATE = "late"
# Found in every set of facts since reports are not read for lists any more.
SINCE_THEN = "scores"
# What facts did not hold before tablets asked for it.
LATER = {"tablet_at": None, "surface": None}


class Scored(NamedTuple):
    """A report and its facts, in plain types."""

    report: dict[str, Any]
    facts: dict[str, Any]


def scored(amended: "Amended[Any]", *, late: bool, kind: Kind = TRIAL) -> Scored:
    """Compute report and facts of an attempt.

    Parameters
    ----------
    amended : Amended
        Its document with its amendments.
    late : bool
        Whether it came after the tablet's day was over; the report says so.
    kind : Kind
        What kind of attempt it is.

    Returns
    -------
    Scored
        Never an error: a report may say that the computing failed.
    """
    report = kind.score(amended.measured)
    if late:
        report["quality"]["flags"].append(LATE)
    return Scored(report, kind.facts(amended.document, report, amended.hand_used))


def asked_of(document: "Document", hand_used: str | None) -> dict[str, Any]:
    """Return what was asked, and the hand that was used as amended: the same for every kind."""
    task, condition, plan = document.task, document.condition, document.plan
    return {
        "task_id": task.task_id,
        "task_revision": task.revision,
        "task_name": task.name,
        "mode": task.mode,
        "use": task.use,
        "hand": condition.hand,
        "hand_used": hand_used,
        "direction": condition.direction,
        "position": condition.position,
        "tool": condition.tool,
        "tablet_at": condition.tablet_at,
        "surface": condition.surface,
        "item_id": None if plan is None else plan.item_id,
        "repetition": None if plan is None else plan.repetition,
    }


def facts_of(
    document: "TrialDocument", report: Mapping[str, Any], hand_used: str | None = None
) -> dict[str, Any]:
    """Return what lists, series and tables need of a trial, in plain types.

    Parameters
    ----------
    document : TrialDocument
        A trial, amendments included.
    report : mapping
        Its ``linnet-report/1``.
    hand_used : str or None
        The hand that drew, as amended.

    Returns
    -------
    dict
        Names as in DESIGN section 1. `hand` is the hand that was asked for.
        `midline_offset_mm` is how far the midline lies to the right of the guide's left
        edge, in whole hundredths. [mm]
    """
    return asked_of(document, hand_used) | {
        "pointer_type": document.device.pointer_type,
        "calibration_id": document.device.calibration_id,
        "ended_by": document.ended_by,
        "midline_offset_mm": _midline_offset_mm(document),
        **_reported(report),
    }


def with_report(facts: dict[str, Any], report: Mapping[str, Any]) -> dict[str, Any]:
    """Return facts that an earlier release kept, with what it left to the report."""
    return LATER | facts | {"hand_used": None} | _reported(report)


def with_later(facts: dict[str, Any]) -> dict[str, Any]:
    """Return whole facts, with what was not asked yet when they were kept."""
    return facts if facts.keys() >= LATER.keys() else LATER | facts


def are_whole(facts: Mapping[str, Any]) -> bool:
    """Return whether facts say all that lists and series need."""
    return SINCE_THEN in facts


def _reported(report: Mapping[str, Any]) -> dict[str, Any]:
    names = ("guide_id", "path_id", "travelled", "half_width_mm", SINCE_THEN, "criterion")
    quality = report["quality"]
    return {name: report[name] for name in names} | {
        "calibrated": quality["calibrated"],
        "flags": quality["flags"],
    }


def _midline_offset_mm(document: "TrialDocument") -> float | None:
    # From the left edge, not from the first point: it is the same in both directions.
    guide = guide_of(document.guide)
    if guide is None or guide.midline_x_mm is None:
        return None
    points = [float(part.points_mm[:, 0].min()) for part in guide.parts]
    dots = [target.x_mm for target in guide.targets]
    return round(guide.midline_x_mm - min(points + dots), 2)
