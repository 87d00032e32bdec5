"""Trials: the raw record first, once and for ever; then what is computed from it."""

import hashlib
import secrets
import zlib
from collections.abc import Collection, Iterator, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, NamedTuple

from sqlalchemy import Select, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server import audit
from server.amending import Amended, amended
from server.attempts import KINDS, TRIAL, Kind
from server.batches import BATCH, batches
from server.problems import Problem
from server.store_amendments import patches_of
from server.store_results import compute, current_result, current_results, keep
from server.store_voids import not_voided
from server.tables import ErasedId, ResultRow, SessionRow, TrialRow

if TYPE_CHECKING:
    from server.attempts import Document

EXPORT_KEY_BYTES = 6
# Whole reports are large.
REPORTS_AT_ONCE = 100
DRAWN = frozenset({TRIAL.name})
ATTEMPTS = frozenset(KINDS)
OTHER_BYTES = (
    "Another document is already stored under this id. Neither was changed: keep this one and "
    "ask an adult."
)


class Sender(NamedTuple):
    """Whose account sent something, whose record it belongs to, and from which tablet."""

    account_id: str
    child_id: str
    tablet_id: str | None = None


class DamagedRecord(RuntimeError):
    """Raised when stored bytes no longer have the SHA-256 they were stored with."""


def sha256_of(raw: bytes) -> str:
    """Return the SHA-256 of a document's bytes, in hex."""
    return hashlib.sha256(raw).hexdigest()


def trial_by_id(db: Session, trial_id: str) -> TrialRow | None:
    """Return a trial, or None."""
    return db.scalar(select(TrialRow).where(TrialRow.id == trial_id))


def same_trial(db: Session, trial_id: str, raw: bytes, kind: Kind = TRIAL) -> TrialRow | None:
    """Return the attempt stored under an id, or None if the id is free.

    Raises
    ------
    Problem
        409 if other bytes are stored under the id, or an attempt of another kind.
    """
    found = trial_by_id(db, trial_id)
    if found is not None and (found.kind, found.sha256) != (kind.name, sha256_of(raw)):
        raise Problem(409, OTHER_BYTES)
    return found


def refuse_erased(db: Session, *ids: str | None) -> None:
    """Refuse what belongs to the record of a child that was erased.

    Raises
    ------
    Problem
        410 if any of the ids was erased.
    """
    if db.scalar(select(ErasedId.id).where(ErasedId.id.in_(ids)).limit(1)) is not None:
        raise Problem(410)


def store_raw(
    db: Session,
    *,
    session_id: str,
    document: "Document",
    raw: bytes,
    received_at: datetime,
    late: bool = False,
    kind: Kind = TRIAL,
    sender: Sender | None = None,
) -> tuple[TrialRow, bool]:
    """Put the exact bytes of a trial on disk; commits.

    Parameters
    ----------
    db : Session
        Database session.
    session_id : str
        The session it belongs to.
    document : TrialDocument, CutDocument or EntryDocument
        What `raw` says.
    raw : bytes
        Exactly as received, after content decoding.
    received_at : datetime
        Now.
    late : bool
        Whether it came after the tablet's day was over.
    kind : Kind
        What kind of attempt it is.
    sender : Sender or None
        Who sent it, for the audit; None notes nothing.

    Returns
    -------
    trial : TrialRow
        The stored trial.
    created : bool
        False if the same bytes were there already.

    Raises
    ------
    Problem
        409 if other bytes are stored under its id, 410 if its session was erased meanwhile.
    """
    trial_id = kind.id_of(document)
    found = same_trial(db, trial_id, raw, kind)
    if found is not None:
        return found, False
    trial = TrialRow(
        id=trial_id,
        session_id=session_id,
        kind=kind.name,
        seq=document.seq,
        received_at=received_at,
        late=late,
        sha256=sha256_of(raw),
        raw=zlib.compress(raw),
        export_key=f"t{secrets.token_hex(EXPORT_KEY_BYTES)}",
        tablet_id=None if sender is None else sender.tablet_id,
    )
    db.add(trial)
    if sender is not None:
        audit.note(
            db,
            received_at,
            sender.account_id,
            "stored",
            kind.name,
            trial.id,
            child_id=sender.child_id,
        )
    try:
        db.commit()
    except IntegrityError:
        # The same document on two connections at once: the other one was faster.
        db.rollback()
        found = same_trial(db, trial_id, raw, kind)
        if found is None:
            # Or the child was erased after its session had been found.
            refuse_erased(db, session_id)
            raise
        return found, False
    return trial, True


