"""What the first page after signing in says: today's children first."""

from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import clock_words, day_words, weekday_words
from server.numbers import NO_BREAK, count_word
from server.page_words import ChildWords, child_words
from server.sentences import NO_NORM
from server.settings import Settings
from server.store_counts import SessionCount, session_counts, sessions_on, trial_counts
from server.store_notes import COSIGNED, DRAFT, RETURNED, SIGNED
from server.store_today import WAITING, in_order_of_day, newest_plans, note_states
from server.tables import Child, SessionRow
from server.wording import plural, sentence_of

NOTE_WORDS = {
    DRAFT: "note is a draft",
    RETURNED: "note was returned",
    WAITING: "note signed, waits for a co-signature",
    SIGNED: "note signed",
    COSIGNED: "note signed and co-signed",
}
UNFINISHED = (None, DRAFT, RETURNED)
NOT_SEEN = ("absent", "cancelled")
ATTENDANCE_WORDS = {
    "absent": "absent",
    "cancelled": "cancelled",
    "late": "came late",
    "left_early": "left early",
}


class Sitting(NamedTuple):
    """One session of today."""

    id: str
    child: ChildWords
    state: str
    where: str
    time: str


class CaseRow(NamedTuple):
    """One child without a session today."""

    child: ChildWords
    about: str
    end: str


class Known(NamedTuple):
    """What is known of one session of today."""

    session: SessionRow
    planned: int
    done: int
    note: str | None

    @property
    def over(self) -> bool:
        """Whether it was closed, or somebody said when it ended."""
        return self.session.closed_at is not None or self.session.ended_at is not None

    @property
    def wants_note(self) -> bool:
        """Whether something happened of which no note is signed."""
        return (self.done > 0 or self.over) and self.note in UNFINISHED


def caseload_page(
    db: Session, children: Sequence[Child], settings: Settings, today: date
) -> dict[str, Any]:
    """Return what the template of the caseload needs.

    Parameters
    ----------
    db : Session
        Database session.
    children : sequence of Child
        Those whom the account sees, in order.
    settings : Settings
        Say the practice's time zone.
    today : date
        The practice's day.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    ids = [child.id for child in children]
    by_id = {child.id: child for child in children}
    todays, past = sessions_on(db, ids, today), session_counts(db, ids)
    here = _known(db, in_order_of_day([one for mine in todays.values() for one in mine]))
    return {
        "today_words": f"Today, {weekday_words(today)}",
        "summary": _summary(here),
        "today": [_sitting(by_id[one.session.child_id], one, settings) for one in here],
        "others": [
            _other_row(child, past.get(child.id)) for child in children if child.id not in todays
        ],
        "cautions": [NO_NORM],
    }


def planned_count(plan: dict[str, Any] | None) -> int:
    """Number of trials that a plan asks for. [1]"""
    if plan is None:
        return 0
    return sum(int(item.get("repetitions", 1)) for item in plan["items"])


def _known(db: Session, sessions: Sequence[SessionRow]) -> list[Known]:
    ids = [session.id for session in sessions]
    plans, done, notes = newest_plans(db, ids), trial_counts(db, ids), note_states(db, ids)
    return [
        Known(
            session,
            planned_count(plans[session.id].plan if session.id in plans else None),
            done.get(session.id, 0),
            notes.get(session.id),
        )
        for session in sessions
    ]


def _summary(here: Sequence[Known]) -> str:
    if not here:
        return ""
    count, trials = len(here), sum(one.done for one in here)
    notes = sum(one.wants_note for one in here)
    so_far = f"{trials} {plural('trial', trials)} in so far" if trials else "no trial in yet"
    clauses = [f"{count_word(count)} {plural('session', count)}, {so_far}"]
    if notes:
        clauses.append(f"{count_word(notes)} {plural('note', notes)} to write or sign")
    return " ".join(sentence_of(clause) for clause in clauses)


def _sitting(child: Child, known: Known, settings: Settings) -> Sitting:
    session = known.session
    where = [word for word in (session.place, session.position) if word]
    return Sitting(
        session.id, child_words(child), _state(known), " · ".join(where), time_of(session, settings)
    )


def time_of(session: SessionRow, settings: Settings) -> str:
    """Return when a session is or was, such as ``09:10–09:38``; empty if that is not known."""
    if session.started_at is None:
        return ""
    start = clock_words(settings.local(session.started_at))
    if session.ended_at is None:
        return start
    return f"{start}–{clock_words(settings.local(session.ended_at))}"


def _state(known: Known) -> str:
    session, said = known.session, []
    if session.attendance in ATTENDANCE_WORDS:
        said.append(ATTENDANCE_WORDS[session.attendance])
    if session.attendance not in NOT_SEEN or known.done:
        said.append(_trials(known))
    if session.closed_at is not None:
        said.append("closed")
    if known.note is not None:
        said.append(NOTE_WORDS[known.note])
    elif known.wants_note:
        said.append("no note yet")
    return " · ".join(said)


def _trials(known: Known) -> str:
    planned, done = known.planned, known.done
    if planned and (done or known.over):
        return f"{done} of {planned} trials in"
    if done:
        return f"{done} {plural('trial', done)} in"
    if planned:
        return f"planned, {planned}{NO_BREAK}{plural('trial', planned)}"
    return "nothing planned yet"


def _other_row(child: Child, past: SessionCount | None) -> CaseRow:
    if past is None:
        return CaseRow(child_words(child), "no session yet", "")
    return CaseRow(
        child_words(child),
        f"{count_word(past.sessions)} {plural('session', past.sessions)}",
        f"last on {day_words(past.last)}",
    )
