"""The page of a session: shown, kept fresh, its facts changed with forms."""

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request, Response
from pydantic import BaseModel, ValidationError
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse

from server.clock_times import moment_of
from server.dates import iso
from server.deps import Config, Db, LinkedSession, Now, SeenSession, Therapist
from server.etags import tag_of, unless_held
from server.faults import BadDocument, Fault
from server.page_session import facts_typed, live_answer, session_page
from server.page_session_refused import NOTHING_REFUSED, Refused
from server.problems import Problem, problem_of
from server.routes_pages import page, templates
from server.routes_sessions import SessionChange, patch_session, post_close, post_reopen
from server.settings import Settings
from server.store_plans import latest_plan, version_of
from server.store_sessions import live_state
from server.tables import Account, SessionRow
from server.validation import faults_of

router = APIRouter(prefix="/sessions/{session_id}", include_in_schema=False)

REFUSALS = (Problem, BadDocument, ValidationError)
# What a person can mend on the page itself; anything else is answered as everywhere.
MENDABLE = (409, 413, 422)
# Where a form has another name for what a body says.
FIELDS = {
    "started_at": "started",
    "ended_at": "ended",
    "hand": "hands",
    "direction": "directions",
}
# What a form carries along unseen: a fault in it stands with the form.
UNSEEN = frozenset({"based_on", "id", "mark_id", "trial_id", "what", "detail"})


# The forms take any text: what does not fit is refused on the page, where it was typed.
class FactsForm(BaseModel):
    """The facts of a session, as a form sends them; empty is not said."""

    place: str = ""
    position: str = ""
    attendance: str = ""
    kind: str = ""
    started: str = ""
    ended: str = ""


def refusal(field: str, sentence: str) -> Problem:
    """Return the refusal of a form for one of its fields; of the form itself under no name."""
    return Problem(422, errors=[Fault(f"/{field}" if field else "", sentence)])


def back_to(seen: SeenSession, place: str) -> Response:
    """Return to a place of the page after something was kept."""
    return RedirectResponse(f"/sessions/{seen.session.id}#{place}", 303)


def refused_page(
    db: Session,
    account: Account,
    seen: SeenSession,
    settings: Settings,
    error: Exception,
    *,
    form: str,
    typed: Mapping[str, Any],
    task_id: str | None = None,
) -> Response:
    """Show the page again with the sentence beside the field, and what was typed.

    Parameters
    ----------
    db, account, seen, settings
        As the route has them.
    error : Exception
        Why the form was refused.
    form : str
        Which form.
    typed : mapping
        What was typed in it.
    task_id : str or None
        The task that was being added.

    Returns
    -------
    Response
        With the status of the refusal.

    Raises
    ------
    Exception
        The error itself, if the page could not help.
    """
    # What was tried is undone before the page reads what there is.
    db.rollback()
    if isinstance(error, ValidationError):
        problem = Problem(422, errors=faults_of(error, _names(error)))
    else:
        problem = problem_of(error)
    if problem.status not in MENDABLE:
        raise error
    words = session_page(
        db,
        seen,
        settings,
        task_id=task_id,
        refused=Refused(form, _clean(typed), _troubles(problem, typed)),
    )
    return page("session.html", account, "/caseload", problem.status, **words)


def _names(error: ValidationError) -> frozenset[str]:
    # The models here are made by the routes: each name in them is one of our own.
    places = (one["loc"] for one in error.errors(include_url=False, include_input=False))
    return frozenset(step for place in places for step in place if isinstance(step, str))


def _troubles(problem: Problem, typed: Mapping[str, Any]) -> dict[str, str]:
    """Return a sentence by field; what belongs to none stands with the form."""
    found: dict[str, str] = {}
    for fault in problem.errors:
        name = fault.path.strip("/").partition("/")[0]
        name = FIELDS.get(name, name)
        found.setdefault(name if name in typed.keys() - UNSEEN else "", fault.detail)
    return found or {"": problem.detail}


