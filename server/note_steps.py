"""The steps of a note: signed, returned, co-signed, added to."""

from sqlalchemy import select, update
from sqlalchemy.exc import IntegrityError

from server.attendance import contradiction
from server.faults import Fault
from server.note_goals import note_numbers_of
from server.note_times import refuse_without_times
from server.problems import Problem
from server.settings import Settings
from server.store_notes import (
    COSIGNED,
    DRAFT,
    OTHER_REVISION,
    RETURNED,
    SECTIONS,
    SIGNED,
    Desk,
    add_event,
    author_of,
    check_writer,
    existing,
    move,
    supervises,
)
from server.store_trials import results_of, trials_of_session
from server.tables import NoteEvent, NoteRow

ONLY_AUTHOR = "Only the author of this note signs it."
ONLY_SUPERVISOR = "Only the supervisor of the author does this, and never with a note of her own."
NOT_A_DRAFT = "Only a draft is signed. A returned note is changed first."
NOT_SIGNED = "This note is not waiting for a co-signature."
NO_COSIGNING = "This note ended when it was signed: a supervisor wrote it."
NO_ADDENDUM = "Only a signed note takes an addendum. This one can still be changed."
OTHER_ADDENDUM = "Another text is already stored under this id. It was not changed."
EMPTY_ASSESSMENT = "A note is signed only with an assessment, which a person writes."


def sign(desk: Desk, based_on: int, settings: Settings) -> NoteRow:
    """Sign a draft and freeze the numbers it was written with; the caller commits.

    Raises
    ------
    Problem
        403 for another than the author; 404 without a note; 409 if it is no draft or was
        changed in the meantime, or nobody came though something is in; 422 while the
        assessment is empty, or the session took place and nobody said when it began and ended.
    """
    db, session = desk.db, desk.session
    # What is not computed yet is computed, and kept, before anything is locked.
    for _ in results_of(db, trials_of_session(db, session.id)):
        pass
    _lock(desk)
    note = existing(desk)
    if note.account_id != desk.account.id:
        raise Problem(403, ONLY_AUTHOR)
    if note.state != DRAFT:
        raise Problem(409, NOT_A_DRAFT)
    if note.revision != based_on:
        raise Problem(409, OTHER_REVISION)
    if not note.assessment.strip():
        raise Problem(422, errors=[Fault("/assessment", EMPTY_ASSESSMENT)])
    db.refresh(session)
    contradicts = contradiction(db, session)
    if contradicts is not None:
        raise Problem(409, contradicts)
    refuse_without_times(db, session)
    numbers = note_numbers_of(db, session, settings)
    texts = {name: getattr(note, column) for name, column in SECTIONS.items()}
    move(
        desk,
        {NoteRow.state: DRAFT, NoteRow.revision: based_on},
        {
            "state": SIGNED,
            "frozen": numbers,
            "signed_at": desk.now,
            "signed_by": desk.account.id,
        },
    )
    add_event(desk, SIGNED, content=texts | {"numbers": numbers})
    return existing(desk)


def send_back(desk: Desk, reason: str) -> NoteRow:
    """Return a signed note to its author with a reason; the caller commits.

    Raises
    ------
    Problem
        403 for another than the author's supervisor; 404 without a note; 409 if the note
        does not wait for a co-signature.
    """
    _check_waiting(desk)
    move(desk, {NoteRow.state: SIGNED}, {"state": RETURNED})
    add_event(desk, RETURNED, text=reason)
    return existing(desk)


def cosign(desk: Desk) -> NoteRow:
    """Co-sign a signed note; the caller commits. Errors are those of `send_back`."""
    _check_waiting(desk)
    move(
        desk,
        {NoteRow.state: SIGNED},
        {"state": COSIGNED, "cosigned_at": desk.now, "cosigned_by": desk.account.id},
    )
    add_event(desk, COSIGNED)
    return existing(desk)


def add_addendum(desk: Desk, event_id: str, text: str) -> tuple[NoteEvent, bool]:
    """Add words to a signed note, which itself stays as it is; the caller commits.

    Returns
    -------
    event : NoteEvent
        The addendum.
    created : bool
        False if the same one was there already.

    Raises
    ------
    Problem
        403 for another than the author and the author's supervisor; 404 without a note;
        409 if the note is not signed or the id belongs to another text.
    """
    check_writer(desk, existing(desk))
    found = _same_addendum(desk, event_id, text)
    if found is not None:
        return found, False
    try:
        added = add_event(desk, "addendum", event_id=event_id, text=text)
    except IntegrityError:
        desk.db.rollback()
        found = _same_addendum(desk, event_id, text)
        if found is None:
            raise
        return found, False
    # Looked at after the write, which nobody else's can follow before it is kept.
    if existing(desk).state not in (SIGNED, COSIGNED):
        raise Problem(409, NO_ADDENDUM)
    return added, True


def _same_addendum(desk: Desk, event_id: str, text: str) -> NoteEvent | None:
    found = desk.db.scalar(select(NoteEvent).where(NoteEvent.id == event_id))
    if found is None:
        return None
    if (found.session_id, found.kind, found.text) != (desk.session.id, "addendum", text):
        raise Problem(409, OTHER_ADDENDUM)
    return found


def _check_waiting(desk: Desk) -> None:
    note = existing(desk)
    author = author_of(desk, note)
    if not supervises(desk.account, author):
        raise Problem(403, ONLY_SUPERVISOR)
    if note.state != SIGNED:
        raise Problem(409, NOT_SIGNED)
    if "supervisor" in author.roles:
        raise Problem(409, NO_COSIGNING)


def _lock(desk: Desk) -> None:
    """Take the write lock: from here to the commit nobody else changes anything."""
    mine = (NoteRow.session_id == desk.session.id) & (NoteRow.state == DRAFT)
    desk.db.execute(
        update(NoteRow)
        .where(mine)
        .values(revision=NoteRow.revision)
        .execution_options(synchronize_session=False)
    )
