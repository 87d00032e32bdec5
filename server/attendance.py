"""Whether a session can have been without the child: what is noted of it may say otherwise."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store_counts import trial_counts
from server.tables import ObservationRow, SessionRow
from server.wording import ATTENDANCE_WORDS

NOT_SEEN = ("absent", "cancelled")
# What somebody did; words can be about a child who did not come.
DONE = ("activity", "rest")

WAS_THERE = (
    "Trials of this session are in, so somebody drew. Void them or move them to another session "
    "first, if they are not this child's."
)
WAS_BUSY = (
    "An activity or a rest of this session is noted, so somebody was there. Take it back first, "
    "if it is not this child's."
)
EITHER = "This session is noted as {word}. {why} Otherwise change the attendance."


def why_seen(db: Session, session_id: str) -> str | None:
    """Return the sentence that says why nobody was absent from a session.

    Parameters
    ----------
    db : Session
        Database session.
    session_id : str
        Which session.

    Returns
    -------
    str or None
        None if no trial is in, and neither an activity nor a rest is noted.
    """
    if trial_counts(db, [session_id]):
        return WAS_THERE
    mine = (ObservationRow.session_id == session_id) & ObservationRow.kind.in_(DONE)
    noted = db.scalar(select(ObservationRow.id).where(mine).limit(1))
    return None if noted is None else WAS_BUSY


def contradiction(db: Session, session: SessionRow) -> str | None:
    """Return what to mend where nobody came to a session of which something is in; else None.

    Trials may arrive after somebody was noted absent: a note that says both is not signed.
    """
    if session.attendance not in NOT_SEEN:
        return None
    why = why_seen(db, session.id)
    word = ATTENDANCE_WORDS[session.attendance]
    return None if why is None else EITHER.format(word=word, why=why)