def _clean(typed: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was typed without what cannot stand in a page."""
    return {
        name: value.replace("\0", "") if isinstance(value, str) else value
        for name, value in typed.items()
    }


@router.get("")
def show_session(
    seen: LinkedSession,
    account: Therapist,
    db: Db,
    settings: Config,
    task: Annotated[str | None, Query(max_length=80)] = None,
    form: Annotated[str | None, Query(max_length=36)] = None,
) -> Response:
    """Show a session: plan, trials as they come in, observations."""
    words = session_page(db, seen, settings, task_id=task, form_id=form)
    return page("session.html", account, "/caseload", **words)


@router.get("/live")
def read_live(seen: LinkedSession, request: Request, db: Db) -> Response:
    """Return what the list of trials shows now, or 304 if nothing is new."""
    plan = latest_plan(db, seen.session.id)
    # The tag comes first: what arrives meanwhile is then sent once more, never missed.
    tag = tag_of([live_state(db, seen.session.id), version_of(plan)])
    return unless_held(request, tag, lambda: _live(db, seen))


def _live(db: Session, seen: SeenSession) -> dict[str, Any]:
    answer = live_answer(db, seen)
    template = templates().get_template("session-trials.html")
    html = template.render(live=answer["live"], session_id=seen.session.id, refused=NOTHING_REFUSED)
    return {"html": html, "words": answer["words"]}


@router.post("/begin")
def begin(account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config) -> Response:
    """Begin a session now; one that has begun keeps its time."""
    if seen.session.started_at is not None:
        return back_to(seen, "content")
    return _changed(account, seen, db, now, settings, {"started_at": now.isoformat()})


@router.post("/end")
def end(account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config) -> Response:
    """End a session now; one that has ended keeps its time."""
    if seen.session.ended_at is not None:
        return back_to(seen, "content")
    return _changed(account, seen, db, now, settings, {"ended_at": now.isoformat()})


def _changed(
    account: Account,
    seen: SeenSession,
    db: Session,
    now: datetime,
    settings: Settings,
    values: dict[str, Any],
) -> Response:
    try:
        patch_session(account, seen, SessionChange.model_validate(values), db, now)
    except REFUSALS as error:
        return refused_page(db, account, seen, settings, error, form="head", typed={})
    return back_to(seen, "content")


@router.post("/facts")
def change_facts(
    account: Therapist,
    seen: LinkedSession,
    form: Annotated[FactsForm, Form()],
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Change place, position, attendance and times of a session."""
    try:
        change = SessionChange.model_validate(_values(form, seen.session, settings))
        patch_session(account, seen, change, db, now)
    except REFUSALS as error:
        typed = form.model_dump()
        return refused_page(db, account, seen, settings, error, form="facts", typed=typed)
    return back_to(seen, "content")


def _values(form: FactsForm, session: SessionRow, settings: Settings) -> dict[str, Any]:
    values: dict[str, Any] = {
        name: getattr(form, name).strip() or None
        for name in ("place", "position", "attendance", "kind")
    }
    before = facts_typed(session, settings)
    for name, column in (("started", "started_at"), ("ended", "ended_at")):
        text = getattr(form, name).strip()
        # Left alone, a time keeps its seconds.
        if text != before[name]:
            values[column] = iso(moment_of(text, name, session.day, settings))
    return values


@router.post("/close")
def close(account: Therapist, seen: LinkedSession, db: Db, now: Now) -> Response:
    """Take a session off the tablets."""
    post_close(account, seen, db, now)
    return back_to(seen, "content")


@router.post("/reopen")
def reopen(account: Therapist, seen: LinkedSession, db: Db, now: Now, settings: Config) -> Response:
    """Put a session back on the tablets."""
    try:
        post_reopen(account, seen, db, now)
    except REFUSALS as error:
        return refused_page(db, account, seen, settings, error, form="head", typed={})
    return back_to(seen, "content")
