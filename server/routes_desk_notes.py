"""Pages of notes: written, drafted again, signed, returned, co-signed, added to; the queue."""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Form, Response
from pydantic import ValidationError
from starlette.responses import PlainTextResponse, RedirectResponse

from server import audit
from server.audit_lists import note_listing
from server.deps import Config, Db, LinkedSession, Now, SeenSession, Supervisor, Therapist
from server.faults import Fault
from server.note_forms import DRAFT_AGAIN, SIGN, AddendumForm, CosignForm, NoteForm, ReturnForm
from server.note_steps import (
    EMPTY_ASSESSMENT,
    ONLY_AUTHOR,
    OTHER_ADDENDUM,
    add_addendum,
    cosign,
    send_back,
    sign,
)
from server.note_times import faults_of_times, fill_times
from server.problems import Problem
from server.routes_notes import RESPONSIBLE, Addendum, NoteBody, Returning
from server.routes_pages import NEVER_CACHED, page
from server.settings import Settings
from server.store_children import children_of
from server.store_notes import (
    OTHER_REVISION,
    SECTIONS,
    SIGNED,
    Desk,
    note_of,
    noted,
    save_note,
)
from server.tables import random_id
from server.trial_forms import SENT_BEFORE
from server.validation import sentence_of

router = APIRouter(include_in_schema=False)

HERE = "/queue"
READ_FIRST = "Read it first, then tick this."
WHY_NEEDED = "Say why, so that the author knows what to change."
WORDS_NEEDED = "Write what is to be added."


def _shown(
    desk: Desk, seen: SeenSession, settings: Settings, status: int = 200, **typed: Any
) -> Response:
    # The words of measures need the analysis, which takes a second to load.
    from server.note_sheet import as_text
    from server.page_note import Typed, note_page

    words = note_page(desk, seen, settings, Typed(**typed))
    words |= {"responsible": RESPONSIBLE, "as_text": as_text(words)}
    return page("note.html", desk.account, HERE, status, **words)


def _checked(build: Callable[[], Any]) -> Any:
    """Return a body as the doors under ``/api`` take it, or refuse with the same sentences."""
    try:
        return build()
    except ValidationError as error:
        faults = [Fault(f"/{one['loc'][0]}", sentence_of(one)) for one in error.errors()]
        raise Problem(422, errors=faults) from None


def _back(seen: SeenSession) -> Response:
    return RedirectResponse(f"/sessions/{seen.session.id}/note", 303)


@router.get("/sessions/{session_id}/note")
def show_note(
    account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config
) -> Response:
    """Show the note of a session: to be written, or as it was signed."""
    audit.note_look(db, now, account.id, "note", seen.session.id, child_id=seen.child.id)
    return _shown(Desk(db, account, seen.session, now), seen, settings)


