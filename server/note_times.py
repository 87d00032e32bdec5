"""The times without which no note is signed: when a session began, and when it ended."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from server import audit
from server.clock_times import moment_of
from server.dates import clock_words
from server.faults import Fault
from server.note_due import took_place
from server.problems import Problem
from server.settings import Settings
from server.store_notes import Desk
from server.store_sessions import change_session
from server.store_trials import ATTEMPTS, document_of, trials_of_session
from server.tables import SessionRow, TrialRow

# Columns of a session, and what the form of a note calls them.
FIELDS = {"started_at": "started", "ended_at": "ended"}
WANTED = {
    "started_at": "Say when this session began: once the note is signed, that cannot be set.",
    "ended_at": "Say when this session ended: once the note is signed, that cannot be set.",
}
MINUTE = timedelta(minutes=1)


def missing_times(db: Session, session: SessionRow) -> list[str]:
    """Return which of `started_at` and `ended_at` a session lacks; none if it took no place.

    Parameters
    ----------
    db : Session
        Database session.
    session : SessionRow
        Which session.
    """
    missing = [name for name in FIELDS if getattr(session, name) is None]
    return missing if missing and took_place(db, session) else []


def refuse_without_times(db: Session, session: SessionRow) -> None:
    """Refuse with 422 to sign the note of a session that took place and lacks a time."""
    faults = [Fault(f"/{name}", WANTED[name]) for name in missing_times(db, session)]
    if faults:
        raise Problem(422, errors=faults)


def faults_of_times(db: Session, session: SessionRow, typed: Mapping[str, str]) -> list[Fault]:
    """Return what a form that signs leaves out, by its fields."""
    return [
        Fault(f"/{FIELDS[name]}", WANTED[name])
        for name in missing_times(db, session)
        if not typed[FIELDS[name]].strip()
    ]


def fill_times(desk: Desk, typed: Mapping[str, str], settings: Settings) -> None:
    """Set the times that a session lacks as they were typed; the caller commits.

    Parameters
    ----------
    desk : Desk
        Who, at which session, when.
    typed : mapping
        Clock times by field of the form, such as "09:38".
    settings : Settings
        Say the practice's time zone.

    Raises
    ------
    Problem
        422 by the fields of the form, if a time is none or does not fit; 409 if the note was
        signed in the meantime.
    """
    missing = missing_times(desk.db, desk.session)
    if not missing:
        return
    values = {name: _moment(desk, typed[FIELDS[name]], name, settings) for name in missing}
    try:
        change_session(desk.db, desk.session, values, desk.now)
    except Problem as problem:
        if not problem.errors:
            raise
        faults = [
            Fault(f"/{FIELDS.get(one.path.strip('/'), '')}", one.detail) for one in problem.errors
        ]
        raise Problem(problem.status, errors=faults) from None
    audit.note(
        desk.db,
        desk.now,
        desk.account.id,
        "changed",
        "session",
        desk.session.id,
        child_id=desk.session.child_id,
    )


def _moment(desk: Desk, text: str, name: str, settings: Settings) -> datetime:
    moment = moment_of(text.strip(), FIELDS[name], desk.session.day, settings)
    if moment is None:
        raise Problem(422, errors=[Fault(f"/{FIELDS[name]}", WANTED[name])])
    if name != "ended_at":
        return moment
    # A clock shows no seconds: in the minute that runs, a session ends now and not before, and
    # in the minute in which it began not before it began.
    if moment <= desk.now < moment + MINUTE:
        return desk.now
    began = desk.session.started_at
    return began if began is not None and moment < began < moment + MINUTE else moment


def suggested_times(desk: Desk, settings: Settings) -> dict[str, str]:
    """Return clock times to begin with, by field of the form; "" where nothing is known.

    Parameters
    ----------
    desk : Desk
        Who, at which session, when.
    settings : Settings
        Say the practice's time zone.

    Returns
    -------
    dict
        The first and the last trial's time as the tablet had it, where that lies on the day
        of the session; without one, the end is now if the session is of today.
    """
    session = desk.session
    trials = trials_of_session(desk.db, session.id, kinds=ATTEMPTS)
    ends = [_span(one) for one in (*trials[:1], *trials[-1:])]
    known = [pair for pair in ends if pair is not None and _fits(pair, desk, settings)]
    is_today = settings.day_of(desk.now) == session.day
    start = min((one for one, _ in known), default=None)
    end = max((one for _, one in known), default=desk.now if is_today else None)
    if end is not None and known:
        # Up to the next whole minute, but not beyond now nor into the next day.
        after = min(end + MINUTE, desk.now)
        end = after if settings.day_of(after) == session.day else end

    def clock(moment: datetime | None) -> str:
        return "" if moment is None else clock_words(settings.local(moment))

    return {"started": clock(start), "ended": clock(end)}


def _span(trial: TrialRow) -> tuple[datetime, datetime] | None:
    """Return when a trial began and ended by its tablet's clock, if it says so."""
    document: Any = document_of(trial)
    if document.started_at is None:
        return None
    start = datetime.fromisoformat(document.started_at)
    samples = getattr(document, "samples", None)
    lasted_ms = samples.t_ms[-1] if samples is not None and samples.t_ms else 0.0
    return start, start + timedelta(milliseconds=lasted_ms)


def _fits(pair: tuple[datetime, datetime], desk: Desk, settings: Settings) -> bool:
    session = desk.session
    after_start = session.started_at is None or pair[0] >= session.started_at
    is_that_day = all(settings.day_of(one) == session.day for one in pair)
    return after_start and is_that_day and pair[1] <= desk.now
