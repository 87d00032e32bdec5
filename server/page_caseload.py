"""What the first page after signing in says: today's children first."""

from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import clock_words, day_words, weekday_words
from server.numbers import count_word
from server.page_words import ChildWords, child_words
from server.sentences import NO_NORM
from server.settings import Settings
from server.store_counts import SessionCount, session_counts, sessions_on, trial_counts
from server.store_sessions import latest_plan
from server.tables import Child, SessionRow
from server.wording import plural


class CaseRow(NamedTuple):
    """One child on the list."""

    child: ChildWords
    about: str
    end: str


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
    todays, past = sessions_on(db, ids, today), session_counts(db, ids)
    done = trial_counts(db, [session.id for mine in todays.values() for session in mine])
    here = [
        _today_row(db, child, session, settings, done.get(session.id, 0))
        for child in children
        for session in todays.get(child.id, ())
    ]
    others = [_other_row(child, past.get(child.id)) for child in children if child.id not in todays]
    return {
        "today_words": f"Today, {weekday_words(today)}",
        "today": here,
        "others": others,
        "cautions": [NO_NORM],
    }


def planned_count(plan: dict[str, Any] | None) -> int:
    """Number of trials that a plan asks for. [1]"""
    if plan is None:
        return 0
    return sum(int(item.get("repetitions", 1)) for item in plan["items"])


def _today_row(
    db: Session, child: Child, session: SessionRow, settings: Settings, done: int
) -> CaseRow:
    planned = planned_count(latest_plan(db, session.id))
    about = f"{done} of {planned} trials in" if planned else f"{done} trials in"
    where = [word for word in (session.place, session.position) if word]
    start = ""
    if session.started_at is not None:
        start = clock_words(settings.local(session.started_at))
    return CaseRow(child_words(child), " · ".join([*where, about]), start)


def _other_row(child: Child, past: SessionCount | None) -> CaseRow:
    if past is None:
        return CaseRow(child_words(child), "no session yet", "")
    return CaseRow(
        child_words(child),
        f"{count_word(past.sessions)} {plural('session', past.sessions)}",
        f"last on {day_words(past.last)}",
    )
