"""What the first page after signing in says: today's children first."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import clock_words, day_words, weekday_words
from server.note_due import due_of, due_words, has_begun, is_over
from server.numbers import NO_BREAK, count_word
from server.page_words import ChildWords, child_words, trial_words
from server.sentences import NO_NORM
from server.session_states import NOTE_WORDS, standing
from server.settings import Settings
from server.store_counts import (
    NOTHING_IN,
    CameIn,
    SessionCount,
    came_in,
    session_counts,
    sessions_on,
    trial_counts_by_item,
)
from server.store_notes import DRAFT, RETURNED
from server.store_sessions import NOT_SEEN
from server.store_today import in_order_of_day, newest_plans, note_states, still_running
from server.tables import Account, Child, SessionRow
from server.wording import ATTENDANCE_WORDS, plural, sentence_of

UNFINISHED = (None, DRAFT, RETURNED)
CLOSED = "closed"
STILL_RUNNING = "still running, since yesterday"


class Sitting(NamedTuple):
    """One session of today, or one that still runs."""

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
    """What is known of one session.

    Attributes
    ----------
    session : SessionRow
        The session.
    planned : int or None
        How many trials are asked for, by items that are open; None without any item. [1]
    came : CameIn
        What came in.
    of_closed : int
        How many of the trials that can be used came of items that were closed. [1]
    begun : bool
        Whether it took place, as far as anybody can tell.
    note : str or None
        The state of its note.
    """

    session: SessionRow
    planned: int | None
    came: CameIn
    of_closed: int
    begun: bool
    note: str | None

    @property
    def done(self) -> int:
        """How many trials can be used. [1]"""
        return self.came.usable

    @property
    def over(self) -> bool:
        """Whether it was closed, or somebody said when it ended."""
        return is_over(self.session)

    @property
    def wants_note(self) -> bool:
        """Whether something happened of which no note is signed."""
        if self.note is None and not self.begun:
            return False
        return (self.done > 0 or self.over) and self.note in UNFINISHED


def caseload_page(
    db: Session, account: Account, children: Sequence[Child], settings: Settings, now: datetime
) -> dict[str, Any]:
    """Return what the template of the caseload needs.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        Whose page.
    children : sequence of Child
        Those whom the account sees, in order.
    settings : Settings
        Say the practice's time zone.
    now : datetime
        Says which day it is, and what still runs.

    Returns
    -------
    dict
        Plain words and lists of them.
    """
    today = settings.day_of(now)
    ids = [child.id for child in children]
    by_id = {child.id: child for child in children}
    todays, past = sessions_on(db, ids, today), session_counts(db, ids)
    here = _known(db, in_order_of_day([one for mine in todays.values() for one in mine]))
    return {
        "today_words": f"Today, {weekday_words(today)}",
        "summary": _summary(here, _notes_due(db, account, children, today)),
        "running": [
            _sitting(by_id[one.session.child_id], one, settings, STILL_RUNNING)
            for one in _known(db, still_running(db, ids, today, now))
        ],
        "today": [_sitting(by_id[one.session.child_id], one, settings) for one in here],
        "others": [
            _other_row(child, past.get(child.id)) for child in children if child.id not in todays
        ],
        "cautions": [NO_NORM],
    }


def planned_count(plan: dict[str, Any] | None) -> int:
    """Number of trials that a plan asks for: an item that was closed asks for none. [1]"""
    if plan is None:
        return 0
    return sum(int(item.get("repetitions", 1)) for item in plan["items"] if not _is_closed(item))


def _is_closed(item: dict[str, Any]) -> bool:
    return item.get("state") == CLOSED


def _known(db: Session, sessions: Sequence[SessionRow]) -> list[Known]:
    ids = [session.id for session in sessions]
    plans = {session_id: one.plan for session_id, one in newest_plans(db, ids).items()}
    came, notes = came_in(db, ids), note_states(db, ids)
    closed = {
        session_id: {item["item_id"] for item in plan["items"] if _is_closed(item)}
        for session_id, plan in plans.items()
    }
    # Most plans have no closed item: then the dearer count is not asked for.
    by_item = trial_counts_by_item(db, [one for one in came if closed.get(one)])
    return [
        Known(
            session,
            planned_count(plans[one]) if one in plans and plans[one]["items"] else None,
            came.get(one, NOTHING_IN),
            sum(n for item_id, n in by_item.get(one, {}).items() if item_id in closed[one]),
            has_begun(session, came.get(one, NOTHING_IN).usable, sent=one in came),
            notes.get(one),
        )
        for session in sessions
        for one in [session.id]
    ]


def _notes_due(db: Session, account: Account, children: Sequence[Child], today: date) -> str:
    due = due_of(db, account, children, today)
    some = due.to_write or due.waiting
    return due_words(due, is_supervisor="supervisor" in account.roles) if some else ""


def _summary(here: Sequence[Known], notes: str) -> str:
    if not here:
        return sentence_of(notes)
    count, came = len(here), CameIn(*map(sum, zip(*(one.came for one in here), strict=True)))
    so_far = f"so far {trial_words(came)}" if came.all else "no trial in yet"
    clauses = [f"{count_word(count)} {plural('session', count)}, {so_far}"]
    return " ".join(sentence_of(clause) for clause in [*clauses, notes] if clause)


def _sitting(child: Child, known: Known, settings: Settings, stands: str = "") -> Sitting:
    session = known.session
    where = [word for word in (session.place, session.position) if word]
    state = _state(known, stands or standing(session, begun=known.begun))
    return Sitting(
        session.id, child_words(child), state, " · ".join(where), time_of(session, settings)
    )


def time_of(session: SessionRow, settings: Settings) -> str:
    """Return when a session is or was, such as ``09:10–09:38``; empty if that is not known."""
    if session.started_at is None:
        return ""
    start = clock_words(settings.local(session.started_at))
    if session.ended_at is None:
        return start
    return f"{start}–{clock_words(settings.local(session.ended_at))}"


def _state(known: Known, stands: str) -> str:
    session = known.session
    said = [stands]
    came = ATTENDANCE_WORDS.get(session.attendance or "")
    if came is not None and came not in said:
        said.append(came)
    if session.attendance not in NOT_SEEN or known.came.all:
        said.append(_trials(known))
    if session.closed_at is not None:
        said.append("closed")
    if known.note is not None:
        said.append(NOTE_WORDS[known.note])
    elif known.wants_note:
        said.append("no note yet")
    return " · ".join(said)


def _trials(known: Known) -> str:
    planned, done, came = known.planned, known.done, known.came
    # What was asked for and what came in are two counts where some cannot be used.
    differ = came.all > done
    if planned and (came.all or known.over or known.begun):
        closed = f", {known.of_closed} of closed items" if known.of_closed else ""
        kept = f"{done - known.of_closed} of {planned}"
        if differ:
            return f"{trial_words(came)} · {kept} asked for{closed}"
        return f"{kept} trials in{closed}"
    if came.all:
        return trial_words(came) if differ else f"{trial_words(came)} in"
    if planned:
        return f"{planned}{NO_BREAK}{plural('trial', planned)} planned"
    return "nothing planned" if planned is None else "every item closed"


def _other_row(child: Child, past: SessionCount | None) -> CaseRow:
    if past is None:
        return CaseRow(child_words(child), "no session yet", "")
    return CaseRow(
        child_words(child),
        f"{count_word(past.sessions)} {plural('session', past.sessions)}",
        f"last on {day_words(past.last)}",
    )
