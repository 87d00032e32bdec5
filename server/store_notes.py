"""Notes of sessions: their texts, and every step from draft to co-signature."""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import func, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, defer

from server import audit
from server.batches import batches
from server.problems import Problem
from server.tables import Account, AccountRole, Child, NoteEvent, NoteRow, SessionRow, random_id

DRAFT, SIGNED, RETURNED, COSIGNED = "draft", "signed", "returned", "cosigned"
# The sections as they are called outside, and their columns.
SECTIONS = {
    "subjective": "subjective",
    "objective": "objective",
    "assessment": "assessment",
    "plan": "plan_text",
}

NO_NOTE = "This session has no note yet."
NOT_YOURS = "Only the author of this note and the author's supervisor may write in it."
OTHER_REVISION = (
    "This note was changed in the meantime. Nothing was stored: look at it again and try again."
)
IS_SIGNED = "This note is signed and stays as it is. Write an addendum instead."


class Desk(NamedTuple):
    """Who works on the note of which session, and when."""

    db: Session
    account: Account
    session: SessionRow
    now: datetime


def note_of(db: Session, session_id: str) -> NoteRow | None:
    """Return the note of a session, or None."""
    return db.scalar(
        select(NoteRow)
        .where(NoteRow.session_id == session_id)
        .execution_options(populate_existing=True)
    )


def events_of(db: Session, session_id: str) -> list[NoteEvent]:
    """Return the steps of a note and its addenda, newest last."""
    mine = select(NoteEvent).where(NoteEvent.session_id == session_id)
    return list(db.scalars(mine.order_by(NoteEvent.number)))


def save_note(desk: Desk, texts: Mapping[str, str], based_on: int) -> NoteRow:
    """Write a note, or write it anew; the caller commits.

    Parameters
    ----------
    desk : Desk
        Who, in which session, when.
    texts : mapping
        The four sections.
    based_on : int
        Revision that was read before; 0 if there was no note.

    Returns
    -------
    NoteRow
        A draft, one revision further. A returned note is a draft again.

    Raises
    ------
    Problem
        403 for another than the author and the author's supervisor; 409 if the note is
        signed, or was changed in the meantime.
    """
    db, columns = desk.db, {SECTIONS[name]: text for name, text in texts.items()}
    note = note_of(db, desk.session.id)
    if note is None:
        return _first(desk, columns, based_on)
    check_writer(desk, note)
    if note.state in (SIGNED, COSIGNED):
        raise Problem(409, IS_SIGNED)
    was = note.state
    move(
        desk,
        {NoteRow.state: was, NoteRow.revision: based_on},
        columns
        | {"state": DRAFT, "revision": based_on + 1, "frozen": None}
        | {"signed_at": None, "signed_by": None},
    )
    if was == RETURNED:
        add_event(desk, "drafted")
    return existing(desk)


def _first(desk: Desk, columns: Mapping[str, str], based_on: int) -> NoteRow:
    if based_on != 0:
        raise Problem(409, OTHER_REVISION)
    desk.db.add(
        NoteRow(
            session_id=desk.session.id,
            state=DRAFT,
            revision=1,
            account_id=desk.account.id,
            changed_at=desk.now,
            **columns,
        )
    )
    try:
        desk.db.flush()
    except IntegrityError:
        # Two began the same note at once: the other one was faster.
        desk.db.rollback()
        raise Problem(409, OTHER_REVISION) from None
    add_event(desk, "drafted")
    return existing(desk)


def existing(desk: Desk) -> NoteRow:
    """Return the note of the session, or refuse with 404."""
    note = note_of(desk.db, desk.session.id)
    if note is None:
        raise Problem(404, NO_NOTE)
    return note


def author_of(desk: Desk, note: NoteRow) -> Account:
    """Return who began a note."""
    return desk.db.get_one(Account, note.account_id)


def supervises(account: Account, author: Account) -> bool:
    """Return whether an account may return and co-sign what an author signs."""
    is_supervisor = "supervisor" in account.roles
    return is_supervisor and author.supervisor_id == account.id and author.id != account.id


def check_writer(desk: Desk, note: NoteRow) -> None:
    """Refuse everybody but the author of a note and the author's supervisor."""
    if note.account_id != desk.account.id and not supervises(desk.account, author_of(desk, note)):
        raise Problem(403, NOT_YOURS)


def move(desk: Desk, expected: Mapping[Any, Any], values: Mapping[str, Any]) -> None:
    """Change the note only if it still is as it was read."""
    still = [column == value for column, value in expected.items()]
    step = (
        update(NoteRow)
        .where(NoteRow.session_id == desk.session.id, *still)
        .values(**values, changed_at=desk.now)
        .returning(NoteRow.session_id)
        .execution_options(synchronize_session=False)
    )
    if desk.db.scalar(step) is None:
        desk.db.rollback()
        raise Problem(409, OTHER_REVISION)


