"""Notes of the benchmark's record: co-signed long ago, and some that wait for a co-signature.

Those that wait are written and signed by the program itself, with all their numbers; some of
their trials were marked again since, so that the list of notes has something to tell. Those of
long ago hold no numbers: no page that is measured reads them, and they would be most of the file.
"""

from datetime import date, datetime, timedelta
from uuid import uuid4

from sqlalchemy import Connection, insert, literal, null, select
from sqlalchemy.orm import Session

from server.note_steps import sign
from server.settings import Settings
from server.store_notes import COSIGNED, SECTIONS, Desk, save_note
from server.tables import Account, CareLink, MarkRow, NoteRow, SessionRow, TrialRow

WAITING_DAYS = 21
"""Sessions of so many days have a note that waits; the older ones were co-signed. [day]"""
MARKED_AGAIN = 3
"""One in so many of the notes that wait has a trial that was marked since. [1]"""
WORDS = dict.fromkeys(SECTIONS, "Followed the quay both ways. Rested once, then went on.")


def fill_cosigned(connection: Connection, carer: str, supervisor: str, now: datetime) -> None:
    """Give every session before today a note that was co-signed, but those that wait."""
    waits = (CareLink.account_id == carer) & (SessionRow.day >= first_waiting(now.date()))
    at = literal(now, NoteRow.changed_at.type)
    columns = {
        "session_id": SessionRow.id,
        "state": literal(COSIGNED),
        "revision": literal(1),
        **{column: literal(WORDS[name]) for name, column in SECTIONS.items()},
        "frozen": null(),
        "account_id": CareLink.account_id,
        "changed_at": at,
        "signed_at": at,
        "signed_by": CareLink.account_id,
        "cosigned_at": at,
        "cosigned_by": literal(supervisor),
    }
    sessions = (
        select(*columns.values())
        .join(CareLink, CareLink.child_id == SessionRow.child_id)
        .where(SessionRow.day < now.date(), ~waits)
    )
    connection.execute(insert(NoteRow).from_select(list(columns), sessions))


def first_waiting(today: date) -> date:
    """Return the first day of which notes wait."""
    return today - timedelta(days=WAITING_DAYS)


def sign_waiting(db: Session, carer: str, now: datetime, settings: Settings) -> int:
    """Write and sign the notes that wait, and mark some trials again; the caller commits.

    Returns
    -------
    int
        How many notes wait. [1]
    """
    account = db.get_one(Account, carer)
    sessions = db.scalars(
        select(SessionRow)
        .join(CareLink, CareLink.child_id == SessionRow.child_id)
        .where(
            CareLink.account_id == carer,
            SessionRow.day.between(first_waiting(now.date()), now.date() - timedelta(days=1)),
        )
        .order_by(SessionRow.number)
    ).all()
    for number, session in enumerate(sessions):
        desk = Desk(db, account, session, now)
        save_note(desk, WORDS, 0)
        sign(desk, 1, settings)
        if number % MARKED_AGAIN == 0:
            _mark_again(db, session.id, carer, now)
    return len(sessions)


def _mark_again(db: Session, session_id: str, carer: str, now: datetime) -> None:
    trial_id = db.scalars(select(TrialRow.id).where(TrialRow.session_id == session_id)).first()
    db.add(
        MarkRow(
            id=str(uuid4()),
            trial_id=trial_id,
            account_id=carer,
            at=now,
            outcome="finished",
            help={"cues": {"verbal": 1}},
        )
    )
    db.flush()
