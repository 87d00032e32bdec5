"""What the list of notes says: what waits, what is one's own, what has no note yet."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import clock_words, short_day, weekday_words
from server.note_differences import section_changes, summary
from server.note_due import LOOK_BACK_DAYS, Due, Noted, due_of, due_words
from server.note_waiting import different_since
from server.page_words import ChildWords, child_words, trial_words
from server.sentences import NO_NORM
from server.settings import Settings
from server.store_accounts import account_by_id
from server.store_counts import NOTHING_IN, CameIn, came_in
from server.store_notes import SIGNED, last_reasons, own_notes, texts_signed_again
from server.tables import Account, Child, NoteRow, SessionRow


class NoteLine(NamedTuple):
    """One note, or one session without one, in a list; `marks` say what is to be looked at."""

    session_id: str
    child: ChildWords
    about: str
    end: str
    marks: list[str]


class Lines(NamedTuple):
    """What every line of the list is made with."""

    db: Session
    known: dict[str, Child]
    settings: Settings

    def line(
        self, session: SessionRow, about: Sequence[str], end: str, marks: Sequence[str] = ()
    ) -> NoteLine:
        """Return one line."""
        words = ", ".join([weekday_words(session.day), *about])
        child = child_words(self.known[session.child_id])
        return NoteLine(session.id, child, words, end, list(marks))


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
    lines = Lines(db, {child.id: child for child in children}, settings)
    is_supervisor = "supervisor" in account.roles
    due = due_of(db, account, children, today)
    words = _lists(lines, due) | {
        # What a supervisor signed has ended.
        "signed": []
        if is_supervisor
        else [_signed(lines, one) for one in own_notes(db, account, SIGNED, children)],
    }
    return words | {
        "is_supervisor": is_supervisor,
        "sentence": due_words(due, is_supervisor=is_supervisor),
        "look_back": LOOK_BACK_DAYS,
        "shown": {line.child.id for some in words.values() for line in some},
        "cautions": [NO_NORM],
    }


def _lists(lines: Lines, due: Due) -> dict[str, list[NoteLine]]:
    unwritten = [*due.missing, *due.of_others]
    came = came_in(lines.db, [session.id for session in unwritten])
    return {
        "waiting": _waiting(lines, due.waiting),
        "returned": _returned(lines, due.returned),
        "drafts": [_draft(lines, one) for one in due.drafts],
        "missing": [_missing(lines, one, came) for one in due.missing],
        "of_others": [_missing(lines, one, came) for one in due.of_others],
    }


def _waiting(lines: Lines, waiting: Sequence[Noted]) -> list[NoteLine]:
    """Return the notes to co-sign with what is different, read for all of them at once."""
    ids = [session.id for _, session in waiting]
    again = texts_signed_again(lines.db, ids)
    different = different_since(lines.db, [session for _, session in waiting])
    authors = {
        one: account_by_id(lines.db, one) for one in {note.account_id for note, _ in waiting}
    }
    found = []
    for note, session in waiting:
        author, marks = authors[note.account_id], []
        if session.id in again:
            changes = summary(section_changes(*again[session.id]))
            marks.append(f"Signed again after it was returned. {changes}.")
        if session.id in different:
            marks.append(f"Changed since it was signed: {different[session.id]}.")
        about = [] if author is None else [f"written by {author.name}"]
        found.append(lines.line(session, about, _signed_at(lines, note), marks))
    return found


def _signed_at(lines: Lines, note: NoteRow) -> str:
    if note.signed_at is None:
        return ""
    local = lines.settings.local(note.signed_at)
    return f"signed {short_day(local.date())}, {clock_words(local)}"


def _returned(lines: Lines, returned: Sequence[Noted]) -> list[NoteLine]:
    reasons = last_reasons(lines.db, [session.id for _, session in returned])
    return [
        lines.line(
            session, [], "", [f"Reason: {reasons[session.id]}"] if session.id in reasons else []
        )
        for _, session in returned
    ]


def _draft(lines: Lines, noted: Noted) -> NoteLine:
    note, session = noted
    local = lines.settings.local(note.changed_at)
    return lines.line(session, [], f"saved {short_day(local.date())}, {clock_words(local)}")


def _signed(lines: Lines, noted: Noted) -> NoteLine:
    note, session = noted
    return lines.line(session, [], _signed_at(lines, note))


def _missing(lines: Lines, session: SessionRow, came: Mapping[str, CameIn]) -> NoteLine:
    """Return a session that took place and has no note."""
    start = session.started_at
    began = "" if start is None else clock_words(lines.settings.local(start))
    trials = trial_words(came.get(session.id, NOTHING_IN))
    return lines.line(session, [word for word in (began, session.place, trials) if word], "")
