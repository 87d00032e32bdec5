"""Corrections of trials: amendments of what a record says, and voids. The record stays."""

from typing import Annotated, Any

from fastapi import APIRouter, Response
from pydantic import Field
from sqlalchemy.orm import Session

from server import audit, store_amendments, store_voids
from server.amending import Patch
from server.attempts import KINDS
from server.deps import Db, LinkedTrial, Now, SeenTrial, Therapist
from server.faults import Fault
from server.numbers import trimmed
from server.openapi import REPEATED
from server.problems import Problem
from server.request_fields import Body, Reason, Uuid
from server.routes_trials import json_answer
from server.store_sessions import session_by_id
from server.store_trials import document_of, result_of

router = APIRouter(prefix="/api/trials")

NOTHING = "Give at least one of hand_used, position, tool, midline_x_mm and session_id."
OTHER_SESSION = "This must be another session of the same child."
NO_MIDLINE = "Only a trial of a tablet has a midline."
OUTSIDE = "This must lie in the task area of this trial: from 0 to {most} mm."


class AmendmentBody(Body):
    """A correction and why it is made; `id` is made by the sender."""

    id: Uuid
    patch: Patch
    reason: Reason


class VoidBody(Body):
    """That a trial is not to be used, or is to be used again, and why."""

    id: Uuid
    voided: Annotated[bool, Field(strict=True)]
    reason: Reason


@router.get("/{trial_id}/amendments")
def read_amendments(seen: LinkedTrial, db: Db) -> Response:
    """Return the amendments of a trial, newest last."""
    rows = store_amendments.amendments_of(db, seen.trial.id)
    return json_answer({"amendments": [store_amendments.as_dict(row) for row in rows]})


@router.post("/{trial_id}/amendments", status_code=201, responses=REPEATED)
def post_amendment(
    body: AmendmentBody, seen: LinkedTrial, account: Therapist, db: Db, now: Now
) -> Response:
    """Amend a trial: 201 if it is new, 200 if it is there already, 409 if another one is."""
    patch, trial = dict(body.patch), seen.trial
    trial_id, child_id = trial.id, seen.child.id
    same = store_amendments.same_amendment(
        db, body.id, trial_id=trial_id, patch=patch, reason=body.reason
    )
    if same is None:
        _check(db, seen, patch)
    row, created = store_amendments.add_amendment(
        db,
        amendment_id=body.id,
        trial_id=trial_id,
        account_id=account.id,
        at=now,
        patch=patch,
        reason=body.reason,
    )
    answer = store_amendments.as_dict(row)
    if created:
        audit.note(db, now, account.id, "amended", trial.kind, trial_id, child_id=child_id)
        db.commit()
    # The amendment is safe: what follows from it can be computed now, or at the next look.
    result_of(db, trial)
    return json_answer(answer, 201 if created else 200)


def _check(db: Session, seen: SeenTrial, patch: dict[str, Any]) -> None:
    if not patch:
        raise Problem(422, errors=[Fault("/patch", NOTHING)])
    if "midline_x_mm" in patch and not KINDS[seen.trial.kind].from_tablet:
        raise Problem(422, errors=[Fault("/patch/midline_x_mm", NO_MIDLINE)])
    _check_midline(seen, patch.get("midline_x_mm"))
    session_id = patch.get("session_id")
    if session_id is None:
        return
    chosen = session_by_id(db, session_id)
    same_child = chosen is not None and chosen.child_id == seen.child.id
    if not same_child or session_id == seen.session.id:
        raise Problem(422, errors=[Fault("/patch/session_id", OTHER_SESSION)])


def _check_midline(seen: SeenTrial, midline_x_mm: float | None) -> None:
    """Refuse a place beside the task area, where the trial says how wide that was."""
    if midline_x_mm is None:
        return
    screen_mm = document_of(seen.trial).device.screen_mm
    if screen_mm is not None and not 0.0 <= midline_x_mm <= screen_mm[0]:
        said = OUTSIDE.format(most=trimmed(screen_mm[0], 1))
        raise Problem(422, errors=[Fault("/patch/midline_x_mm", said)])


@router.get("/{trial_id}/voids")
def read_voids(seen: LinkedTrial, db: Db) -> Response:
    """Return the voids of a trial, newest last: that one counts."""
    rows = store_voids.voids_of(db, seen.trial.id)
    return json_answer({"voids": [store_voids.as_dict(row) for row in rows]})


@router.post("/{trial_id}/voids", status_code=201, responses=REPEATED)
def post_void(body: VoidBody, seen: LinkedTrial, account: Therapist, db: Db, now: Now) -> Response:
    """Void a trial or take it back: 201 if new, 200 if there already, 409 if another one is."""
    trial_id, child_id = seen.trial.id, seen.child.id
    row, created = store_voids.add_void(
        db,
        void_id=body.id,
        trial_id=trial_id,
        account_id=account.id,
        at=now,
        voided=body.voided,
        reason=body.reason,
    )
    answer = store_voids.as_dict(row)
    if created:
        verb = "voided" if body.voided else "restored"
        audit.note(db, now, account.id, verb, "trial", trial_id, child_id=child_id)
        db.commit()
    return json_answer(answer, 201 if created else 200)
