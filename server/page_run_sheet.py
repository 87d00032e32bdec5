"""The run sheet: a printed page that says which two pictures are which child today."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from server.dates import clock_words, weekday_words
from server.note_due import is_over
from server.numbers import count_word
from server.page_caseload import planned_count, time_of
from server.page_words import ChildWords, child_words
from server.settings import Settings
from server.store_children import with_equal_signs
from server.store_counts import sessions_on
from server.store_sessions import NOT_SEEN
from server.store_today import in_order_of_day, newest_plans
from server.tables import Account, Child, SessionRow
from server.wording import capital, plural

OPEN = "open"


class RunRow(NamedTuple):
    """One session that is still to come: `pictures` are those to be drawn, None without a plan."""

    session_id: str
    child: ChildWords
    time: str
    place: str
    pictures: int | None
    same_signs: bool


def pictures_of(plan: dict[str, Any] | None) -> int | None:
    """Number of pictures that a tablet will show of a plan; None without a plan. [1]

    Examples
    --------
    >>> items = [{"state": "open", "repetitions": 3}, {"state": "closed", "repetitions": 2}]
    >>> pictures_of({"items": items}), pictures_of(None)
    (3, None)
    """
    if plan is None or not plan["items"]:
        return None
    return planned_count(
        {"items": [one for one in plan["items"] if one.get("state", OPEN) == OPEN]}
    )


def run_sheet_page(
    db: Session, account: Account, children: Sequence[Child], settings: Settings, now: datetime
) -> dict[str, Any]:
    """Return what the template of the run sheet needs.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        Whose day it is.
    children : sequence of Child
        Those whom the account sees.
    settings : Settings
        Say the practice's time zone.
    now : datetime
        When it is printed.

    Returns
    -------
    dict
        The sessions of today that are still to be held or under way, by their time, and how
        many are left out: those that ended or were closed, and those to which nobody comes.
    """
    today = settings.day_of(now)
    by_id = {child.id: child for child in children}
    todays = [one for mine in sessions_on(db, list(by_id), today).values() for one in mine]
    coming = in_order_of_day([one for one in todays if _is_coming(one)])
    return {
        "day_words": weekday_words(today),
        "printed_at": clock_words(settings.local(now)),
        "rows": _rows(db, account, by_id, coming, settings),
        "left_out": _left_out(len(todays) - len(coming)),
    }


def _left_out(count: int) -> str:
    if not count:
        return ""
    verb = "is" if count == 1 else "are"
    return (
        f"{capital(count_word(count))} {plural('session', count)} of today {verb} left out: over, "
        "closed, absent or cancelled."
    )


def _rows(
    db: Session,
    account: Account,
    by_id: Mapping[str, Child],
    coming: Sequence[SessionRow],
    settings: Settings,
) -> list[RunRow]:
    plans = newest_plans(db, [one.id for one in coming])
    equal = with_equal_signs(db, account)
    return [
        RunRow(
            session.id,
            child_words(by_id[session.child_id]),
            time_of(session, settings),
            session.place or "",
            pictures_of(plans[session.id].plan if session.id in plans else None),
            session.child_id in equal,
        )
        for session in coming
    ]


def _is_coming(session: SessionRow) -> bool:
    return not is_over(session) and session.attendance not in NOT_SEEN
