"""What of signed notes is different by now, from small rows alone: no report, no raw record."""

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from analysis import ANALYSIS_VERSION
from server.batches import batches
from server.note_numbers import session_numbers
from server.numbers import count_word
from server.store_marks import latest_marks
from server.store_notes import frozen_numbers
from server.store_trials import ATTEMPTS
from server.store_voids import voided_ids
from server.tables import AmendmentRow, SessionRow, TrialRow
from server.wording import joined, plural

Numbers = Mapping[str, Any]
# By trial: its newest mark, how many corrections it has, whether it is not to be used.
Standings = dict[str, tuple[str | None, int, bool]]


def different_since(db: Session, sessions: Collection[SessionRow]) -> dict[str, str]:
    """Return what differs from the signed numbers, in a clause, by session.

    Parameters
    ----------
    db : Session
        Database session.
    sessions : collection of SessionRow
        Those whose notes are signed.

    Returns
    -------
    dict of str to str
        How many trials came in, went, were marked, corrected or voided since, and whether the
        session's facts or the release changed; which number is which is told by the note's own
        page. A session of which nothing differs is left out.
    """
    rows = {session.id: session for session in sessions}
    live = _standings(db, list(rows))
    found = {}
    for session_id, frozen in frozen_numbers(db, list(rows)).items():
        words = joined(list(_clauses(frozen, rows[session_id], live.get(session_id, {}))))
        if words:
            found[session_id] = words
    return found


def _clauses(frozen: Numbers, session: SessionRow, now: Standings) -> Iterator[str]:
    was: Standings = {
        one["trial_id"]: (one["mark_id"], one["amendment_no"], one["voided"])
        for one in frozen["trials"]
    }
    count = sum(was.get(one) != now.get(one) for one in was.keys() | now.keys())
    if count:
        yield f"{count_word(count)} {plural('trial', count)}"
    facts = session_numbers(session)
    if any(facts.get(name) != value for name, value in frozen["session"].items()):
        yield "facts of the session"
    if any(one["analysis_version"] != ANALYSIS_VERSION for one in frozen["trials"]):
        yield "the release that computes the numbers"


def _standings(db: Session, session_ids: Collection[str]) -> dict[str, Standings]:
    """Return how the trials of some sessions stand now, by session."""
    found: dict[str, Standings] = {}
    for batch in batches(session_ids):
        mine = TrialRow.session_id.in_(batch) & TrialRow.kind.in_(ATTEMPTS)
        trials = db.execute(select(TrialRow.id, TrialRow.session_id).where(mine)).all()
        ids = [trial_id for trial_id, _ in trials]
        marks, voided = latest_marks(db, ids), voided_ids(db, ids)
        counts = (
            select(AmendmentRow.trial_id, func.count())
            .join(TrialRow, TrialRow.id == AmendmentRow.trial_id)
            .where(mine)
            .group_by(AmendmentRow.trial_id)
        )
        amended: dict[str, int] = dict(db.execute(counts).all())
        for trial_id, session_id in trials:
            mark = marks.get(trial_id)
            found.setdefault(session_id, {})[trial_id] = (
                None if mark is None else mark.id,
                amended.get(trial_id, 0),
                trial_id in voided,
            )
    return found
