"""Trials: the raw record first, once and for ever; then what is computed from it."""

import hashlib
import secrets
import zlib
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.documents import TrialDocument, read_trial
from server.problems import Problem
from server.store_results import compute, current_result, current_results, keep
from server.tables import ResultRow, SessionRow, TrialRow

EXPORT_KEY_BYTES = 6
BATCH = 100
OTHER_BYTES = (
    "Another document is already stored under this trial id. Neither was changed: keep this "
    "one and ask an adult."
)


class DamagedRecord(RuntimeError):
    """Raised when stored bytes no longer have the SHA-256 they were stored with."""


def sha256_of(raw: bytes) -> str:
    """Return the SHA-256 of a document's bytes, in hex."""
    return hashlib.sha256(raw).hexdigest()


def trial_by_id(db: Session, trial_id: str) -> TrialRow | None:
    """Return a trial, or None."""
    return db.scalar(select(TrialRow).where(TrialRow.id == trial_id))


def same_trial(db: Session, trial_id: str, raw: bytes) -> TrialRow | None:
    """Return the trial stored under an id, or None if the id is free.

    Raises
    ------
    Problem
        409 if other bytes are stored under the id.
    """
    found = trial_by_id(db, trial_id)
    if found is not None and found.sha256 != sha256_of(raw):
        raise Problem(409, OTHER_BYTES)
    return found


def store_raw(
    db: Session,
    *,
    session_id: str,
    document: TrialDocument,
    raw: bytes,
    received_at: datetime,
    late: bool = False,
) -> tuple[TrialRow, bool]:
    """Put the exact bytes of a trial on disk; commits.

    Parameters
    ----------
    db : Session
        Database session.
    session_id : str
        The session it belongs to.
    document : TrialDocument
        What `raw` says.
    raw : bytes
        Exactly as received, after content decoding.
    received_at : datetime
        Now.
    late : bool
        Whether it came after the tablet's day was over.

    Returns
    -------
    trial : TrialRow
        The stored trial.
    created : bool
        False if the same bytes were there already.

    Raises
    ------
    Problem
        409 if other bytes are stored under its id.
    """
    found = same_trial(db, document.trial_id, raw)
    if found is not None:
        return found, False
    trial = TrialRow(
        id=document.trial_id,
        session_id=session_id,
        seq=document.seq,
        received_at=received_at,
        late=late,
        sha256=sha256_of(raw),
        raw=zlib.compress(raw),
        export_key=f"t{secrets.token_hex(EXPORT_KEY_BYTES)}",
    )
    db.add(trial)
    try:
        db.commit()
    except IntegrityError:
        # The same document on two connections at once: the other one was faster.
        db.rollback()
        found = same_trial(db, document.trial_id, raw)
        if found is None:
            raise
        return found, False
    return trial, True


def store_trial(
    db: Session,
    *,
    session_id: str,
    document: TrialDocument,
    raw: bytes,
    received_at: datetime,
    late: bool = False,
) -> tuple[TrialRow, bool]:
    """Store a trial, then score it: two transactions, so that the first never waits.

    Arguments, results and errors are those of `store_raw`.
    """
    trial, created = store_raw(
        db,
        session_id=session_id,
        document=document,
        raw=raw,
        received_at=received_at,
        late=late,
    )
    if created:
        keep(db, compute(trial, document))
    return trial, created


def raw_of(trial: TrialRow) -> bytes:
    """Return the exact bytes of a trial, checked against their SHA-256.

    Raises
    ------
    DamagedRecord
        If they are not what was stored.
    """
    try:
        raw = zlib.decompress(trial.raw)
    except zlib.error as error:
        raise DamagedRecord(f"trial {trial.id} cannot be decompressed") from error
    if sha256_of(raw) != trial.sha256:
        raise DamagedRecord(f"trial {trial.id} does not have its SHA-256")
    return raw


def document_of(trial: TrialRow) -> TrialDocument:
    """Return the document of a trial."""
    return read_trial(raw_of(trial))


def result_of(db: Session, trial: TrialRow) -> ResultRow:
    """Return the current result of a trial; computed now, and kept, if it is missing."""
    return current_result(db, trial.id) or keep(db, compute(trial, document_of(trial)))


def results_of(db: Session, trials: Sequence[TrialRow]) -> Iterator[tuple[TrialRow, ResultRow]]:
    """Yield trials with their current results, a batch at a time."""
    for start in range(0, len(trials), BATCH):
        batch = trials[start : start + BATCH]
        found = current_results(db, [trial.id for trial in batch])
        for trial in batch:
            yield trial, found.get(trial.id) or result_of(db, trial)


def report_of(db: Session, trial: TrialRow) -> dict[str, Any]:
    """Return the current report of a trial, ``linnet-report/1``."""
    return result_of(db, trial).report


def _in_order() -> Select[TrialRow]:
    # By the order of the session, not by clocks: those of tablets and servers go back.
    return (
        select(TrialRow)
        .join(SessionRow, SessionRow.id == TrialRow.session_id)
        .order_by(
            SessionRow.day,
            SessionRow.number,
            TrialRow.seq.is_(None),
            TrialRow.seq,
            TrialRow.arrival,
        )
    )


def trials_of_session(db: Session, session_id: str) -> list[TrialRow]:
    """Return the trials of a session, newest last."""
    return list(db.scalars(_in_order().where(TrialRow.session_id == session_id)))


def trials_of_child(db: Session, child_id: str) -> list[TrialRow]:
    """Return all trials of a child, newest last."""
    return list(db.scalars(_in_order().where(SessionRow.child_id == child_id)))
