"""Starting a child's session of today with one tap: the same plan as last time."""

from datetime import date, datetime

from sqlalchemy.orm import Session

from server import audit
from server.deps import SeenSession
from server.routes_plans import BuiltOn, post_same_as_last
from server.store_plans import items_of_last_session
from server.store_sessions import create_session, sessions_of
from server.store_today import open_session_of
from server.tables import Account, Child, SessionRow

SAME_AS_LAST = ("place", "position", "kind")


def start_today(
    db: Session, account: Account, child: Child, *, day: date, now: datetime
) -> SessionRow:
    """Return the child's open session of a day; if there is none, begin one; commits.

    Parameters
    ----------
    db : Session
        Database session.
    account : Account
        Who starts it.
    child : Child
        Whose session; the account has to be linked to the child.
    day : date
        The practice's day.
    now : datetime
        When a session that is made here begins.

    Returns
    -------
    SessionRow
        A new one has place, position and plan of the child's last session, or no plan if
        that was never planned. Tapping twice makes one session, not two.
    """
    found = open_session_of(db, child.id, day)
    if found is not None:
        return found
    before = next((one for one in reversed(sessions_of(db, child.id)) if one.day <= day), None)
    where = {} if before is None else {name: getattr(before, name) for name in SAME_AS_LAST}
    session = create_session(
        db, child_id=child.id, day=day, started_at=now, account_id=account.id, **where
    )
    # The first write took the lock: whoever tapped a moment earlier can be seen from here on.
    first = open_session_of(db, child.id, day)
    if first is not None and first.id != session.id:
        db.rollback()
        return first
    audit.note(db, now, account.id, "made", "session", session.id, child_id=child.id)
    if items_of_last_session(db, session):
        post_same_as_last(account, SeenSession(session, child), BuiltOn(based_on=0), db, now)
    db.commit()
    return session
