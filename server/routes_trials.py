"""Trials: taken from tablets, shown to therapists."""

from datetime import datetime
from typing import Annotated, Any, Literal

import orjson
from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool

from server import audit
from server.bodies import read_document
from server.deps import CurrentSender, Db, LinkedTrial, Now, Sender, seen_trial
from server.documents import TrialDocument, read_trial
from server.faults import Fault
from server.problems import Problem
from server.store_children import child_of, was_linked
from server.store_marks import add_mark, marks_of
from server.store_sessions import session_by_id, session_of_plan
from server.store_trials import raw_of, report_of, result_of, same_trial, store_trial, trial_by_id
from server.tables import MarkRow, SessionRow, TrialRow

router = APIRouter(prefix="/api/trials")

OTHER_ID = "This must be the id in the address."
NO_PLAN = "This must be the plan of a session that this tablet may write to."
OTHER_CHILD = "This plan belongs to another child than the session in the address does."
UUID_PATTERN = "^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$"
Kind = Literal["svg", "png", "pdf"]
MEDIA_TYPES = {"svg": "image/svg+xml", "png": "image/png", "pdf": "application/pdf"}


class Cues(BaseModel):
    """How often each kind of cue was given."""

    model_config = ConfigDict(extra="forbid")

    verbal: Annotated[int, Field(ge=0, le=1000)] = 0
    gesture: Annotated[int, Field(ge=0, le=1000)] = 0
    demonstration: Annotated[int, Field(ge=0, le=1000)] = 0


class Help(BaseModel):
    """Help is three things: set-up, cues, physical. `given` says only that there was some."""

    model_config = ConfigDict(extra="forbid")

    given: bool | None = None
    setup: bool | None = None
    cues: Cues | None = None
    physical: Literal["none", "minimal", "moderate", "maximal", "total"] | None = None
    hand_over_hand: bool | None = None


class MarkBody(BaseModel):
    """What the adult knows after a trial; `id` is made by the sender."""

    model_config = ConfigDict(extra="forbid")

    id: Annotated[str, Field(pattern=UUID_PATTERN)]
    outcome: Literal["finished", "stopped", "spoilt", "not_done"] | None = None
    why: Annotated[str, Field(max_length=200)] | None = None
    hand_used: Literal["left", "right", "both"] | None = None
    help: Help | None = None


def json_answer(value: object, status: int = 200) -> Response:
    """Return a JSON answer as it is, without a second check of every number in it."""
    return Response(orjson.dumps(value), status, media_type="application/json")


@router.put("/{trial_id}")
async def put_trial(
    trial_id: str,
    request: Request,
    sent_by: CurrentSender,
    db: Db,
    now: Now,
    session: Annotated[str | None, Query()] = None,
) -> Response:
    """Store a trial: 201 if it is new, 200 if the same bytes are there, 409 if others are."""
    raw = await read_document(request)
    return await run_in_threadpool(_put, db, now, sent_by, trial_id, session, raw)


def _put(
    db: Session, now: datetime, sent_by: Sender, trial_id: str, session_id: str | None, raw: bytes
) -> Response:
    # Before the document is read: one taken by an earlier release is taken for ever.
    trial, created = same_trial(db, trial_id, raw), False
    if trial is None:
        document = read_trial(raw)
        if document.trial_id != trial_id:
            raise Problem(422, errors=[Fault("/trial_id", OTHER_ID)])
        session = _session_for(db, sent_by, document, session_id)
        trial, created = store_trial(
            db,
            session_id=session.id,
            document=document,
            raw=raw,
            received_at=now,
            late=sent_by.is_late(now),
        )
    else:
        _check_writable(db, sent_by, trial)
    report = report_of(db, trial)
    if created:
        audit.note(db, now, sent_by.account.id, "stored", "trial", trial.id)
        db.commit()
    return json_answer({"sha256": trial.sha256, "report": report}, 201 if created else 200)