def store_trial(
    db: Session,
    *,
    session_id: str,
    document: "Document",
    raw: bytes,
    received_at: datetime,
    late: bool = False,
    kind: Kind = TRIAL,
    sender: Sender | None = None,
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
        kind=kind,
        sender=sender,
    )
    if created:
        keep(db, compute(trial, Amended(document)))
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


def document_of(trial: TrialRow) -> Any:
    """Return the document of an attempt, read as its kind is read."""
    return KINDS[trial.kind].read(raw_of(trial))


def amended_document(db: Session, trial: TrialRow) -> Amended[Any]:
    """Return the document of an attempt with its amendments laid over it."""
    return amended(document_of(trial), patches_of(db, [trial.id]).get(trial.id, ()))


def result_of(db: Session, trial: TrialRow) -> ResultRow:
    """Return the current result of a trial; computed now, and kept, if it is missing."""
    while True:
        found = current_result(db, trial.id)
        if found is not None:
            return found
        result = keep(db, compute(trial, amended_document(db, trial)))
        # An amendment that came meanwhile makes it an old one: it is computed once more.
        if result.amendment_no == len(patches_of(db, [trial.id]).get(trial.id, ())):
            return result


def results_of(
    db: Session, trials: Sequence[TrialRow], *, reports: bool = True
) -> Iterator[tuple[TrialRow, ResultRow]]:
    """Yield trials with their current results, a batch at a time.

    Parameters
    ----------
    db : Session
        Database session.
    trials : sequence of TrialRow
        Any number.
    reports : bool
        Whether the reports are wanted too: lists and series do with facts and values.

    Yields
    ------
    tuple of TrialRow and ResultRow
        In the order of `trials`.
    """
    for batch in batches(trials, REPORTS_AT_ONCE if reports else BATCH):
        found = current_results(db, [trial.id for trial in batch], reports=reports)
        for trial in batch:
            yield trial, found.get(trial.id) or result_of(db, trial)


def report_of(db: Session, trial: TrialRow) -> dict[str, Any]:
    """Return the current report of a trial, ``linnet-report/1``."""
    return result_of(db, trial).report


# By the order of the session, not by clocks: those of tablets and servers go back.
_ORDER = (SessionRow.day, SessionRow.number, TrialRow.seq.is_(None), TrialRow.seq, TrialRow.arrival)


def in_order(kinds: Collection[str], *, newest_first: bool = False) -> Select[TrialRow]:
    """Return the query of all attempts of some kinds with their sessions, newest last."""
    order = [one.desc() for one in _ORDER] if newest_first else _ORDER
    return (
        select(TrialRow)
        .join(SessionRow, SessionRow.id == TrialRow.session_id)
        .where(TrialRow.kind.in_(kinds))
        .order_by(*order)
    )


def trials_of_session(
    db: Session, session_id: str, *, kinds: Collection[str] = DRAWN
) -> list[TrialRow]:
    """Return the trials of a session, newest last; of other kinds too where they are named."""
    return list(db.scalars(in_order(kinds).where(TrialRow.session_id == session_id)))


def trials_of_child(
    db: Session, child_id: str, *, kinds: Collection[str] = DRAWN, voided: bool = True
) -> list[TrialRow]:
    """Return the trials of a child, newest last; of other kinds too where they are named."""
    mine = in_order(kinds).where(SessionRow.child_id == child_id)
    return list(db.scalars(mine if voided else mine.where(not_voided())))
