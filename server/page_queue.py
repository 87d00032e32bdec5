"""What the list of notes says: what waits, what is one's own, what has no note yet."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import clock_words, short_day, weekday_words
from server.note_changes import changed_since
from server.note_differences import section_changes, summary
from server.note_numbers import numbers_of
from server.numbers import count_word
from server.page_caseload import has_begun
from server.page_words import ChildWords, child_words
from server.sentences import NO_NORM
from server.settings import Settings
from server.store_accounts import account_by_id
from server.store_counts import sessions_sent, trial_counts
from server.store_notes import DRAFT, RETURNED, SIGNED, events_of, own_notes, waiting_for
from server.store_sessions import sessions_between
from server.store_today import note_states
from server.tables import Account, Child, NoteEvent, NoteRow, SessionRow
from server.wording import capital, plural

LOOK_BACK_DAYS = 14


class NoteLine(NamedTuple):
    """One note, or one session without one, in a list; `marks` say what is to be looked at."""

    session_id: str
    child: ChildWords
    about: str
    end: str
    marks: list[str]


def queue_page(
    db: Session, account: Account, children: Sequence[Child], settings: Settings, today: date
) -> dict[str, Any]:
    """Return what the template of the queue needs.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        Whose notes.
    children : sequence of Child
        Those whom the account sees.
    settings : Settings
        Say the practice's time zone.
    today : date
        The practice's day.

    Returns
    -------
    dict
        Plain words and lists of them, and under `shown` the ids of the children in them.
    """
    known = {child.id: child for child in children}
    is_supervisor = "supervisor" in account.roles
    waiting = [
        _waiting(db, note, session, known[session.child_id], settings)
        for note, session in waiting_for(db, account, children)
    ]
    own = {
        state: [
            _own(db, note, session, known[session.child_id], settings)
            for note, session in own_notes(db, account, state, children)
        ]
        for state in (RETURNED, DRAFT, SIGNED)
        # What a supervisor signed has ended.
        if not (state == SIGNED and is_supervisor)
    }
    missing = _missing(db, children, known, settings, today)
    lines = [*waiting, *missing, *(line for mine in own.values() for line in mine)]
    return {
        "is_supervisor": is_supervisor,
        "sentence": _sentence(waiting, own, missing, is_supervisor=is_supervisor),
        "waiting": waiting,
        "own": own,
        "missing": missing,
        "look_back": LOOK_BACK_DAYS,
        "shown": {line.child.id for line in lines},
        "cautions": [NO_NORM],
    }


def _sentence(
    waiting: Sequence[NoteLine],
    own: dict[str, list[NoteLine]],
    missing: Sequence[NoteLine],
    *,
    is_supervisor: bool,
) -> str:
    if is_supervisor:
        count = len(waiting)
        verb = "waits" if count == 1 else "wait"
        return f"{capital(count_word(count))} {plural('note', count)} {verb} for your co-signature"
    back, count = len(own[RETURNED]), len(own[DRAFT]) + len(missing)
    if back:
        verb = "was" if back == 1 else "were"
        return f"{capital(count_word(back))} {plural('note', back)} {verb} returned to you"
    return f"{capital(count_word(count))} {plural('note', count)} to write or to sign"


def _line(
    session: SessionRow, child: Child, about: Sequence[str], end: str, marks: Sequence[str] = ()
) -> NoteLine:
    words = ", ".join([weekday_words(session.day), *about])
    return NoteLine(session.id, child_words(child), words, end, list(marks))


def _waiting(
    db: Session, note: NoteRow, session: SessionRow, child: Child, settings: Settings
) -> NoteLine:
    author = account_by_id(db, note.account_id)
    marks = [
        one for one in (_revised(events_of(db, session.id)), _changed(db, note, session)) if one
    ]
    about = [] if author is None else [f"written by {author.name}"]
    return _line(session, child, about, _signed(note, settings), marks)


def _signed(note: NoteRow, settings: Settings) -> str:
    if note.signed_at is None:
        return ""
    local = settings.local(note.signed_at)
    return f"signed {short_day(local.date())}, {clock_words(local)}"


def _revised(events: Sequence[NoteEvent]) -> str:
    """Say what differs from the text that was returned, if there is one."""
    signed = [one.content for one in events if one.kind == SIGNED and one.content is not None]
    if len(signed) < 2:
        return ""
    return f"Signed again after it was returned. {summary(section_changes(*signed[-2:]))}."


def _changed(db: Session, note: NoteRow, session: SessionRow) -> str:
    if note.frozen is None:
        return ""
    count = len(changed_since(note.frozen, numbers_of(db, session)))
    if not count:
        return ""
    return f"{capital(count_word(count))} {plural('thing', count)} changed since it was signed."


def _own(
    db: Session, note: NoteRow, session: SessionRow, child: Child, settings: Settings
) -> NoteLine:
    marks = []
    if note.state == RETURNED:
        back = [one for one in events_of(db, session.id) if one.kind == RETURNED]
        marks = [f"Reason: {one.text}" for one in back[-1:]]
    local = settings.local(note.changed_at)
    saved = f"saved {short_day(local.date())}, {clock_words(local)}"
    end = {SIGNED: _signed(note, settings), DRAFT: saved}.get(note.state, "")
    return _line(session, child, [], end, marks)


def _missing(
    db: Session,
    children: Sequence[Child],
    known: dict[str, Child],
    settings: Settings,
    today: date,
) -> list[NoteLine]:
    """Return the latest sessions that have begun and have no note, oldest first."""
    first = today - timedelta(days=LOOK_BACK_DAYS - 1)
    sessions = sessions_between(db, children, first, today)
    ids = [session.id for session in sessions]
    notes, done, sent = note_states(db, ids), trial_counts(db, ids), sessions_sent(db, ids)
    lines = []
    for session in sessions:
        trials = done.get(session.id, 0)
        if session.id in notes or not has_begun(session, trials, sent=session.id in sent):
            continue
        start = (
            "" if session.started_at is None else clock_words(settings.local(session.started_at))
        )
        came = f"{count_word(trials)} {plural('trial', trials)}"
        about = [word for word in (start, session.place, came) if word]
        lines.append(_line(session, known[session.child_id], about, ""))
    return lines