@router.post("/sessions/{session_id}/note")
def write_note(
    account: Therapist,
    seen: LinkedSession,
    form: Annotated[NoteForm, Form()],
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Save what was typed, sign it, or show a new draft beside it."""
    desk, texts = Desk(db, account, seen.session, now), form.texts()
    if form.do == DRAFT_AGAIN:
        return _shown(desk, seen, settings, texts=texts, times=form.times(), draft_beside=True)
    if form.do == SIGN and _is_signed_so(desk, texts):
        # The button was pressed twice.
        return _back(seen)
    try:
        body = _checked(lambda: NoteBody(based_on=form.based_on, **texts))
        if form.do == SIGN:
            _check_signing(desk, body, form)
            fill_times(desk, form.times(), settings)
        note = save_note(desk, texts, body.based_on)
        noted(desk, "wrote")
        if form.do == SIGN:
            sign(desk, note.revision, settings)
            noted(desk, "signed")
    except Problem as problem:
        db.rollback()
        return _shown(
            desk,
            seen,
            settings,
            problem.status,
            texts=texts,
            times=form.times(),
            troubles=problem.by_place,
            clashes=problem.detail == OTHER_REVISION,
        )
    db.commit()
    return _back(seen)


def _is_signed_so(desk: Desk, texts: dict[str, str]) -> bool:
    """Return whether the same author has signed the same words already."""
    note = note_of(desk.db, desk.session.id)
    return (
        note is not None
        and (note.state, note.signed_by) == (SIGNED, desk.account.id)
        and all(getattr(note, column) == texts[name] for name, column in SECTIONS.items())
    )


def _check_signing(desk: Desk, body: NoteBody, form: NoteForm) -> None:
    """Refuse before anything is written what could not be signed afterwards."""
    note = note_of(desk.db, desk.session.id)
    if note is not None and note.account_id != desk.account.id:
        raise Problem(403, ONLY_AUTHOR)
    faults = []
    if not body.assessment.strip():
        faults.append(Fault("/assessment", EMPTY_ASSESSMENT))
    if form.read != "yes":
        faults.append(Fault("/read", READ_FIRST))
    faults += faults_of_times(desk.db, desk.session, form.times())
    if faults:
        raise Problem(422, errors=faults)


def _stepped(
    desk: Desk, seen: SeenSession, settings: Settings, step: Callable[[], str], **typed: str
) -> Response:
    """Take a step that may be refused; `step` returns the verb of the audit, or nothing."""
    try:
        verb = step()
    except Problem as problem:
        desk.db.rollback()
        return _shown(desk, seen, settings, problem.status, troubles=problem.by_place, **typed)
    if verb:
        noted(desk, verb)
    desk.db.commit()
    return _back(seen)


@router.post("/sessions/{session_id}/note/return")
def return_note(
    account: Supervisor,
    seen: LinkedSession,
    form: Annotated[ReturnForm, Form()],
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Return a signed note to its author with a reason."""
    desk = Desk(db, account, seen.session, now)

    def step() -> str:
        if not form.reason.strip():
            raise Problem(422, errors=[Fault("/reason", WHY_NEEDED)])
        send_back(desk, _checked(lambda: Returning(reason=form.reason)).reason)
        return "returned"

    return _stepped(desk, seen, settings, step, reason=form.reason)


@router.post("/sessions/{session_id}/note/cosign")
def cosign_note(
    account: Supervisor,
    seen: LinkedSession,
    form: Annotated[CosignForm, Form()],
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Co-sign a signed note that was read."""
    desk = Desk(db, account, seen.session, now)

    def step() -> str:
        if form.read != "yes":
            raise Problem(422, errors=[Fault("/read", READ_FIRST)])
        cosign(desk)
        return "cosigned"

    return _stepped(desk, seen, settings, step)


@router.post("/sessions/{session_id}/note/addenda")
def add_to_note(
    account: Therapist,
    seen: LinkedSession,
    form: Annotated[AddendumForm, Form()],
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Add words to a signed note."""
    desk = Desk(db, account, seen.session, now)

    def step() -> str:
        if not form.text.strip():
            raise Problem(422, errors=[Fault("/text", WORDS_NEEDED)])
        body = _checked(lambda: Addendum(id=form.id, text=form.text))
        try:
            _, created = add_addendum(desk, body.id, body.text)
        except Problem as problem:
            if problem.detail != OTHER_ADDENDUM:
                raise
            raise Problem(409, errors=[Fault("/text", SENT_BEFORE)]) from None
        return "added_to" if created else ""

    return _stepped(desk, seen, settings, step, addendum=form.text)


def _taken_away(
    account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config
) -> dict[str, Any]:
    from server.page_note import Typed, note_page

    audit.note_look(db, now, account.id, "note", seen.session.id, child_id=seen.child.id)
    words = note_page(Desk(db, account, seen.session, now), seen, settings, Typed())
    audit.note(db, now, account.id, "exported", "note", seen.session.id, child_id=seen.child.id)
    db.commit()
    return words


@router.get("/sessions/{session_id}/note.txt")
def show_text(
    account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config
) -> Response:
    """Return the note as it is stored, as plain text."""
    from server.note_sheet import as_text

    text = as_text(_taken_away(account, seen, db, now, settings))
    return PlainTextResponse(text, headers=NEVER_CACHED)


@router.get("/sessions/{session_id}/note.pdf")
def print_note(
    account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config
) -> Response:
    """Return the note as it is stored, as PDF."""
    from server.note_sheet import as_pdf

    found = as_pdf(_taken_away(account, seen, db, now, settings))
    name = f'attachment; filename="linnet-note-{random_id()}.pdf"'
    return Response(
        found, media_type="application/pdf", headers=NEVER_CACHED | {"Content-Disposition": name}
    )


@router.get("/queue")
def show_queue(account: Therapist, db: Db, now: Now, settings: Config) -> Response:
    """Show the notes that wait, one's own, and sessions without any."""
    from server.page_queue import queue_page

    children = children_of(db, account)
    words = queue_page(db, account, children, settings, settings.day_of(now))
    note_listing(db, now, account.id, "notes", words.pop("shown"))
    return page("queue.html", account, HERE, **words)
