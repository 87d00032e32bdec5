"""Computing results again, for a whole database: what is missing, or everything."""

import logging
from collections.abc import Callable, Generator
from contextlib import closing
from dataclasses import dataclass
from typing import Any, NamedTuple

from sqlalchemy import Select, delete, func, select
from sqlalchemy.orm import Session, undefer

from analysis import ANALYSIS_VERSION
from server.amending import amended
from server.attempts import KINDS
from server.database import ProcessLock, check_schema, make_engine, make_sessions
from server.facts import Scored, scored
from server.faults import BadDocument
from server.logs import LOGGER
from server.processes import Workers, started
from server.settings import Settings
from server.store_amendments import patches_of
from server.store_results import add_with_values, failed, is_current, row_of
from server.store_trials import DamagedRecord, raw_of
from server.tables import MeasureValue, ResultRow, TrialRow

# Trials in one transaction: what a killed run has to do again is at most this.
BATCH = 64
# Below this many trials the start of processes takes longer than they save.
FEW = 64

log = logging.getLogger(LOGGER)

Progress = Callable[[int, int], None]


@dataclass
class Counts:
    """What a run did.

    Attributes
    ----------
    scored : int
        Trials whose result was computed and kept. [1]
    failed : int
        Trials that could not be computed; they are tried again at the next look. [1]
    dropped : int
        Results of other versions that were deleted. [1]
    """

    scored: int = 0
    failed: int = 0
    dropped: int = 0


class _Owed(NamedTuple):
    """A trial to compute, in plain types that can be sent to another process."""

    trial_id: str
    kind: str
    raw: bytes
    late: bool
    patches: list[dict[str, Any]]


def rescore_database(
    settings: Settings,
    *,
    all_again: bool = False,
    drop_old: bool = False,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Counts:
    """Compute the current results that are missing, with all amendments.

    A run that was cut short is taken up by the next one where it stopped: every batch is
    one transaction. Raw records are read and never touched.

    Parameters
    ----------
    settings : Settings
        Say which database. Nobody may be serving it.
    all_again : bool
        Whether current results that are there are computed again and replaced.
    drop_old : bool
        Whether results of other versions of the analysis are deleted in the end. Those of
        trials without a current result stay.
    workers : int or None
        Processes; 1 computes here, None chooses by the machine.
    progress : callable or None
        Called with the trials done so far and the number of all.

    Returns
    -------
    Counts
        What was done.

    Raises
    ------
    DatabaseInUse
        If it is being served.
    WrongSchema
        If it has to be upgraded first.
    """
    lock = ProcessLock(settings.database_path)
    try:
        engine = make_engine(settings)
        try:
            check_schema(engine)
            with make_sessions(engine)() as db:
                return _rescored(db, all_again, drop_old, workers, progress)
        finally:
            engine.dispose()
    finally:
        lock.release()


def _rescored(
    db: Session, all_again: bool, drop_old: bool, workers: int | None, progress: Progress | None
) -> Counts:
    counts = Counts()
    owed = _owed(all_again)
    total = db.scalar(owed.with_only_columns(func.count(TrialRow.arrival)).order_by(None)) or 0
    done = 0
    count = 1 if workers is None and total < FEW else workers
    with started(count) as processes, closing(_batches(db, owed)) as batches:
        for batch in batches:
            _score_batch(db, batch, processes, counts)
            done += len(batch)
            if progress is not None:
                progress(done, total)
    if drop_old:
        counts.dropped = _drop_old(db)
    return counts


def _owed(all_again: bool) -> Select[Any]:
    mine = select(TrialRow.arrival).order_by(TrialRow.arrival)
    if all_again:
        return mine
    current = select(ResultRow.id).where(ResultRow.trial_id == TrialRow.id, is_current())
    return mine.where(~current.correlate(TrialRow).exists())


def _batches(db: Session, owed: Select[Any]) -> Generator[list[TrialRow]]:
    """Yield the trials in order of arrival; one that fails is not met again."""
    last = 0
    while True:
        numbers = list(db.scalars(owed.where(TrialRow.arrival > last).limit(BATCH)))
        if not numbers:
            return
        last = numbers[-1]
        mine = select(TrialRow).where(TrialRow.arrival.in_(numbers)).order_by(TrialRow.arrival)
        yield list(db.scalars(mine.options(undefer(TrialRow.raw))))
        # Raw records are large: those that are done with must not pile up.
        db.expunge_all()


def _score_batch(db: Session, batch: list[TrialRow], processes: Workers, counts: Counts) -> None:
    patches = patches_of(db, [trial.id for trial in batch])
    owed = []
    for trial in batch:
        try:
            raw = raw_of(trial)
        except DamagedRecord:
            log.error("a record is damaged", extra={"trial_id": trial.id})  # noqa: TRY400
            counts.failed += 1
            continue
        owed.append(_Owed(trial.id, trial.kind, raw, trial.late, patches.get(trial.id, [])))
    for one, computed in zip(owed, processes.each(_computed, owed), strict=True):
        if computed is None or failed(computed.report):
            counts.failed += 1
            continue
        number = len(one.patches)
        _delete_results(db, one.trial_id, number)
        add_with_values(db, row_of(one.trial_id, number, computed))
        counts.scored += 1
    db.commit()


def _computed(owed: _Owed) -> Scored | None:
    kind = KINDS[owed.kind]
    try:
        document = kind.read(owed.raw)
    except BadDocument:
        # Taken by an earlier release whose reader let more pass; the record is safe.
        return None
    return scored(amended(document, owed.patches), late=owed.late, kind=kind)


def _delete_results(db: Session, trial_id: str, amendment_no: int) -> None:
    mine = (
        (ResultRow.trial_id == trial_id)
        & (ResultRow.amendment_no == amendment_no)
        & (ResultRow.analysis_version == ANALYSIS_VERSION)
    )
    ids = list(db.scalars(select(ResultRow.id).where(mine)))
    if ids:
        db.execute(delete(MeasureValue).where(MeasureValue.result_id.in_(ids)))
        db.execute(delete(ResultRow).where(ResultRow.id.in_(ids)))


def _drop_old(db: Session) -> int:
    """Delete the results of other versions of trials that have a current one; commits."""
    current = select(ResultRow.trial_id).where(is_current())
    old = select(ResultRow.id).where(
        ResultRow.analysis_version != ANALYSIS_VERSION, ResultRow.trial_id.in_(current)
    )
    ids = list(db.scalars(old))
    for start in range(0, len(ids), BATCH):
        batch = ids[start : start + BATCH]
        db.execute(delete(MeasureValue).where(MeasureValue.result_id.in_(batch)))
        db.execute(delete(ResultRow).where(ResultRow.id.in_(batch)))
        db.commit()
    return len(ids)
