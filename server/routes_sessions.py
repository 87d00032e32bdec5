"""Sessions: made, listed, changed, closed; and their trials while they are drawn."""

from datetime import date, timedelta
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response

from server import audit
from server.audit_lists import note_listing
from server.dates import iso
from server.deps import Config, Db, LinkedChild, LinkedSession, Now, Therapist
from server.etags import tag_of, unless_held
from server.faults import Fault
from server.note_numbers import minutes_of
from server.openapi import ASKS_AGAIN, HELD
from server.problems import Problem
from server.request_fields import Body, Day, Moment, Words
from server.routes_trials import json_answer
from server.session_trials import lines_of
from server.store_children import children_of
from server.store_sessions import (
    change_session,
    close,
    create_session,
    live_state,
    reopen,
    sessions_between,
    summaries,
)
from server.tables import SessionRow

router = APIRouter(prefix="/api")

MOST_DAYS = 62
ONE_OR_TWO = "Give either one day or a first and a last day."
BOTH_ENDS = "Give the other end too: from and to belong together."
BACKWARDS = "The last day must not be before the first."
TOO_MANY_DAYS = f"At most {MOST_DAYS} days can be listed at once."

Kind = Literal["individual", "group"]
Attendance = Literal["attended", "late", "left_early", "absent", "cancelled"]


class NewSession(Body):
    """A session that is planned or begins now."""

    day: Day
    kind: Kind | None = None
    place: Words | None = None
    position: Words | None = None
    started_at: Moment | None = None


class SessionChange(Body):
    """What may change of a session; what is left out stays, null empties."""

    kind: Kind | None = None
    place: Words | None = None
    position: Words | None = None
    attendance: Attendance | None = None
    started_at: Moment | None = None
    ended_at: Moment | None = None


def session_as_dict(session: SessionRow, summary: dict[str, Any]) -> dict[str, Any]:
    """Return a session in plain types, with what stands beside it in a list."""
    moments = {
        name: iso(moment)
        for name, moment in (
            ("started_at", session.started_at),
            ("ended_at", session.ended_at),
            ("closed_at", session.closed_at),
        )
    }
    return {
        "session_id": session.id,
        "child_id": session.child_id,
        "plan_id": session.plan_id,
        "day": session.day.isoformat(),
        **moments,
        "minutes": minutes_of(session),
        "kind": session.kind,
        "place": session.place,
        "position": session.position,
        "attendance": session.attendance,
        **summary,
    }


def _answer(db: Db, session: SessionRow, status: int = 200) -> Response:
    summary = summaries(db, [session.id])[session.id]
    return json_answer(session_as_dict(session, summary), status)


@router.post("/children/{child_id}/sessions", status_code=201)
def post_session(
    account: Therapist, child: LinkedChild, body: NewSession, db: Db, now: Now
) -> Response:
    """Add a session of a child."""
    session = create_session(db, child_id=child.id, account_id=account.id, **body.model_dump())
    audit.note(db, now, account.id, "made", "session", session.id, child_id=child.id)
    db.commit()
    return _answer(db, session, 201)


@router.get("/sessions")
def read_sessions(
    account: Therapist,
    db: Db,
    now: Now,
    settings: Config,
    day: Day | None = None,
    first: Annotated[Day | None, Query(alias="from")] = None,
    last: Annotated[Day | None, Query(alias="to")] = None,
) -> Response:
    """Return the sessions of the therapist's children on a day, or from one to another."""
    span = _span(day, first, last) or (settings.day_of(now),) * 2
    children = children_of(db, account)
    sessions = sessions_between(db, children, *span)
    note_listing(db, now, account.id, "sessions", {one.child_id for one in sessions})
    beside = summaries(db, [one.id for one in sessions])
    signs = {child.id: child.sign.split() for child in children}
    return json_answer(
        {
            "from": span[0].isoformat(),
            "to": span[1].isoformat(),
            "sessions": [
                session_as_dict(one, beside[one.id] | {"sign": signs[one.child_id]})
                for one in sessions
            ],
        }
    )


def _span(day: date | None, first: date | None, last: date | None) -> tuple[date, date] | None:
    if first is None and last is None:
        return None if day is None else (day, day)
    if day is not None:
        raise _refused("/day", ONE_OR_TWO)
    if first is None or last is None:
        raise _refused("/from" if first is None else "/to", BOTH_ENDS)
    if last < first:
        raise _refused("/to", BACKWARDS)
    if last - first >= timedelta(days=MOST_DAYS):
        raise _refused("/to", TOO_MANY_DAYS)
    return first, last


def _refused(path: str, sentence: str) -> Problem:
    return Problem(422, errors=[Fault(path, sentence)])


@router.get("/sessions/{session_id}")
def read_session(seen: LinkedSession, db: Db) -> Response:
    """Return one session."""
    return _answer(db, seen.session)


@router.patch("/sessions/{session_id}")
def patch_session(
    account: Therapist, seen: LinkedSession, body: SessionChange, db: Db, now: Now
) -> Response:
    """Change facts of a session, as long as its note is not signed."""
    change_session(db, seen.session, body.model_dump(exclude_unset=True), now)
    audit.note(db, now, account.id, "changed", "session", seen.session.id, child_id=seen.child.id)
    db.commit()
    return _answer(db, seen.session)


@router.post("/sessions/{session_id}/close")
def post_close(account: Therapist, seen: LinkedSession, db: Db, now: Now) -> Response:
    """Close a session: tablets do not show it any more."""
    if close(db, seen.session, now):
        audit.note(
            db, now, account.id, "closed", "session", seen.session.id, child_id=seen.child.id
        )
        db.commit()
    return _answer(db, seen.session)


@router.post("/sessions/{session_id}/reopen")
def post_reopen(account: Therapist, seen: LinkedSession, db: Db, now: Now) -> Response:
    """Open a closed session again, as long as its note is not signed."""
    if reopen(db, seen.session):
        audit.note(
            db, now, account.id, "reopened", "session", seen.session.id, child_id=seen.child.id
        )
        db.commit()
    return _answer(db, seen.session)


@router.get("/sessions/{session_id}/trials", responses=HELD, openapi_extra=ASKS_AGAIN)
def read_trials(seen: LinkedSession, request: Request, db: Db) -> Response:
    """Return a line on each trial of a session, or 304 if nothing is new."""
    # The tag comes first: what arrives meanwhile is then sent once more, never missed.
    tag = tag_of(live_state(db, seen.session.id))
    return unless_held(request, tag, lambda: {"trials": lines_of(db, seen.session)})
