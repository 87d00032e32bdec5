"""Trials: taken from tablets, shown to therapists."""

import base64
from datetime import datetime
from typing import Annotated, Any, Literal

import orjson
from fastapi import APIRouter, Query, Request, Response
from pydantic import Field
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool

from server import audit, store_amendments, store_voids
from server.attempts import TRIAL, Kind
from server.bodies import read_document
from server.deps import (
    CurrentSender,
    Db,
    LinkedTrial,
    Now,
    SeenTrial,
    Sender,
    Therapist,
    seen_trial,
)
from server.fields import LINE_PATTERN
from server.openapi import REPEATED, gives, gives_media, receipts, takes
from server.problems import Problem
from server.receiving import DrawnTrial, may_add, receive
from server.request_fields import Body
from server.store_marks import add_mark, marks_of
from server.store_results import facts_with
from server.store_sessions import session_by_id
from server.store_trials import (
    amended_document,
    document_of,
    raw_of,
    refuse_erased,
    report_of,
    result_of,
    trial_by_id,
)
from server.tables import Account, MarkRow
from server.trial_readings import hand_noted

router = APIRouter(prefix="/api/trials")

UUID_PATTERN = "^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$"
Form = Literal["svg", "png", "pdf"]
INK = "application/inkml+xml"
# Of each kind, in one trial; as far as the tablet counts.
MOST_CUES = 99
MEDIA_TYPES = {"svg": "image/svg+xml", "png": "image/png", "pdf": "application/pdf"}


class Cues(Body):
    """How often each kind of cue was given."""

    verbal: Annotated[int, Field(ge=0, le=MOST_CUES)] = 0
    gesture: Annotated[int, Field(ge=0, le=MOST_CUES)] = 0
    demonstration: Annotated[int, Field(ge=0, le=MOST_CUES)] = 0


class Help(Body):
    """Help is three things: set-up, cues, physical. `given` says only that there was some."""

    given: bool | None = None
    setup: bool | None = None
    cues: Cues | None = None
    physical: Literal["none", "minimal", "moderate", "maximal", "total"] | None = None
    hand_over_hand: bool | None = None


class MarkBody(Body):
    """What the adult knows after a trial; `id` is made by the sender."""

    id: Annotated[str, Field(pattern=UUID_PATTERN)]
    outcome: Literal["finished", "stopped", "spoilt", "not_done"] | None = None
    why: Annotated[str, Field(pattern=LINE_PATTERN, max_length=200)] | None = None
    hand_used: Literal["left", "right", "both"] | None = None
    help: Help | None = None


def json_answer(value: object, status: int = 200) -> Response:
    """Return a JSON answer as it is, without a second check of every number in it."""
    return Response(orjson.dumps(value), status, media_type="application/json")


@router.put(
    "/{trial_id}",
    status_code=201,
    responses=receipts("ReportDocument"),
    openapi_extra=takes("TrialDocument"),
)
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
    return await run_in_threadpool(received, db, now, sent_by, TRIAL, trial_id, session, raw)


def received(
    db: Session,
    now: datetime,
    sent_by: Sender,
    kind: Kind,
    attempt_id: str,
    session_id: str | None,
    raw: bytes,
) -> Response:
    """Take in an attempt; answer with its SHA-256 and its current report."""
    attempt, created = receive(db, now, sent_by, kind, attempt_id, session_id, raw)
    report = report_of(db, attempt)
    return json_answer({"sha256": attempt.sha256, "report": report}, 201 if created else 200)


@router.post("/{trial_id}/marks", status_code=201, responses=REPEATED)
def post_mark(trial_id: str, body: MarkBody, sent_by: CurrentSender, db: Db, now: Now) -> Response:
    """Add a mark: 201 if it is new, 200 if it is there already, 409 if another one is."""
    trial = trial_by_id(db, trial_id)
    if trial is None:
        refuse_erased(db, trial_id)
    if sent_by.token is None:
        trial = seen_trial(db, sent_by.account, trial_id).trial
    session = None if trial is None else session_by_id(db, trial.session_id)
    if trial is None or session is None or not may_add(db, sent_by, trial, session):
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
        child_id=session.child_id,
    )
    return json_answer({"id": mark.id}, 201 if created else 200)


