"""Cut pieces: sent by therapists, shown to them. What is added to them goes by trials."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from server.attempts import CUT
from server.bodies import read_document
from server.deps import Db, Now, SeenTrial, Sender, Therapist
from server.openapi import gives, receipts, takes
from server.receiving import seen_of_kind
from server.routes_trials import json_answer, received, whole
from server.store_trials import report_of

router = APIRouter(prefix="/api/cuts")


def seen_cut(cut_id: str, account: Therapist, db: Db, now: Now) -> SeenTrial:
    """Return a cut piece of a child the therapist is linked to; anything else does not exist."""
    return seen_of_kind(db, now, account, cut_id, CUT)


SeenCut = Annotated[SeenTrial, Depends(seen_cut)]


@router.put(
    "/{cut_id}",
    status_code=201,
    responses=receipts("CutReportDocument"),
    openapi_extra=takes("CutDocument"),
)
async def put_cut(
    cut_id: str,
    request: Request,
    account: Therapist,
    db: Db,
    now: Now,
    session: Annotated[str | None, Query()] = None,
) -> Response:
    """Store a cut piece: 201 if it is new, 200 if the same bytes are there, 409 if others are."""
    raw = await read_document(request)
    sent_by = Sender(account, None)
    return await run_in_threadpool(received, db, now, sent_by, CUT, cut_id, session, raw)


@router.get("/{cut_id}")
def read_one(seen: SeenCut, db: Db) -> Response:
    """Return what is known of a cut piece beside its report, and all that was added to it."""
    return json_answer(whole(db, seen))


@router.get("/{cut_id}/report", responses=gives("CutReportDocument"))
def read_report(seen: SeenCut, db: Db) -> Response:
    """Return the report."""
    return json_answer(report_of(db, seen.trial))
