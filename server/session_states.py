"""Where a session and its note stand, in the same words on every page."""

from server.store_notes import COSIGNED, DRAFT, RETURNED, SIGNED
from server.store_sessions import NOT_SEEN
from server.store_today import WAITING
from server.tables import SessionRow
from server.wording import ATTENDANCE_WORDS

NOT_BEGUN, NEVER_BEGUN, BEGUN, OVER = "not begun yet", "never begun", "begun", "over"
NOTE_WORDS = {
    DRAFT: "note is a draft",
    RETURNED: "note was returned",
    WAITING: "note signed, waits for a co-signature",
    SIGNED: "note signed",
    COSIGNED: "note signed and co-signed",
}

AFTER_SIGNING = (
    "The note of this session is signed. What you say of a trial now is kept and counts, and the "
    "signed note will show it as changed since signing."
)


def standing(session: SessionRow, *, begun: bool) -> str:
    """Return where a session stands.

    Parameters
    ----------
    session : SessionRow
        The session.
    begun : bool
        Whether it took place, as far as anybody can tell.

    Returns
    -------
    str
        "begun" until somebody said when it ended, then "over"; "absent" or "cancelled" if
        nobody came.
    """
    if begun:
        return BEGUN if session.ended_at is None else OVER
    if session.attendance in NOT_SEEN:
        return ATTENDANCE_WORDS[session.attendance]
    return NOT_BEGUN if session.closed_at is None else NEVER_BEGUN