def mark_as_dict(mark: MarkRow) -> dict[str, Any]:
    """Return a mark in plain types."""
    return {
        "id": mark.id,
        "account_id": mark.account_id,
        "at": mark.at.isoformat(),
        "outcome": mark.outcome,
        "why": mark.why,
        "hand_used": mark.hand_used,
        "help": mark.help,
    }


def whole(db: Session, seen: SeenTrial) -> dict[str, Any]:
    """Return what is known of an attempt of any kind beside its report, in plain types."""
    trial = seen.trial
    facts, marks = facts_with(result_of(db, trial)), marks_of(db, trial.id)
    amendments = store_amendments.amendments_of(db, trial.id)
    voids = store_voids.voids_of(db, trial.id)
    return {
        "trial_id": trial.id,
        "session_id": seen.session.id,
        "child_id": seen.child.id,
        "day": seen.session.day.isoformat(),
        "kind": trial.kind,
        "seq": trial.seq,
        "received_at": trial.received_at.isoformat(),
        "late": trial.late,
        "sha256": trial.sha256,
        **facts,
        "hand_used": hand_noted(facts, marks[-1] if marks else None),
        "voided": bool(voids) and voids[-1].voided,
        "marks": [mark_as_dict(mark) for mark in marks],
        "amendments": [store_amendments.as_dict(one) for one in amendments],
        "voids": [store_voids.as_dict(one) for one in voids],
    }


@router.get("/{trial_id}")
def read_one(seen: LinkedTrial, db: Db) -> Response:
    """Return what is known of an attempt beside its report, and all that was added to it."""
    return json_answer(whole(db, seen))


@router.get(
    "/{trial_id}/report",
    responses=gives("ReportDocument", "CutReportDocument", "EntryReportDocument"),
)
def read_report(seen: LinkedTrial, db: Db) -> Response:
    """Return the report."""
    return json_answer(report_of(db, seen.trial))


@router.get("/{trial_id}/trace")
def read_trace(seen: DrawnTrial) -> Response:
    """Return guide, samples and marks as the tablet sent them."""
    document = orjson.loads(raw_of(seen.trial))
    names = ("trial_id", "guide", "cue_ms", "marks", "samples")
    return json_answer({name: document.get(name) for name in names})


@router.get("/{trial_id}/raw")
def read_raw(seen: LinkedTrial, account: Therapist, db: Db, now: Now) -> Response:
    """Return the record: exactly the bytes received, with their SHA-256 (RFC 9530)."""
    raw = raw_of(seen.trial)
    _note_taken(db, now, account, seen)
    digest = base64.b64encode(bytes.fromhex(seen.trial.sha256)).decode()
    headers = {"Repr-Digest": f"sha-256=:{digest}:"}
    return Response(raw, headers=headers, media_type="application/json")


@router.get("/{trial_id}/ink", response_class=Response, responses=gives_media(INK))
def read_ink(seen: DrawnTrial, account: Therapist, db: Db, now: Now) -> Response:
    """Return the samples as ink, in the W3C Ink Markup Language."""
    from server.inkml_writing import ink_of

    ink = ink_of(document_of(seen.trial))
    _note_taken(db, now, account, seen)
    return Response(ink, media_type=INK)


def _note_taken(db: Session, now: datetime, account: Account, seen: SeenTrial) -> None:
    audit.note(
        db, now, account.id, "exported", seen.trial.kind, seen.trial.id, child_id=seen.child.id
    )
    db.commit()


@router.get(
    "/{trial_id}/figure.{kind}",
    response_class=Response,
    responses=gives_media(*MEDIA_TYPES.values()),
)
def read_figure(seen: DrawnTrial, kind: Form, db: Db) -> Response:
    """Return the picture of a trial."""
    # Drawing takes a second to load; nothing else here needs it.
    from analysis.workings import Workings
    from server.figures import render, trial_figure

    document = amended_document(db, seen.trial).measured
    figure = trial_figure(Workings(document.to_trial()), report_of(db, seen.trial))
    return Response(render(figure, kind), media_type=MEDIA_TYPES[kind])