def _check_writable(db: Session, sent_by: Sender, trial: TrialRow) -> None:
    session = session_by_id(db, trial.session_id)
    if session is None or not was_linked(db, sent_by.account, session.child_id, session.day):
        raise Problem(409)


def _session_for(
    db: Session, sent_by: Sender, document: TrialDocument, session_id: str | None
) -> SessionRow:
    planned = session_of_plan(db, document.plan.plan_id) if document.plan else None
    if sent_by.token is not None or session_id is None:
        if planned is None or not was_linked(db, sent_by.account, planned.child_id, planned.day):
            raise Problem(422, errors=[Fault("/plan/plan_id", NO_PLAN)])
        return planned
    chosen = session_by_id(db, session_id)
    if chosen is None or child_of(db, sent_by.account, chosen.child_id) is None:
        raise Problem(404)
    if planned is not None and planned.child_id != chosen.child_id:
        raise Problem(422, errors=[Fault("/plan/plan_id", OTHER_CHILD)])
    return chosen


@router.post("/{trial_id}/marks")
def post_mark(trial_id: str, body: MarkBody, sent_by: CurrentSender, db: Db, now: Now) -> Response:
    """Add a mark: 201 if it is new, 200 if it is there already, 409 if another one is."""
    trial = trial_by_id(db, trial_id)
    if sent_by.token is None:
        trial = seen_trial(db, sent_by.account, trial_id).trial
    session = None if trial is None else session_by_id(db, trial.session_id)
    if session is None or not was_linked(db, sent_by.account, session.child_id, session.day):
        raise Problem(404)
    mark, created = add_mark(
        db,
        mark_id=body.id,
        trial_id=trial_id,
        account_id=sent_by.account.id,
        at=now,
        outcome=body.outcome,
        why=body.why,
        hand_used=body.hand_used,
        help_given=None if body.help is None else body.help.model_dump(exclude_none=True),
    )
    if created:
        audit.note(db, now, sent_by.account.id, "marked", "trial", trial_id)
        db.commit()
    return json_answer({"id": mark.id}, 201 if created else 200)


def mark_as_dict(mark: MarkRow) -> dict[str, Any]:
    """Return a mark in plain types."""
    return {
        "id": mark.id,
        "at": mark.at.isoformat(),
        "outcome": mark.outcome,
        "why": mark.why,
        "hand_used": mark.hand_used,
        "help": mark.help,
    }


@router.get("/{trial_id}")
def read_one(seen: LinkedTrial, db: Db) -> Response:
    """Return what is known of a trial beside its report."""
    trial = seen.trial
    return json_answer(
        {
            "trial_id": trial.id,
            "session_id": seen.session.id,
            "child_id": seen.child.id,
            "day": seen.session.day.isoformat(),
            "seq": trial.seq,
            "received_at": trial.received_at.isoformat(),
            "late": trial.late,
            "sha256": trial.sha256,
            **result_of(db, trial).facts,
            "marks": [mark_as_dict(mark) for mark in marks_of(db, trial.id)],
        }
    )


@router.get("/{trial_id}/report")
def read_report(seen: LinkedTrial, db: Db) -> Response:
    """Return the report."""
    return json_answer(report_of(db, seen.trial))


@router.get("/{trial_id}/trace")
def read_trace(seen: LinkedTrial) -> Response:
    """Return guide, samples and marks as the tablet sent them."""
    document = orjson.loads(raw_of(seen.trial))
    names = ("trial_id", "guide", "cue_ms", "marks", "samples")
    return json_answer({name: document.get(name) for name in names})


@router.get("/{trial_id}/figure.{kind}")
def read_figure(seen: LinkedTrial, kind: Kind, db: Db) -> Response:
    """Return the picture of a trial."""
    # Drawing takes a second to load; nothing else here needs it.
    from analysis.workings import Workings
    from server.figures import render, trial_figure

    document = read_trial(raw_of(seen.trial))
    figure = trial_figure(Workings(document.to_trial()), report_of(db, seen.trial))
    return Response(render(figure, kind), media_type=MEDIA_TYPES[kind])
