"""The page of a child and the forms of its goals. Forms answer 303 after a write."""

from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Response
from starlette.responses import RedirectResponse

from server.deps import Config, Db, LinkedChild, Now, Supervisor, Therapist
from server.goal_bodies import VersionBody, content_of
from server.goal_forms import NOWHERE, body_of, ended_body, troubles_of, version_of
from server.goal_typed import GoalForm, fresh
from server.problems import NEVER_CACHED, Problem
from server.routes_goals import LinkedGoal, SeenGoal, post_goal, post_version
from server.routes_pages import page
from server.store_goals import is_stored
from server.tables import Account, Child, random_id

router = APIRouter(include_in_schema=False)

HERE = "/caseload"
CONFLICT = 409
SUPERVISOR = "supervisor"
SET_BEFORE = (
    "Another goal was set with this form before. What you typed is kept here: set it once more, "
    "and it becomes a further goal."
)
REFUSED = "Nothing was stored yet. Look at what is said beside the fields."

Typed = Annotated[GoalForm, Form()]
Text = Annotated[str, Form()]


@router.get("/children/{child_id}")
def show_child(
    child: LinkedChild,
    account: Therapist,
    db: Db,
    now: Now,
    settings: Config,
    measure: Annotated[str | None, Query(max_length=80)] = None,
    task: Annotated[str | None, Query(max_length=80)] = None,
) -> Response:
    """Show a child: goals, steps, trends, hand and direction, sessions."""
    # Reading stored results needs the analysis, which takes a second to load.
    from server.page_child import child_page

    words = child_page(db, child, settings, settings.day_of(now), measure, task)
    may_set, fresh_id = _may_set(account), random_id()
    return page("child.html", account, HERE, may_set=may_set, fresh_id=fresh_id, **words)


@router.get("/children/{child_id}/trend.svg")
def show_trend(
    child: LinkedChild,
    db: Db,
    task: Annotated[str, Query(max_length=80)],
    measure: Annotated[str | None, Query(max_length=80)] = None,
    narrow: Annotated[bool, Query()] = False,
) -> Response:
    """Draw the series of one path for one measure."""
    from server.figures import render
    from server.page_trend import trend_picture

    figure = trend_picture(db, child.id, measure, task, narrow=narrow)
    if figure is None:
        raise Problem(404)
    return Response(render(figure, "svg"), headers=NEVER_CACHED, media_type="image/svg+xml")


@router.get("/children/{child_id}/goals/new")
def show_new_goal(
    account: Supervisor,
    child: LinkedChild,
    db: Db,
    form: Annotated[str | None, Query(max_length=36)] = None,
) -> Response:
    """Show the form of a goal; its address carries the id under which it is set once."""
    from server.page_goals import form_words

    return page("goal-new.html", account, HERE, **form_words(db, child, fresh(form)))


@router.post("/children/{child_id}/goals/new")
def set_goal(
    account: Supervisor, child: LinkedChild, typed: Typed, db: Db, now: Now, settings: Config
) -> Response:
    """Set a goal with a form."""
    try:
        post_goal(account, child, body_of(typed), db, now, settings)
    except Problem as problem:
        return _new_again(db, account, child, typed, problem)
    return RedirectResponse(f"/children/{child.id}", 303)


def _new_again(
    db: Db, account: Account, child: Child, typed: GoalForm, problem: Problem
) -> Response:
    from server.page_goals import form_words

    said = _said(problem)
    if problem.status == CONFLICT or NOWHERE in said["troubles"]:
        # The id is taken, or none: the next try has its own.
        typed = typed.model_copy(update={"id": random_id()})
        said["trouble"] = SET_BEFORE if problem.status == CONFLICT else said["trouble"]
    words = form_words(db, child, typed) | said
    return page("goal-new.html", account, HERE, problem.status, **words)


def _said(problem: Problem) -> dict[str, Any]:
    return {
        "trouble": REFUSED if problem.errors else problem.detail,
        "troubles": troubles_of(problem),
    }


@router.get("/children/{child_id}/goals/{goal_id}")
def show_goal(
    account: Therapist, child: LinkedChild, seen: LinkedGoal, db: Db, settings: Config
) -> Response:
    """Show a goal with its versions; to supervisors with the forms that change and end it."""
    return _goal_page(db, account, _mine(child, seen), settings)


def _mine(child: Child, seen: SeenGoal) -> SeenGoal:
    if seen.child.id != child.id:
        raise Problem(404)
    return seen


def _goal_page(
    db: Db, account: Account, seen: SeenGoal, settings: Config, status: int = 200, **more: Any
) -> Response:
    from server.page_goals import goal_page

    told = {name: more.pop(name) for name in ("trouble", "troubles") if name in more}
    words = goal_page(db, seen.child, seen.versions, settings, **more) | told
    return page("goal.html", account, HERE, status, may_set=_may_set(account), **words)


def _may_set(account: Account) -> bool:
    return SUPERVISOR in account.roles


@router.post("/children/{child_id}/goals/{goal_id}")
def change_goal(
    account: Supervisor,
    child: LinkedChild,
    seen: LinkedGoal,
    typed: Typed,
    db: Db,
    now: Now,
    settings: Config,
) -> Response:
    """Change a goal with a form: its next version."""
    _mine(child, seen)
    try:
        _store(account, seen, version_of(typed), db, now, settings)
    except Problem as problem:
        return _goal_page(db, account, seen, settings, problem.status, form=typed, **_said(problem))
    return RedirectResponse(f"/children/{child.id}/goals/{seen.newest.id}", 303)


def _store(
    account: Account, seen: SeenGoal, body: VersionBody, db: Db, now: Now, settings: Config
) -> None:
    """Store the next version of a goal; a form that is sent twice is stored once."""
    try:
        post_version(account, seen, body, db, now, settings)
    except Problem as problem:
        if problem.status != CONFLICT:
            raise
        content = content_of(db, body, settings.day_of(now))
        if not is_stored(db, seen.newest.id, body.based_on, content):
            raise


@router.post("/children/{child_id}/goals/{goal_id}/status")
def end_goal(
    account: Supervisor,
    child: LinkedChild,
    seen: LinkedGoal,
    db: Db,
    now: Now,
    settings: Config,
    status: Text = "",
    based_on: Text = "",
) -> Response:
    """End a goal, or open it again, with a form: its next version."""
    _mine(child, seen)
    try:
        body = ended_body(seen.newest, status, based_on)
        _store(account, seen, body, db, now, settings)
    except Problem as problem:
        return _goal_page(
            db, account, seen, settings, problem.status, ended=status, **_said(problem)
        )
    return RedirectResponse(f"/children/{child.id}", 303)
