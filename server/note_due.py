"""Which notes are due, and from whom: one rule for the first page, the queue and signing."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.numbers import count_word
from server.store_children import in_force
from server.store_counts import sessions_sent, trial_counts
from server.store_notes import DRAFT, RETURNED, own_notes, waiting_for
from server.store_sessions import NOT_SEEN, sessions_between
from server.store_today import note_states
from server.tables import Account, CareLink, Child, NoteRow, SessionRow
from server.wording import capital, plural

LOOK_BACK_DAYS = 14

Noted = tuple[NoteRow, SessionRow]


class Due(NamedTuple):
    """What is due from one account.

    Attributes
    ----------
    waiting : list of (NoteRow, SessionRow)
        Signed by those whom it supervises, to be co-signed, oldest signature first.
    returned, drafts : list of (NoteRow, SessionRow)
        Its own notes that are not signed.
    missing : list of SessionRow
        Sessions of the last days that took place and have no note.
    of_others : list of SessionRow
        The same of children that it sees only through those whom it supervises.
    """

    waiting: list[Noted]
    returned: list[Noted]
    drafts: list[Noted]
    missing: list[SessionRow]
    of_others: list[SessionRow]

    @property
    def to_write(self) -> int:
        """How many notes the account is to write or to sign. [1]"""
        return len(self.returned) + len(self.drafts) + len(self.missing)


def due_of(db: Session, account: Account, children: Sequence[Child], today: date) -> Due:
    """Return what is due from an account.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        From whom.
    children : sequence of Child
        Those whom the account sees.
    today : date
        The practice's day.

    Returns
    -------
    Due
        Notes of these children only.
    """
    linked = set(
        db.scalars(select(CareLink.child_id).where(CareLink.account_id == account.id, in_force(db)))
    )
    own: list[SessionRow] = []
    others: list[SessionRow] = []
    for session in _without_note(db, children, today):
        is_own = session.child_id in linked or session.account_id == account.id
        (own if is_own else others).append(session)
    return Due(
        waiting_for(db, account, children),
        own_notes(db, account, RETURNED, children),
        own_notes(db, account, DRAFT, children),
        own,
        others,
    )


def _without_note(db: Session, children: Sequence[Child], today: date) -> list[SessionRow]:
    """Return the latest sessions that took place and have no note, oldest first."""
    first = today - timedelta(days=LOOK_BACK_DAYS - 1)
    sessions = sessions_between(db, children, first, today)
    ids = [session.id for session in sessions]
    notes, done, sent = note_states(db, ids), trial_counts(db, ids), sessions_sent(db, ids)
    return [
        session
        for session in sessions
        if session.id not in notes
        and has_begun(session, done.get(session.id, 0), sent=session.id in sent)
        and (session.day < today or session.id in sent or is_over(session))
    ]


def is_over(session: SessionRow) -> bool:
    """Return whether a session was closed, or somebody said when it ended."""
    return session.closed_at is not None or session.ended_at is not None


def has_begun(session: SessionRow, done: int, *, sent: bool) -> bool:
    """Return whether a session took place, so that a note can tell of it.

    Parameters
    ----------
    session : SessionRow
        The session.
    done : int
        How many of its trials are in. [1]
    sent : bool
        Whether anything was sent of it, even what was not done.
    """
    if session.attendance in NOT_SEEN:
        return done > 0
    said = (session.attendance, session.started_at, session.ended_at)
    return sent or any(one is not None for one in said)


def took_place(db: Session, session: SessionRow) -> bool:
    """Return what `has_begun` says of one session, its trials read from the database."""
    ids = [session.id]
    done = trial_counts(db, ids).get(session.id, 0)
    return has_begun(session, done, sent=bool(sessions_sent(db, ids)))


def due_words(due: Due, *, is_supervisor: bool) -> str:
    """Say in one clause how many notes are due; that there are none is said too.

    Examples
    --------
    >>> due_words(Due([], [], [], [], []), is_supervisor=False)
    'No notes to write or sign'
    """
    clauses = []
    if due.waiting:
        count = len(due.waiting)
        verb = "waits" if count == 1 else "wait"
        clauses.append(f"{count_word(count)} {plural('note', count)} {verb} for your co-signature")
    if due.to_write:
        count, back = due.to_write, len(due.returned)
        clauses.append(f"{count_word(count)} {plural('note', count)} to write or sign")
        if back:
            which = "" if back == count else f"{count_word(back)} of them "
            clauses.append(f"{which}returned to you")
    if not clauses:
        return (
            "No notes to write, sign or co-sign" if is_supervisor else "No notes to write or sign"
        )
    return capital(", ".join(clauses))