def add_event(
    desk: Desk,
    kind: str,
    *,
    event_id: str | None = None,
    text: str | None = None,
    content: dict[str, Any] | None = None,
) -> NoteEvent:
    """Add a step of a note, or an addendum; the caller commits."""
    event = NoteEvent(
        id=event_id or random_id(),
        session_id=desk.session.id,
        kind=kind,
        text=text,
        content=content,
        account_id=desk.account.id,
        at=desk.now,
    )
    desk.db.add(event)
    desk.db.flush()
    return event


def noted(desk: Desk, verb: str) -> None:
    """Add a line to the audit; the caller commits."""
    audit.note(
        desk.db,
        desk.now,
        desk.account.id,
        verb,
        "note",
        desk.session.id,
        child_id=desk.session.child_id,
    )
    desk.db.flush()


def waiting_for(
    db: Session, account: Account, children: Collection[Child]
) -> list[tuple[NoteRow, SessionRow]]:
    """Return the signed notes that wait for an account's co-signature, oldest first."""
    if "supervisor" not in account.roles:
        return []
    # A supervisor's own note ends when it is signed.
    supervisors = select(AccountRole.account_id).where(AccountRole.role == "supervisor")
    rows = (
        select(NoteRow, SessionRow)
        # The numbers are many times the size of all else, and no list shows them.
        .options(defer(NoteRow.frozen))
        .join(SessionRow, SessionRow.id == NoteRow.session_id)
        .join(Account, Account.id == NoteRow.account_id)
        .where(
            NoteRow.state == SIGNED,
            Account.supervisor_id == account.id,
            NoteRow.account_id.not_in(supervisors),
        )
        .order_by(NoteRow.signed_at, SessionRow.number)
    )
    return _visible(db.execute(rows), children)


def frozen_numbers(db: Session, session_ids: Collection[str]) -> dict[str, dict[str, Any]]:
    """Return the numbers of signed notes, by session."""
    found: dict[str, dict[str, Any]] = {}
    for batch in batches(session_ids):
        kept = select(NoteRow.session_id, NoteRow.frozen).where(
            NoteRow.session_id.in_(batch), NoteRow.state.in_((SIGNED, COSIGNED))
        )
        found |= {one: numbers for one, numbers in db.execute(kept) if numbers is not None}
    return found


def last_reasons(db: Session, session_ids: Collection[str]) -> dict[str, str]:
    """Return why notes were returned the last time, by session."""
    found: dict[str, str] = {}
    for batch in batches(session_ids):
        back = select(NoteEvent.session_id, NoteEvent.text).where(
            NoteEvent.session_id.in_(batch), NoteEvent.kind == RETURNED
        )
        for session_id, text in db.execute(back.order_by(NoteEvent.number)):
            found[session_id] = text or ""
    return found


def texts_signed_again(
    db: Session, session_ids: Collection[str]
) -> dict[str, list[dict[str, str]]]:
    """Return the two latest texts of notes that were signed more than once, by session.

    The numbers that were signed with them are not read.
    """
    found: dict[str, list[dict[str, str]]] = {}
    for batch in batches(session_ids):
        signed = (NoteEvent.kind == SIGNED) & NoteEvent.session_id.in_(batch)
        again = (
            select(NoteEvent.session_id)
            .where(signed)
            .group_by(NoteEvent.session_id)
            .having(func.count() > 1)
        )
        texts = [NoteEvent.content[name].as_string() for name in SECTIONS]
        rows = (
            select(NoteEvent.session_id, *texts)
            .where(signed, NoteEvent.session_id.in_(again))
            .order_by(NoteEvent.number)
        )
        for session_id, *parts in db.execute(rows):
            found.setdefault(session_id, []).append(dict(zip(SECTIONS, parts, strict=True)))
    return {one: texts[-2:] for one, texts in found.items()}


def own_notes(
    db: Session, account: Account, state: str, children: Collection[Child]
) -> list[tuple[NoteRow, SessionRow]]:
    """Return the notes of an author that are in a state, oldest session first."""
    rows = (
        select(NoteRow, SessionRow)
        .options(defer(NoteRow.frozen))
        .join(SessionRow, SessionRow.id == NoteRow.session_id)
        .where(NoteRow.state == state, NoteRow.account_id == account.id)
        .order_by(SessionRow.day, SessionRow.number)
    )
    return _visible(db.execute(rows), children)


def _visible(rows: Any, children: Collection[Child]) -> list[tuple[NoteRow, SessionRow]]:
    seen = {child.id for child in children}
    return [(note, session) for note, session in rows if session.child_id in seen]
