"""The day of a therapist: who comes, a session begun with one tap, the run sheet, tablets."""

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from pydantic import ValidationError
from starlette.responses import RedirectResponse

from server import audit, pairing
from server.audit_lists import note_listing
from server.dates import clock_words
from server.deps import Config, Db, LinkedChild, Now, Therapist
from server.page_tablets import tablet_block, tablets_page
from server.problems import Problem
from server.routes_pages import page
from server.routes_tablets import LabelBody
from server.session_start import start_today
from server.store_children import children_of
from server.store_tablets import name_tablet, revoke, tablet_of
from server.tables import Account, Tablet
from server.validation import sentence_of

router = APIRouter(include_in_schema=False)

CASELOAD, TABLETS = "/caseload", "/tablets"
# Under these names a tablet finds nobody but itself.
LOOPBACK = ("127.0.0.1", "localhost", "[::1]", "::1")

TypedLabel = Annotated[str, Form()]


@router.get("/caseload")
def show_caseload(account: Therapist, db: Db, now: Now, settings: Config) -> Response:
    """Show the children of the account, today's first."""
    # Reading stored results needs the analysis, which takes a second to load.
    from server.page_caseload import caseload_page

    children = children_of(db, account)
    note_listing(db, now, account.id, "caseload", [child.id for child in children])
    words = caseload_page(db, account, children, settings, now)
    return page("caseload.html", account, CASELOAD, **words)


@router.post("/children/{child_id}/sessions")
def start_session(
    child: LinkedChild, account: Therapist, db: Db, now: Now, settings: Config
) -> Response:
    """Begin today's session of a child as the last one was planned, and go there."""
    session = start_today(db, account, child, day=settings.day_of(now), now=now)
    return RedirectResponse(f"/sessions/{session.id}", 303)


@router.get("/run-sheet")
def show_run_sheet(account: Therapist, db: Db, now: Now, settings: Config) -> Response:
    """Show which two pictures are which child today, to be printed."""
    from server.page_run_sheet import run_sheet_page

    children = children_of(db, account)
    words = run_sheet_page(db, account, children, settings, now)
    listed = {row.child.id for row in words["rows"]}
    note_listing(db, now, account.id, "run_sheet", listed)
    return page("run-sheet.html", account, CASELOAD, **words)


@router.post("/pairing-code")
def make_pairing_code(
    request: Request, account: Therapist, db: Db, now: Now, settings: Config
) -> Response:
    """Make a pairing code and show it: only its hash is kept, so it is shown this once."""
    code, expires_at = pairing.make_code(db, account.id, now)
    audit.note(db, now, account.id, "made", "pairing_code")
    db.commit()
    address = _tablet_url(request)
    return page(
        "pairing.html",
        account,
        CASELOAD,
        code=code,
        until=clock_words(settings.local(expires_at)),
        tablet_url=address,
        here_only=request.url.hostname in LOOPBACK,
        qr=_square(f"{address}#code={code}"),
    )


def _tablet_url(request: Request) -> str:
    return str(request.url.replace(path="/tablet", query="", fragment=""))


def _square(text: str) -> str:
    """Return a QR code as a data address, which the pages' policy allows for pictures."""
    import segno

    return segno.make(text, error="m").svg_data_uri(scale=4, border=2, dark="#1F2A37")


@router.get("/tablets")
def show_tablets(account: Therapist, db: Db, now: Now, settings: Config) -> Response:
    """Show the tablets that the account has paired."""
    audit.note(db, now, account.id, "saw", "tablets")
    db.commit()
    return _tablets(db, account, now, settings)


def _tablets(
    db: Db, account: Account, now: Now, settings: Config, status: int = 200, **refused: str
) -> Response:
    usual = {"refused_id": "", "typed": "", "trouble": ""}
    words = tablets_page(db, account, settings, now) | usual | refused
    return page("tablets.html", account, CASELOAD, status, **words)


def _own(db: Db, account: Account, tablet_id: str) -> Tablet:
    tablet = tablet_of(db, tablet_id, account.id)
    if tablet is None:
        raise Problem(404)
    return tablet


@router.post("/tablets/{tablet_id}/name")
def rename_tablet(
    tablet_id: str,
    account: Therapist,
    db: Db,
    now: Now,
    settings: Config,
    label: TypedLabel = "",
) -> Response:
    """Give a tablet a name with a form; an empty one takes the name away."""
    tablet = _own(db, account, tablet_id)
    try:
        body = LabelBody(label=label.strip() or None)
    except ValidationError as error:
        trouble = sentence_of(error.errors()[0])
        return _tablets(
            db, account, now, settings, 422, refused_id=tablet.id, typed=label, trouble=trouble
        )
    if name_tablet(db, tablet, body.label):
        audit.note(db, now, account.id, "named", "tablet", tablet.id)
        db.commit()
    return RedirectResponse(TABLETS, 303)


@router.get("/tablets/{tablet_id}/revoke")
def ask_to_revoke(
    tablet_id: str, account: Therapist, db: Db, now: Now, settings: Config
) -> Response:
    """Say what revoking a tablet means, and ask once more."""
    tablet = _own(db, account, tablet_id)
    audit.note(db, now, account.id, "saw", "tablet", tablet.id)
    db.commit()
    block = tablet_block(db, account, tablet, settings, now)
    return page("tablet-revoke.html", account, CASELOAD, tablet=block)


@router.post("/tablets/{tablet_id}/revoke")
def revoke_tablet(tablet_id: str, account: Therapist, db: Db, now: Now) -> Response:
    """End the account's pairings of a tablet with a form."""
    tablet = _own(db, account, tablet_id)
    if revoke(db, tablet.id, account.id, now) > 0:
        audit.note(db, now, account.id, "revoked", "tablet", tablet.id)
        db.commit()
    return RedirectResponse(TABLETS, 303)
