"""What was computed from trials. All of it can be computed again from the raw records."""

import logging
from collections.abc import Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from analysis import ANALYSIS_VERSION
from server.documents import TrialDocument
from server.guides import guide_of
from server.tables import MeasureValue, ResultRow, TrialRow

SCORING_FAILED = "scoring_failed"
LATE = "late"

log = logging.getLogger("linnet")


def failed(report: dict[str, Any]) -> bool:
    """Return whether a report only says that the computing failed."""
    return SCORING_FAILED in report["quality"]["flags"]


def current_result(db: Session, trial_id: str) -> ResultRow | None:
    """Return the newest result of a trial under the running version, or None."""
    return db.scalar(
        select(ResultRow)
        .where(ResultRow.trial_id == trial_id, ResultRow.analysis_version == ANALYSIS_VERSION)
        .order_by(ResultRow.amendment_no.desc())
        .limit(1)
    )


def current_results(db: Session, trial_ids: Sequence[str]) -> dict[str, ResultRow]:
    """Return the current result of each trial that has one."""
    found = db.scalars(
        select(ResultRow)
        .where(ResultRow.trial_id.in_(trial_ids), ResultRow.analysis_version == ANALYSIS_VERSION)
        .order_by(ResultRow.amendment_no)
    )
    return {result.trial_id: result for result in found}


def compute(trial: TrialRow, document: TrialDocument, amendment_no: int = 0) -> ResultRow:
    """Return a result that is not kept yet.

    Parameters
    ----------
    trial : TrialRow
        Which trial; whether it came late is said in the report.
    document : TrialDocument
        Its document, amendments included.
    amendment_no : int
        How many amendments that are; 0 for the document as received.

    Returns
    -------
    ResultRow
        Report and facts.
    """
    # The analysis takes a second to load; what only stores does not need it.
    from server.scoring import score

    report = score(document)
    if trial.late:
        report["quality"]["flags"].append(LATE)
    return ResultRow(
        trial_id=trial.id,
        amendment_no=amendment_no,
        analysis_version=ANALYSIS_VERSION,
        report=report,
        facts=facts_of(document),
    )


def keep(db: Session, result: ResultRow) -> ResultRow:
    """Keep a result; commits.

    A result that says that scoring failed is not kept: it is tried again at the next look.
    The same result kept by another request meanwhile is taken instead. If it cannot be
    kept, the answer is given all the same: the raw record is safe.

    Parameters
    ----------
    db : Session
        Database session without unsaved changes.
    result : ResultRow
        From `compute`.

    Returns
    -------
    ResultRow
        The one that is kept, or `result` itself.
    """
    if failed(result.report):
        return result
    try:
        db.add(result)
        db.flush()
        db.add_all(_values(result))
        db.commit()
    except SQLAlchemyError as error:
        db.rollback()
        other = current_result(db, result.trial_id)
        if other is not None:
            return other
        # Only the kind of the error: its text would hold the values.
        log.error("a result could not be kept: %s", type(error).__name__)  # noqa: TRY400
    return result


def _values(result: ResultRow) -> list[MeasureValue]:
    return [
        MeasureValue(
            result_id=result.id, measure=name, value=one["value"], reason=one.get("reason")
        )
        for name, one in result.report["measures"].items()
    ]


def facts_of(document: TrialDocument) -> dict[str, Any]:
    """Return what lists, series and tables need of a document, in plain types.

    Parameters
    ----------
    document : TrialDocument
        A trial.

    Returns
    -------
    dict
        Names as in DESIGN section 1. `midline_offset_mm` is how far the midline lies to
        the right of the guide's left edge, in whole hundredths. [mm]
    """
    task, condition, device = document.task, document.condition, document.device
    return {
        "task_id": task.task_id,
        "task_revision": task.revision,
        "task_name": task.name,
        "mode": task.mode,
        "use": task.use,
        "hand": condition.hand,
        "direction": condition.direction,
        "position": condition.position,
        "tool": condition.tool,
        "pointer_type": device.pointer_type,
        "calibration_id": device.calibration_id,
        "item_id": document.plan.item_id if document.plan else None,
        "repetition": document.plan.repetition if document.plan else None,
        "ended_by": document.ended_by,
        "midline_offset_mm": _midline_offset_mm(document),
    }


def _midline_offset_mm(document: TrialDocument) -> float | None:
    # From the left edge, not from the first point: it is the same in both directions.
    guide = guide_of(document.guide)
    if guide is None or guide.midline_x_mm is None:
        return None
    points = [float(part.points_mm[:, 0].min()) for part in guide.parts]
    dots = [target.x_mm for target in guide.targets]
    return round(guide.midline_x_mm - min(points + dots), 2)
