"""What was computed from trials. All of it can be computed again from the raw records."""

import logging
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Float, func, inspect, select, type_coerce
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session, defer, undefer

from analysis import ANALYSIS_VERSION
from server.amending import Amended
from server.attempts import KINDS
from server.batches import batches
from server.facts import Scored, are_whole, scored, with_later, with_report
from server.logs import LOGGER, told
from server.tables import AmendmentRow, MeasureValue, ResultRow, TrialRow

SCORING_FAILED = "scoring_failed"

log = logging.getLogger(LOGGER)


def failed(report: dict[str, Any]) -> bool:
    """Return whether a report only says that the computing failed."""
    return SCORING_FAILED in report["quality"]["flags"]


def is_current() -> ColumnElement[bool]:
    """Return the condition that a result is current: running version, all amendments."""
    newest = (
        select(func.max(AmendmentRow.amendment_no))
        .where(AmendmentRow.trial_id == ResultRow.trial_id)
        .correlate(ResultRow)
        .scalar_subquery()
    )
    return (ResultRow.analysis_version == ANALYSIS_VERSION) & (
        ResultRow.amendment_no == func.coalesce(newest, 0)
    )


def current_result(db: Session, trial_id: str) -> ResultRow | None:
    """Return the current result of a trial, or None if it has to be computed."""
    return db.scalar(select(ResultRow).where(ResultRow.trial_id == trial_id, is_current()))


def current_results(
    db: Session, trial_ids: Sequence[str], *, reports: bool = True
) -> dict[str, ResultRow]:
    """Return the current result of each trial that has one.

    Parameters
    ----------
    db : Session
        Database session.
    trial_ids : sequence of str
        At most `server.batches.BATCH`.
    reports : bool
        Whether the reports are read too; without them it is many times faster.

    Returns
    -------
    dict of str to ResultRow
        By trial id.
    """
    query = select(ResultRow).where(ResultRow.trial_id.in_(trial_ids), is_current())
    if reports:
        return {one.trial_id: one for one in db.scalars(query)}
    found = {one.trial_id: one for one in db.scalars(query.options(defer(ResultRow.report)))}
    # Facts of an earlier release leave some to the report: those are read, all at once.
    partial = [one.id for one in found.values() if not are_whole(one.facts)]
    if partial:
        whole = select(ResultRow).where(ResultRow.id.in_(partial))
        db.scalars(whole.options(undefer(ResultRow.report)), execution_options=_AFRESH).all()
    return found


_AFRESH = {"populate_existing": True}


def facts_with(result: ResultRow) -> dict[str, Any]:
    """Return the facts of a result, whichever release kept it."""
    if are_whole(result.facts):
        return with_later(result.facts)
    return with_report(result.facts, result.report)


def values_of(
    db: Session, results: Iterable[ResultRow], names: Collection[str]
) -> dict[str, dict[str, float]]:
    """Return the numbers of some measures.

    Parameters
    ----------
    db : Session
        Database session.
    results : iterable of ResultRow
        Kept or just computed, one for each trial.
    names : collection of str
        Ids of measures.

    Returns
    -------
    dict of str to dict of str to float
        By trial id and measure; a measure that was refused is left out.
    """
    found: dict[str, dict[str, float]] = {}
    kept: dict[int, str] = {}
    for result in results:
        found[result.trial_id] = {}
        if inspect(result).persistent:
            kept[result.id] = result.trial_id
        else:
            # One that could not be kept has no rows of values.
            found[result.trial_id] = _numbers(result.report["measures"], names)
    number = type_coerce(MeasureValue.value, Float())
    for batch in batches(kept):
        rows = db.execute(
            select(MeasureValue.result_id, MeasureValue.measure, number).where(
                MeasureValue.result_id.in_(batch),
                MeasureValue.measure.in_(names),
                MeasureValue.value.is_not(None),
            )
        )
        for result_id, measure, value in rows:
            found[kept[result_id]][measure] = value
    return found


def _numbers(measured: dict[str, Any], names: Collection[str]) -> dict[str, float]:
    return {
        name: float(measured[name]["value"])
        for name in names
        if name in measured and measured[name]["value"] is not None
    }


def compute(trial: TrialRow, amended: Amended[Any]) -> ResultRow:
    """Return a result that is not kept yet.

    Parameters
    ----------
    trial : TrialRow
        Which attempt, of any kind; whether it came late is said in the report.
    amended : Amended
        Its document, with its amendments.

    Returns
    -------
    ResultRow
        Report and facts.
    """
    return row_of(trial.id, amended.count, scored(amended, late=trial.late, kind=KINDS[trial.kind]))


def row_of(trial_id: str, amendment_no: int, computed: Scored) -> ResultRow:
    """Return the row of something computed by the running version."""
    return ResultRow(
        trial_id=trial_id,
        amendment_no=amendment_no,
        analysis_version=ANALYSIS_VERSION,
        report=computed.report,
        facts=computed.facts,
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
    key = (result.trial_id, result.amendment_no)
    try:
        add_with_values(db, result)
        db.commit()
    except SQLAlchemyError as error:
        db.rollback()
        other = _kept_under(db, *key)
        if other is not None:
            return other
        log.error("a result could not be kept", extra=told(error))  # noqa: TRY400
    return result


def _kept_under(db: Session, trial_id: str, amendment_no: int) -> ResultRow | None:
    return db.scalar(
        select(ResultRow).where(
            ResultRow.trial_id == trial_id,
            ResultRow.amendment_no == amendment_no,
            ResultRow.analysis_version == ANALYSIS_VERSION,
        )
    )


def add_with_values(db: Session, result: ResultRow) -> None:
    """Add a result and a row for each of its measures; the caller commits."""
    db.add(result)
    db.flush()
    db.add_all(
        MeasureValue(
            result_id=result.id, measure=name, value=one["value"], reason=one.get("reason")
        )
        for name, one in result.report["measures"].items()
    )
    db.flush()
