"""Entries from paper: sent by therapists, shown to them. What is added goes by trials."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from server.attempts import ENTRY
from server.bodies import read_document
from server.deps import Db, Now, SeenTrial, Sender, Therapist
from server.openapi import gives, receipts, takes
from server.receiving import seen_of_kind
from server.routes_trials import json_answer, received, whole
from server.store_trials import report_of

router = APIRouter(prefix="/api/entries")


def seen_entry(entry_id: str, account: Therapist, db: Db, now: Now) -> SeenTrial:
    """Return an entry of a child the therapist is linked to; anything else does not exist."""
    return seen_of_kind(db, now, account, entry_id, ENTRY)


SeenEntry = Annotated[SeenTrial, Depends(seen_entry)]


@router.put(
    "/{entry_id}",
    status_code=201,
    responses=receipts("EntryReportDocument"),
    openapi_extra=takes("EntryDocument"),
)
async def put_entry(
    entry_id: str,
    request: Request,
    account: Therapist,
    db: Db,
    now: Now,
    session: Annotated[str | None, Query()] = None,
) -> Response:
    """Store an entry: 201 if it is new, 200 if the same bytes are there, 409 if others are."""
    raw = await read_document(request)
    sent_by = Sender(account, None)
    return await run_in_threadpool(received, db, now, sent_by, ENTRY, entry_id, session, raw)


@router.get("/{entry_id}")
def read_one(seen: SeenEntry, db: Db) -> Response:
    """Return what is known of an entry beside its report, and all that was added to it."""
    return json_answer(whole(db, seen))


@router.get("/{entry_id}/report", responses=gives("EntryReportDocument"))
def read_report(seen: SeenEntry, db: Db) -> Response:
    """Return the report."""
    return json_answer(report_of(db, seen.trial))
