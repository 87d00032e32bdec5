"""Attempts at the door: taken in from tablets and desks, and found again by their kind."""

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import Depends
from sqlalchemy.orm import Session

from server import audit, store_trials
from server.attempts import KINDS, Kind
from server.deps import LinkedTrial, SeenTrial, Sender, seen_trial
from server.faults import Fault
from server.problems import Problem
from server.store_children import TODAY, child_of, was_linked
from server.store_observations import observation_by_id
from server.store_sessions import session_by_id, session_of_plan
from server.store_trials import refuse_erased, same_trial, store_trial, trial_by_id
from server.tables import Account, SessionRow, TrialRow

if TYPE_CHECKING:
    from server.attempts import Document

OTHER_ID = "This must be the id in the address."
NO_PLAN = "This must be the plan of a session that this tablet may write to."
NO_SESSION = "Name a session in the address, or here the plan of one that you may write to."
OTHER_CHILD = "This plan belongs to another child than the session in the address does."


def receive(
    db: Session,
    now: datetime,
    sent_by: Sender,
    kind: Kind,
    attempt_id: str,
    session_id: str | None,
    raw: bytes,
) -> tuple[TrialRow, bool]:
    """Take in an attempt: store it first, score it second.

    Parameters
    ----------
    db : Session
        Database session.
    now : datetime
        Now.
    sent_by : Sender
        A paired tablet, or a therapist at the desk.
    kind : Kind
        What the bytes have to be.
    attempt_id : str
        The id in the address.
    session_id : str or None
        The session in the address; None takes that of the document's plan.
    raw : bytes
        The document exactly as received.

    Returns
    -------
    attempt : TrialRow
        As stored.
    created : bool
        False if the same bytes were there already.

    Raises
    ------
    BadDocument
        If the document is refused.
    Problem
        404 if the session is not one of a linked child, 409 if something else is stored
        under the id, 410 if the child was erased, 422 if the plan is another's.
    """
    # Before the document is read: one taken by an earlier release is taken for ever.
    attempt = same_trial(db, attempt_id, raw, kind)
    if attempt is not None:
        _check_writable(db, sent_by, attempt)
        return attempt, False
    refuse_erased(db, attempt_id)
    document = kind.read(raw)
    if kind.id_of(document) != attempt_id:
        raise Problem(422, errors=[Fault(f"/{kind.id_key}", OTHER_ID)])
    session = _session_for(db, sent_by, document, session_id)
    return store_trial(
        db,
        session_id=session.id,
        document=document,
        raw=raw,
        received_at=now,
        late=sent_by.is_late(now, session.day, db.info[TODAY]),
        kind=kind,
        sender=store_trials.Sender(
            sent_by.account.id,
            session.child_id,
            None if sent_by.token is None else sent_by.token.tablet_id,
        ),
    )


def _may_write(db: Session, sent_by: Sender, session: SessionRow) -> bool:
    """Whether the child is linked now; of what a tablet sends late, whether it was then."""
    if sent_by.token is None:
        return child_of(db, sent_by.account, session.child_id) is not None
    return was_linked(db, sent_by.account, session.child_id, session.day)


def may_add(db: Session, sent_by: Sender, attempt: TrialRow, session: SessionRow) -> bool:
    """Return whether somebody may send an attempt again, or a mark of it."""
    if _may_write(db, sent_by, session):
        return True
    # Moved since to a day on which nobody of its tablet was linked: the tablet still clears it.
    token = sent_by.token
    is_its_own = token is not None and token.tablet_id == attempt.tablet_id
    return is_its_own and child_of(db, sent_by.account, session.child_id) is not None


def _check_writable(db: Session, sent_by: Sender, attempt: TrialRow) -> None:
    session = session_by_id(db, attempt.session_id)
    if session is None or not may_add(db, sent_by, attempt, session):
        raise Problem(404 if sent_by.token is None else 409)


def _session_for(
    db: Session, sent_by: Sender, document: "Document", session_id: str | None
) -> SessionRow:
    plan_id = document.plan.plan_id if document.plan else None
    planned = None if plan_id is None else session_of_plan(db, plan_id)
    if planned is None:
        refuse_erased(db, plan_id)
    if sent_by.token is not None or session_id is None:
        if planned is None or not _may_write(db, sent_by, planned):
            sentence = NO_SESSION if sent_by.token is None else NO_PLAN
            raise Problem(422, errors=[Fault("/plan/plan_id", sentence)])
        return planned
    chosen = session_by_id(db, session_id)
    if chosen is None or not _may_write(db, sent_by, chosen):
        raise Problem(404)
    if planned is not None and planned.child_id != chosen.child_id:
        raise Problem(422, errors=[Fault("/plan/plan_id", OTHER_CHILD)])
    return chosen


def session_observed(
    db: Session, sent_by: Sender, plan_id: str, *, observation_id: str, trial_id: str | None
) -> SessionRow:
    """Return the session that an observation of a tablet belongs to.

    Parameters
    ----------
    db : Session
        Database session.
    sent_by : Sender
        A paired tablet: it may write to the sessions that it may send trials of.
    plan_id : str
        The plan that the tablet was showing.
    observation_id : str
        UUID made by the tablet.
    trial_id : str or None
        The trial it is about, if it is about one.

    Returns
    -------
    SessionRow
        Where it is stored already; else that of the trial, which may have been moved since,
        if the tablet may mark the trial there; else that of the plan.

    Raises
    ------
    Problem
        410 if the child was erased, 422 if the plan is another's.
    """
    planned = session_of_plan(db, plan_id)
    if planned is None:
        refuse_erased(db, observation_id, plan_id, trial_id)
    if planned is None or not _may_write(db, sent_by, planned):
        raise Problem(422, errors=[Fault("/plan_id", NO_PLAN)])
    trial = None if trial_id is None else trial_by_id(db, trial_id)
    stored = observation_by_id(db, observation_id)
    for known in (stored, trial):
        session = None if known is None else session_by_id(db, known.session_id)
        if session is None or session.child_id != planned.child_id:
            continue
        if known is stored or (trial is not None and may_add(db, sent_by, trial, session)):
            return session
    return planned


def seen_of_kind(
    db: Session, now: datetime, account: Account, attempt_id: str, kind: Kind
) -> SeenTrial:
    """Return an attempt of one kind that the account may see, or refuse with 404."""
    seen = seen_trial(db, account, attempt_id)
    if seen.trial.kind != kind.name:
        raise Problem(404)
    audit.note_look(db, now, account.id, kind.name, attempt_id, child_id=seen.child.id)
    return seen


def drawn_trial(seen: LinkedTrial) -> SeenTrial:
    """Return an attempt that was drawn on a tablet: only that has samples and a picture."""
    if not KINDS[seen.trial.kind].from_tablet:
        raise Problem(404)
    return seen


DrawnTrial = Annotated[SeenTrial, Depends(drawn_trial)]
