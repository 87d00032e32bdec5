"""The note of a session: written, signed, returned, co-signed, added to."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Response
from pydantic import Field
from sqlalchemy.orm import Session

from server import audit
from server.audit_lists import note_listing
from server.dates import iso
from server.deps import Config, Db, LinkedSession, Now, SeenSession, Supervisor, Therapist
from server.fields import TEXT_PATTERN, Count
from server.note_changes import changed_since
from server.note_goals import note_numbers_of
from server.note_steps import add_addendum, cosign, send_back, sign
from server.openapi import REPEATED
from server.request_fields import Body, Reason, Text, Uuid
from server.routes_trials import json_answer
from server.settings import Settings
from server.store_accounts import account_by_id
from server.store_children import children_of
from server.store_notes import (
    COSIGNED,
    SECTIONS,
    SIGNED,
    Desk,
    events_of,
    note_of,
    noted,
    own_notes,
    save_note,
    waiting_for,
)
from server.tables import NoteEvent, NoteRow, SessionRow

router = APIRouter(prefix="/api")

RESPONSIBLE = "You are responsible for every sentence."

Written = Annotated[str, Field(pattern=TEXT_PATTERN, min_length=1, max_length=8000)]


class NoteBody(Body):
    """The four sections, and the revision that was read before."""

    based_on: Count
    subjective: Text
    objective: Text
    assessment: Text
    plan: Text


class Signing(Body):
    """The revision that is signed."""

    based_on: Count


class Returning(Body):
    """Why a note goes back to its author."""

    reason: Reason


class Nothing(Body):
    """An empty object."""


class Addendum(Body):
    """Words added to a signed note; `id` is made by the sender."""

    id: Uuid
    text: Written


def _signer(db: Session, account_id: str | None) -> dict[str, Any] | None:
    account = None if account_id is None else account_by_id(db, account_id)
    return None if account is None else {"account_id": account.id, "name": account.name}


def event_as_dict(db: Session, event: NoteEvent) -> dict[str, Any]:
    """Return a step of a note, or an addendum, in plain types."""
    return {
        "id": event.id,
        "kind": event.kind,
        "text": event.text,
        "by": _signer(db, event.account_id),
        "at": event.at.isoformat(),
    }


def note_as_dict(
    db: Session, seen: SeenSession, note: NoteRow | None, settings: Settings
) -> dict[str, Any]:
    """Return a note with its numbers; an empty draft of revision 0 if there is none."""
    # The analysis takes a second to load; nothing else here needs it.
    from server.sentences import NO_NORM

    live = note_numbers_of(db, seen.session, settings)
    head = {"session_id": seen.session.id, "child_id": seen.child.id}
    if note is None:
        empty = {"state": "draft", "revision": 0, **dict.fromkeys(SECTIONS, "")}
        steps = _steps(db, NoteRow(), [])
        return head | empty | steps | _numbers(None, live, [RESPONSIBLE, NO_NORM])
    is_signed = note.state in (SIGNED, COSIGNED)
    written = {
        "state": note.state,
        "revision": note.revision,
        **{name: getattr(note, column) for name, column in SECTIONS.items()},
    }
    steps = _steps(db, note, events_of(db, seen.session.id))
    cautions = [NO_NORM] if is_signed else [RESPONSIBLE, NO_NORM]
    return head | written | steps | _numbers(note.frozen if is_signed else None, live, cautions)


def _steps(db: Session, note: NoteRow, events: list[NoteEvent]) -> dict[str, Any]:
    moments = {
        name: iso(moment)
        for name, moment in (
            ("changed_at", note.changed_at),
            ("signed_at", note.signed_at),
            ("cosigned_at", note.cosigned_at),
        )
    }
    return {
        "author": _signer(db, note.account_id),
        "signed_by": _signer(db, note.signed_by),
        "cosigned_by": _signer(db, note.cosigned_by),
        **moments,
        "events": [event_as_dict(db, event) for event in events],
    }


def _numbers(
    frozen: dict[str, Any] | None, live: dict[str, Any], cautions: list[str]
) -> dict[str, Any]:
    return {
        "numbers": live if frozen is None else frozen,
        "changed_since_signing": None if frozen is None else changed_since(frozen, live),
        "cautions": cautions,
    }


@router.get("/sessions/{session_id}/note")
def read_note(
    account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config
) -> Response:
    """Return the note, with the numbers of the session as signed or as they are."""
    audit.note_look(db, now, account.id, "note", seen.session.id, child_id=seen.child.id)
    return json_answer(note_as_dict(db, seen, note_of(db, seen.session.id), settings))


@router.get("/sessions/{session_id}/note/draft")
def read_draft(
    account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config
) -> Response:
    """Return the objective part as it can be drafted from the numbers; nothing is stored."""
    # The words of measures need the analysis, which takes a second to load.
    from server.note_draft import objective
    from server.note_spread import spread_clauses
    from server.page_words import child_words

    audit.note_look(db, now, account.id, "note", seen.session.id, child_id=seen.child.id)
    name = child_words(seen.child).name
    numbers = note_numbers_of(db, seen.session, settings)
    spreads = spread_clauses(db, seen.session, numbers)
    return json_answer({"objective": objective(numbers, name, settings.local, spreads)})


@router.put("/sessions/{session_id}/note")
def put_note(
    account: Therapist, seen: LinkedSession, body: NoteBody, db: Db, now: Now, settings: Config
) -> Response:
    """Write the note; a returned one becomes a draft again."""
    desk = Desk(db, account, seen.session, now)
    texts = {name: getattr(body, name) for name in SECTIONS}
    return _done(desk, seen, save_note(desk, texts, body.based_on), "wrote", settings)


@router.post("/sessions/{session_id}/note/sign")
def post_sign(
    account: Therapist, seen: LinkedSession, body: Signing, db: Db, now: Now, settings: Config
) -> Response:
    """Sign the note, which freezes its numbers."""
    desk = Desk(db, account, seen.session, now)
    return _done(desk, seen, sign(desk, body.based_on, settings), "signed", settings)


@router.post("/sessions/{session_id}/note/return")
def post_return(
    account: Supervisor, seen: LinkedSession, body: Returning, db: Db, now: Now, settings: Config
) -> Response:
    """Return a signed note to its author."""
    desk = Desk(db, account, seen.session, now)
    return _done(desk, seen, send_back(desk, body.reason), "returned", settings)


@router.post("/sessions/{session_id}/note/cosign")
def post_cosign(
    account: Supervisor,
    seen: LinkedSession,
    db: Db,
    now: Now,
    settings: Config,
    _body: Nothing | None = None,
) -> Response:
    """Co-sign a signed note."""
    desk = Desk(db, account, seen.session, now)
    return _done(desk, seen, cosign(desk), "cosigned", settings)


@router.post("/sessions/{session_id}/note/addenda", status_code=201, responses=REPEATED)
def post_addendum(
    account: Therapist, seen: LinkedSession, body: Addendum, db: Db, now: Now
) -> Response:
    """Add words to a signed note: 201 if they are new, 200 if they are there already."""
    desk = Desk(db, account, seen.session, now)
    event, created = add_addendum(desk, body.id, body.text)
    if created:
        noted(desk, "added_to")
        db.commit()
    return json_answer(event_as_dict(db, event), 201 if created else 200)


def _done(desk: Desk, seen: SeenSession, note: NoteRow, verb: str, settings: Settings) -> Response:
    noted(desk, verb)
    desk.db.commit()
    return json_answer(note_as_dict(desk.db, seen, note, settings))


@router.get("/notes")
def read_notes(
    account: Therapist,
    state: Annotated[Literal["signed", "draft", "returned"], Query()],
    db: Db,
    now: Now,
) -> Response:
    """Return the notes that wait for the supervisor, or one's own that are not signed."""
    children = children_of(db, account)
    if state == SIGNED:
        rows = waiting_for(db, account, children)
    else:
        rows = own_notes(db, account, state, children)
    note_listing(db, now, account.id, "notes", {session.child_id for _, session in rows})
    return json_answer({"notes": [_listed(db, note, session) for note, session in rows]})


def _listed(db: Session, note: NoteRow, session: SessionRow) -> dict[str, Any]:
    return {
        "session_id": session.id,
        "child_id": session.child_id,
        "day": session.day.isoformat(),
        "state": note.state,
        "revision": note.revision,
        "author": _signer(db, note.account_id),
        "changed_at": note.changed_at.isoformat(),
        "signed_at": iso(note.signed_at),
    }
