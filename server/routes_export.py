"""Tables for researchers, streamed."""

from typing import Literal

from fastapi import APIRouter, Request, Response
from starlette.responses import StreamingResponse

from server import audit
from server.deps import Config, Db, Now, Researcher
from server.openapi import gives_media

router = APIRouter(prefix="/api/export")

Table = Literal["trials", "measures", "series", "children", "dictionary"]


@router.get("/{table}.csv", response_class=Response, responses=gives_media("text/csv"))
def read_table(
    table: Table, request: Request, account: Researcher, db: Db, now: Now, settings: Config
) -> StreamingResponse:
    """Return a de-identified table, or the dictionary of all columns."""
    # The analysis takes a second to load; nothing else here needs it.
    from server.export import export_blocks

    audit.note(db, now, account.id, "exported", f"{table}.csv")
    db.commit()
    return StreamingResponse(
        export_blocks(
            request.app.state.sessions,
            table,
            account_id=account.id,
            at=now,
            today=settings.day_of(now),
        ),
        media_type="text/csv; charset=utf-8; header=present",
        headers={"Content-Disposition": f'attachment; filename="linnet-{table}.csv"'},
    )
